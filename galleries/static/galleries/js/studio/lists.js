// Both lists: the tray of what is ticked, one frame large, and marks as they come in, within two seconds.
import { $, $$, el, fill, say } from "../shared/dom.js";
import { live } from "../shared/live.js";
import { sumOf } from "../shared/money.js";

const form = $("#closing"),
  line = $("#tally"),
  tray = $("#tray"),
  dialog = $("#large");
let shown = null;

const boxes = () => $$("input[name=frame]", form);
const frames = () => $$("[data-large]", form);
const boxOf = (id) => boxes().find((box) => box.value === id);

function count() {
  if (!line) return;
  const ticked = boxes().filter((box) => box.checked),
    allowance = Number(form.dataset.allowance),
    n = ticked.length;
  const words = fill(line.dataset.words, { n, allowance });
  const sum = sumOf(JSON.parse(line.dataset.price ?? "null"), n - allowance);
  const over = n > allowance ? `: ${fill(line.dataset.over, { over: n - allowance })}` : "";
  line.textContent = `${words}${over}${sum ? `, ${sum}` : ""}`;
  tray.replaceChildren(
    ...ticked.flatMap((box) => {
      const picture = $("img", box.closest("li"));
      return picture ? [el("li", {}, el("img", { src: picture.src, alt: picture.alt }))] : [];
    }),
  );
}

function show(id) {
  const link = frames().find((one) => one.dataset.large === id);
  if (!link) return dialog.close();
  shown = id;
  $("#large-label").textContent = link.dataset.label;
  $("#large-picture").src = link.href;
  $("#large-picture").alt = $("img", link).alt;
  const words = $(".beside-it", link.closest("li")).cloneNode(true);
  $("label", words)?.remove();
  $("#large-said").replaceChildren(words);
  if ($("#large-on")) $("#large-on").checked = boxOf(id).checked;
  if (!dialog.open) dialog.showModal();
}
function step(by) {
  const order = frames().map((one) => one.dataset.large);
  const next = order[order.indexOf(shown) + by];
  if (next) show(next);
}
form.addEventListener("click", (event) => {
  const link = event.target.closest("[data-large]");
  if (!link || event.ctrlKey || event.metaKey) return;
  event.preventDefault();
  show(link.dataset.large);
});
dialog.addEventListener("click", (event) => {
  const by = Number(event.target.closest("[data-step]")?.dataset.step ?? 0);
  if (by) step(by);
  if (event.target.closest("[data-close]")) dialog.close();
});
dialog.addEventListener("keydown", (event) => {
  const by = { ArrowLeft: -1, ArrowRight: 1 }[event.key];
  if (by && event.target.type !== "checkbox") step(by);
});
dialog.addEventListener("close", () =>
  frames()
    .find((one) => one.dataset.large === shown)
    ?.focus(),
);
$("#large-on")?.addEventListener("change", (event) => {
  boxOf(shown).checked = event.target.checked;
  count();
});

/** The marks as they are now; what was ticked here by hand stays as it was ticked. */
async function renew() {
  const answer = await fetch(location.href, { headers: { Accept: "text/html" } });
  if (!answer.ok) return;
  const fresh = new DOMParser().parseFromString(await answer.text(), "text/html");
  if (!$("#tally", fresh)) return location.reload(); // closed meanwhile: another page
  const ticks = new Map(boxes().map((box) => [box.value, box.checked]));
  const at = document.activeElement?.closest("[data-large], input[name=frame]");
  const [kind, id] = at ? [at.dataset.large ? "large" : "box", at.dataset.large ?? at.value] : [];
  $("#sides").replaceWith($("#sides", fresh));
  for (const box of boxes()) if (ticks.has(box.value)) box.checked = ticks.get(box.value);
  if (kind === "large")
    frames()
      .find((one) => one.dataset.large === id)
      ?.focus();
  if (kind === "box") boxOf(id)?.focus();
  if (dialog.open) show(shown);
  count();
  say(form.dataset.changed);
}

form.addEventListener("change", count);
count();
if (line) live(form.dataset.news, form.dataset.change, renew);
document.documentElement.dataset.ready = "1";
