// The frames of the page, by their id, as the server wrote them down.
export function framesOf(rows, config) {
  const at = (id, proof, kind) =>
    config.picture.replace("/0/large/", `/${id}/${kind}/`).replace("/1.jpg", `/${proof}.jpg`);
  return new Map(
    rows.map(([id, label, look, proof, width, height, x, y, run, alike, gap, finer, half, suggested]) => [
      id,
      {
        id,
        label,
        look,
        width,
        height,
        run,
        alike,
        gap,
        finer,
        suggested,
        eyes: x === null ? null : [x, y],
        large: at(id, proof, "large"),
        middle: half ? at(id, proof, "middle") : null,
        small: at(id, proof, "small"),
      },
    ]),
  );
}
