import { holdPlaces } from "/static/galleries/js/invitee/places.js";
import { holds, same } from "./checks.js";

const WORDS = { picture_waits: "Later.", picture_failed: "Not to be had." };
// A transparent picture of one pixel (GIF89a), and one that is none.
const GOOD = "data:image/gif;base64,R0lGODlhAQABAIAAAAAAAP///yH5BAEAAAAALAAAAAABAAEAAAIBRAA7";
const BAD = "data:image/gif;base64,AAAA";
const until = (held) =>
  new Promise((done) => {
    const look = () => (held() ? done() : setTimeout(look, 5));
    look();
  });

function page(online, src, before = () => {}) {
  const root = document.createElement("div");
  root.innerHTML = `<a><img src="${src}" width="40" height="60" alt=""></a><p class="stage"><img alt=""></p>`;
  document.body.replaceChildren(root);
  before(root);
  holdPlaces(WORDS, { root, online, wait: 1 });
  return { root, picture: root.querySelector("img"), place: () => root.querySelector("a .no-picture") };
}

export default {
  "a picture that cannot be had leaves its place, with the words why": async () => {
    for (const [online, said] of [
      [() => false, "Later."],
      [() => true, "Not to be had."],
    ]) {
      const { picture, place } = page(online, BAD);
      await until(place);
      same(place().textContent, said);
      same(place().style.aspectRatio, "40 / 60");
      holds(picture.hidden, "the browser's own sign is not seen");
    }
  },
  "one that failed before is found": async () => {
    const root = document.createElement("div");
    root.innerHTML = `<a><img src="${BAD}" alt=""></a>`;
    document.body.replaceChildren(root);
    await until(() => root.querySelector("img").complete);
    await new Promise((done) => setTimeout(done, 20));
    holdPlaces(WORDS, { root, online: () => false });
    same(root.querySelector(".no-picture").textContent, "Later.");
  },
  "with the network it is asked for anew, and stands there again": async () => {
    const { picture, place } = page(() => false, BAD);
    await until(place);
    picture.setAttribute("src", GOOD);
    dispatchEvent(new Event("online"));
    await until(() => !place());
    holds(!picture.hidden, "the picture is seen");
  },
  "a network that carries nothing yet is waited for": async () => {
    const { picture, place } = page(() => false, BAD);
    await until(place);
    let failed = 0;
    picture.addEventListener("error", () => {
      failed += 1;
      if (failed === 3) picture.setAttribute("src", GOOD);
    });
    dispatchEvent(new Event("online"));
    await until(() => !place());
    same(failed, 3);
  },
  "what is laid out side by side is left to its own script": async () => {
    const { root } = page(() => false, GOOD);
    const other = root.querySelector(".stage img");
    other.src = BAD;
    await new Promise((done) => other.addEventListener("error", done));
    same(root.querySelectorAll(".no-picture").length, 0);
    holds(!other.hidden, "it is not hidden");
  },
};
