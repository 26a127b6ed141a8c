// A window for a second monitor: the picture on black, and nothing else.
export class SecondWindow {
  constructor() {
    this.window = null;
    this.picture = null;
  }

  get open_() {
    return Boolean(this.window && !this.window.closed);
  }

  /** Opens it, or closes it where it is open. Says whether it is open now (a browser may refuse). */
  toggle(title) {
    if (this.open_) this.window.close();
    else this.window = globalThis.open("", "desk-picture", "popup,width=1280,height=800");
    if (!this.open_) return false;
    const page = this.window.document;
    page.title = title;
    Object.assign(page.body.style, { margin: 0, background: "#161616", height: "100vh" });
    this.picture = page.createElement("img");
    Object.assign(this.picture.style, { width: "100%", height: "100vh", objectFit: "contain", display: "block" });
    page.body.replaceChildren(this.picture);
    return true;
  }

  /** `quick`: what is there at once; `sharp`: what takes its place once it is asked for by `sharpen`. */
  show({ quick, sharp, alt }) {
    if (!this.open_ || this.sharp === sharp) return;
    this.sharp = sharp;
    this.picture.alt = alt;
    this.picture.src = quick || sharp;
  }

  /** The picture that is shown was rested on. */
  sharpen() {
    const { sharp } = this;
    if (!this.open_ || !sharp) return;
    const full = new Image();
    full.src = sharp;
    full.decode().then(
      () => {
        if (this.sharp === sharp) this.picture.src = sharp;
      },
      () => {},
    );
  }
}
