// What a person set on a page, kept in this browser under a name; where nothing can be kept, while the page lasts.
export class Keeping {
  constructor(name, store = localStorage) {
    Object.assign(this, { name, store });
  }

  read() {
    try {
      const kept = JSON.parse(this.store.getItem(this.name) ?? "{}");
      return kept && typeof kept === "object" ? kept : {};
    } catch {
      return {};
    }
  }

  write(values) {
    try {
      this.store.setItem(this.name, JSON.stringify(values));
    } catch {
      /* a full or forbidden store */
    }
  }
}
