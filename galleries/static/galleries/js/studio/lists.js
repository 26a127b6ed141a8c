// Counts the frames on the list while they are ticked, in words.
import { fill } from "../shared/dom.js";

const form = document.getElementById("closing");
const line = document.getElementById("tally");
const allowance = Number(form.dataset.allowance);

function count() {
  const n = form.querySelectorAll("input[name=frame]:checked").length;
  const said = fill(line.dataset.words, { n, allowance });
  line.textContent = n > allowance ? `${said}: ${fill(line.dataset.over, { over: n - allowance })}` : said;
}

form.addEventListener("change", count);
count();
