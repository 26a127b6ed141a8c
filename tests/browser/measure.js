// What is wrong with the text of the page: sideways scrolling, clipped and overlapping text, small targets.
(least) => {
  const shown = (one) =>
    one.checkVisibility({ visibilityProperty: true, opacityProperty: true, contentVisibilityAuto: true });
  const name = (one) => one.outerHTML.replace(/\s+/g, " ").slice(0, 110);
  const away = (one) => one.closest(".unseen, .skip, [hidden], option, select, .drawn, script, style, template");
  const short = (node) => node.data.trim().slice(0, 40);
  const found = [];
  // Not innerWidth: on a phone that grows with what sticks out.
  const width = document.documentElement.clientWidth;
  if (document.documentElement.scrollWidth > width) {
    const wide = [...document.querySelectorAll("body *")].filter(
      (one) => shown(one) && one.getBoundingClientRect().right > width + 1,
    );
    found.push(`scrolls sideways: ${wide.slice(0, 3).map(name).join(" | ")}`);
  }
  // the layer that a text lies in: what is fixed, sticky or a dialog lies over the rest on purpose
  const layer = (one) => {
    for (let up = one; up && up !== document.body; up = up.parentElement)
      if (up.matches("dialog") || ["fixed", "sticky"].includes(getComputedStyle(up).position)) return up;
    return document.body;
  };
  const open = document.querySelector("dialog[open]");
  const texts = [];
  const walk = document.createTreeWalker(open ?? document.body, NodeFilter.SHOW_TEXT);
  for (let node = walk.nextNode(); node; node = walk.nextNode()) {
    const inside = node.parentElement;
    if (!node.data.trim() || !inside || away(inside) || !shown(inside)) continue;
    const range = document.createRange();
    range.selectNodeContents(node);
    for (const box of range.getClientRects()) {
      if (box.width < 2 || box.height < 2) continue;
      // as far as it is clipped by what holds it
      let [l, t, r, b] = [box.left, box.top, box.right, box.bottom],
        cut = 0;
      for (let up = inside; up && up !== document.body; up = up.parentElement) {
        const style = getComputedStyle(up);
        if (style.overflowX === "visible" && style.overflowY === "visible") continue;
        const edge = up.getBoundingClientRect();
        const scrolls = /auto|scroll/.test(style.overflowX + style.overflowY);
        const before = (r - l) * (b - t);
        if (style.overflowX !== "visible") [l, r] = [Math.max(l, edge.left), Math.min(r, edge.right)];
        if (style.overflowY !== "visible") [t, b] = [Math.max(t, edge.top), Math.min(b, edge.bottom)];
        const after = Math.max(0, r - l) * Math.max(0, b - t);
        if (!scrolls && after < before * 0.93) cut = Math.max(cut, 1 - after / before);
        if (r <= l || b <= t) break;
      }
      if (cut) found.push(`clipped by ${Math.round(cut * 100)} %: “${short(node)}” in ${name(inside)}`);
      if (r > l + 1 && b > t + 1) texts.push({ l, t, r, b, node, inside, layer: layer(inside) });
      if (!open && (r < 0 || l > width)) found.push(`beside the page: “${short(node)}”`);
    }
  }
  for (let i = 0; i < texts.length; i += 1)
    for (let j = i + 1; j < texts.length; j += 1) {
      const [a, b] = [texts[i], texts[j]];
      if (a.node === b.node || a.layer !== b.layer) continue;
      const w = Math.min(a.r, b.r) - Math.max(a.l, b.l),
        h = Math.min(a.b, b.b) - Math.max(a.t, b.t);
      const line = Math.min(a.b - a.t, b.b - b.t);
      if (w > 3 && h > line * 0.35)
        found.push(`overlap ${w.toFixed()}×${h.toFixed()}: “${short(a.node)}” and “${short(b.node)}”`);
    }
  for (const one of (open ?? document).querySelectorAll(
    "button, select, input:not([type=hidden]), textarea, summary, a",
  )) {
    if (!shown(one) || away(one) || one.closest("p:not(.row), figcaption, li.messages")) continue;
    const box = (one.closest("label.check") ?? one).getBoundingClientRect();
    if (box.width && box.height && (box.width < least - 0.5 || box.height < least - 0.5))
      found.push(`small ${box.width.toFixed()}×${box.height.toFixed()}: ${name(one)}`);
  }
  return [...new Set(found)];
};
