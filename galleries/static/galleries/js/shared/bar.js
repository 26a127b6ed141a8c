// The bar gives way while one scrolls down and comes back on the way up, or when something in it has the focus.
const body = document.body;
let last = window.scrollY;

window.addEventListener(
  "scroll",
  () => {
    const now = Math.max(0, window.scrollY);
    if (Math.abs(now - last) < 8) return;
    body.classList.toggle("away", now > last && now > 120);
    last = now;
  },
  { passive: true },
);
document.querySelector(".head")?.addEventListener("focusin", () => body.classList.remove("away"));
