// The rail: every look by name, to go to, to see alone, and to drop frames on.
export class Rail {
  constructor(place) {
    this.place = place;
    this.items = new Map();
  }

  /** `looks`: {id, title, hidden, count}; `only`: the id of the one that is seen alone, or null. */
  draw(looks, only) {
    const items = looks.map((look) => this.item(look, only));
    if (items.some((item, index) => this.place.children[index] !== item) || this.place.children.length > items.length)
      this.place.replaceChildren(...items);
  }

  item({ id, title, hidden, count }, only) {
    let item = this.items.get(id);
    if (!item) {
      item = document.getElementById("rail-part").content.firstElementChild.cloneNode(true);
      item.dataset.look = id;
      this.items.set(id, item);
    }
    item.querySelector(".title").textContent = title;
    item.querySelector(".count").textContent = count;
    item.classList.toggle("is-hidden", hidden);
    const alone = item.querySelector(".only");
    alone.setAttribute("aria-pressed", String(only === id));
    alone.setAttribute("aria-label", `${alone.textContent.trim()} ${title}`);
    return item;
  }

  /** Which look the frame in focus lies in. */
  at(look) {
    for (const [id, item] of this.items) {
      const go = item.querySelector(".go");
      if (id === look) go.setAttribute("aria-current", "true");
      else go.removeAttribute("aria-current");
    }
  }
}
