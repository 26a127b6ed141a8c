// Follows deliveries that are being made.
import { ask, pause, shut } from "../shared/net.js";

async function follow(part) {
  for (;;) {
    await pause(1500);
    if (document.hidden) continue;
    const now = await ask(part.dataset.progress).catch((error) => error);
    if (shut(now)) return;
    if (!now || now instanceof Error) continue;
    part.querySelector("progress").max = now.of || 1;
    part.querySelector("progress").value = now.done;
    part.querySelector(".done").textContent = now.done;
    part.querySelector(".state").textContent = now.words;
    if (now.state !== "waiting" || now.problem) {
      location.reload();
      return;
    }
  }
}

for (const part of document.querySelectorAll("[data-progress]")) follow(part);
