// The sample of the stamp follows what is typed and chosen beside it, a moment after the last change.
const sample = document.querySelector("[data-sample]");
const form = sample?.closest("form");
let waiting = 0;

function draw() {
  const asked = new URLSearchParams(
    [...new FormData(form)].filter(([name]) => name.startsWith("stamp_")).map(([name, value]) => [name, String(value)]),
  );
  sample.src = `${sample.dataset.sample}?${asked}`;
}

form?.addEventListener("input", () => {
  clearTimeout(waiting);
  waiting = setTimeout(draw, 400);
});
