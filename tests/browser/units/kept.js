import { Keeping } from "/static/galleries/js/studio/desk-kept.js";
import { same } from "./checks.js";

function shelf(kept = {}) {
  return {
    kept,
    getItem: (name) => kept[name] ?? null,
    setItem: (name, text) => Object.assign(kept, { [name]: text }),
  };
}

export default {
  "what was written is read again, each name for itself": () => {
    const store = shelf();
    new Keeping("desk 1", store).write({ pixels: 200 });
    same(new Keeping("desk 1", store).read(), { pixels: 200 });
    same(new Keeping("desk 2", store).read(), {});
  },
  "what cannot be read is nothing": () => {
    for (const text of ["{", "3", "null"]) same(new Keeping("desk", shelf({ desk: text })).read(), {}, text);
    const shut = {
      getItem() {
        throw new Error("forbidden");
      },
      setItem() {
        throw new Error("full");
      },
    };
    new Keeping("desk", shut).write({});
    same(new Keeping("desk", shut).read(), {});
  },
};
