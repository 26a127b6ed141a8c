// 'Save to photos': a single picture handed to the device's own sheet, where the browser can hand over files. Elsewhere
// the plain download stays alone; on a phone without that it says where the file lies then.
import { $$, data, say } from "../shared/dom.js";
import { askFirst, refusal, refuse } from "./fetching.js";

const words = data("words"),
  { words: common } = data("without-network");
const held = new Map(); // address -> File, so that a second press needs no second fetch
const phone = matchMedia("(pointer: coarse)").matches;
const can = (file) => Boolean(navigator.canShare?.({ files: [file] }));

async function fetched(button) {
  const { photo, name } = button.dataset;
  if (!held.has(photo)) {
    const answer = await fetch(photo);
    if (!answer.ok) throw new Error(String(answer.status));
    held.set(photo, new File([await answer.blob()], name, { type: "image/jpeg" }));
  }
  return held.get(photo);
}

async function save(button) {
  const label = button.querySelector("[data-words]");
  button.setAttribute("aria-disabled", "true");
  say(words.coming);
  try {
    await navigator.share({ files: [await fetched(button)] });
    say(words.handed);
  } catch (error) {
    // Left by the person: nothing to say. A press too long ago: the picture is here now, a second one is enough.
    if (error.name === "NotAllowedError") {
      label.textContent = words.again;
      say(words.ready);
    } else if (error.name !== "AbortError") {
      const why = await refusal(button.dataset.photo, common);
      if (why) refuse(button, why, common);
      say(why ? "" : words.failed);
    }
  } finally {
    button.removeAttribute("aria-disabled");
  }
}

const buttons = $$("button[data-photo]"),
  shares = phone && can(new File([new Uint8Array(1)], "picture.jpg", { type: "image/jpeg" }));
askFirst(common, {
  follow: (link) => {
    if (phone && !shares) say(words.lies);
    link.click();
  },
});
if (shares)
  for (const button of buttons) {
    button.hidden = false;
    button.addEventListener("click", () => button.getAttribute("aria-disabled") || save(button));
  }
document.documentElement.dataset.ready = "1";
