// The desk's own small picture of a frame, over the stage until the sharp one has come, or the next key. All are drawn
// into one canvas, from pictures decoded ahead on another thread: an element for each is laid out, decoded again and
// scaled anew in full, which at 2,560 px took longer than a held key's next stroke.
export class Passing {
  constructor(canvas, stage) {
    Object.assign(this, { canvas, stage });
    this.brush = canvas.getContext("2d", { alpha: false });
  }

  /** `bitmap`: decoded; it stands with the next frame that is drawn. */
  show(bitmap, id) {
    const { canvas } = this;
    const { width, height } = bitmap;
    if (canvas.width !== width || canvas.height !== height) Object.assign(canvas, { width, height });
    this.brush.drawImage(bitmap, 0, 0);
    canvas.dataset.frame = id;
    if (!canvas.hidden) return;
    this.stage.scrollTo(0, 0);
    canvas.hidden = false;
  }

  end() {
    this.canvas.hidden = true;
  }
}

/** For `Ahead`: fetched, and decoded on another thread; its memory is given back when it is let go. */
export function bitmap_of(address) {
  const call = new AbortController();
  const one = { picture: null, stop: () => call.abort(), free: () => one.picture?.close() };
  one.ready = fetch(address, { signal: call.signal, priority: "high" })
    .then((answer) => (answer.ok ? answer.blob() : Promise.reject(new Error(answer.status))))
    .then((data) => createImageBitmap(data))
    .then((picture) => {
      if (call.signal.aborted) picture.close();
      else one.picture = picture;
    });
  return one;
}
