// The tray of the proposed finals follows what is ticked.
import { $, $$, data, fill } from "../shared/dom.js";
import { sumOf } from "../shared/money.js";

const form = $("#lists"),
  tray = $(".list-tray");

function follow() {
  const on = new Set($$("input[name=frame]:checked", form).map((one) => one.value));
  for (const one of $$("[data-frame]", tray)) one.hidden = !on.has(one.dataset.frame);
  const { on_list, costs, allowance, extra } = data("words");
  const sum = sumOf(extra, on.size - allowance);
  $("#tray-count").textContent = fill(on_list, { n: on.size }) + (sum ? ` ${fill(costs, { sum })}` : "");
}
if (tray) {
  form.addEventListener("change", follow);
  follow(); // a browser that comes back to the page keeps what was ticked
}
document.documentElement.dataset.ready = "1";
