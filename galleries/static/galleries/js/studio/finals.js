// The bar of acts under the finals: how many are chosen, and all of them at one press.
import { $, $$, fill } from "../shared/dom.js";

const boxes = $$("[name='final']", $("#acts")),
  count = $("#chosen"),
  all = $("#choose-all");

function tell() {
  const chosen = boxes.filter((box) => box.checked).length;
  count.textContent = fill(count.dataset.words, { n: chosen });
  all.checked = chosen > 0 && chosen === boxes.length;
  for (const button of $$("[name='do']", $("#acts"))) button.disabled = !chosen;
}
all.closest("label").hidden = false;
all.addEventListener("change", () => {
  for (const box of boxes) box.checked = all.checked;
  tell();
});
$("#acts").addEventListener("change", tell);
tell();
