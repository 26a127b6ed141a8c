// Says what the gel does to the light while its name is typed.
import { ask } from "../shared/net.js";

const line = document.getElementById("gel-words");
const name = document.getElementById("id_gel");
const mired = document.getElementById("id_gel_mired");
let wait = 0;

function say() {
  clearTimeout(wait);
  wait = setTimeout(async () => {
    const query = new URLSearchParams({ name: name.value, mired: mired.value });
    const found = await ask(`${line.dataset.address}?${query}`).catch(() => ({}));
    line.textContent = found.words ?? "";
    if (found.mired !== undefined && mired.value === "") mired.value = found.mired;
  }, 300);
}

name.addEventListener("input", say);
mired.addEventListener("input", say);
if (name.value || mired.value) say();
