// A live page: ask every two seconds what changed since a cursor; nothing while the page is hidden.
import { ask, lasting } from "./net.js";

export function live(address, cursor, onChange, onRefused = () => {}, every = 2000) {
  let since = cursor,
    timer = 0,
    asking = false,
    wait = every;
  async function look() {
    clearTimeout(timer);
    if (document.hidden || asking) return;
    asking = true;
    try {
      const said = await ask(`${address}?since=${since}`);
      wait = every;
      if (said) {
        since = said.change;
        onChange(said);
      }
    } catch (error) {
      if (lasting(error)) {
        onRefused(error);
        asking = false;
        return;
      }
      wait = Math.min(wait * 2, 30000); // no network, or a server that is being started
    }
    asking = false;
    timer = setTimeout(look, wait);
  }
  document.addEventListener("visibilitychange", look);
  window.addEventListener("online", () => {
    wait = every;
    look();
  });
  timer = setTimeout(look, every);
  return { look };
}
