// A press copies what a field or a text holds; where the browser does not let a page copy, there is no such button.
import { $$ } from "../shared/dom.js";

for (const button of $$("[data-copy]")) {
  button.hidden = !navigator.clipboard;
  button.addEventListener("click", async () => {
    const held = document.getElementById(button.dataset.copy);
    await navigator.clipboard.writeText(held.value ?? held.innerText);
    button.textContent = button.dataset.done;
  });
}
