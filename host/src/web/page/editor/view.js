// Both sides of the board as drawings that move together. Front: x to the right, y up. Back: as the hand holds it, x to the left,
// or seen through from the front.

export const SIDES = ["front", "back"];
const SVG = "http://www.w3.org/2000/svg";

export function shape(name, attributes = {}, ...inner) {
  const made = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) if (value !== undefined && value !== null) made.setAttribute(key, value);
  made.append(...inner);
  return made;
}

export class View {
  middle = [40, 25];
  scale = 8; // pixels for a millimetre
  flipped = true;
  cursor = null; // a place that is shown on both sides
  photos = { front: null, back: null }; // { url, window }
  shown = true; // are photos shown?

  constructor(sheets) {
    this.sheets = sheets;
    this.size = [400, 300];
    this.observe();
  }

  observe() {
    const [width, height] = [this.sheets.front.clientWidth, this.sheets.front.clientHeight];
    if (width > 0 && height > 0) this.size = [width, height];
  }

  #hand(side) { return side === "back" && this.flipped ? -1 : 1; }

  at(side, [x, y]) {
    return [
      this.size[0] / 2 + this.#hand(side) * (x - this.middle[0]) * this.scale,
      this.size[1] / 2 - (y - this.middle[1]) * this.scale,
    ];
  }

  place(side, [x, y]) {
    return [
      this.middle[0] + (this.#hand(side) * (x - this.size[0] / 2)) / this.scale,
      this.middle[1] - (y - this.size[1] / 2) / this.scale,
    ];
  }

  pan(side, dx, dy) {
    this.middle = [this.middle[0] - (this.#hand(side) * dx) / this.scale, this.middle[1] + dy / this.scale];
  }

  /** Zooms, with the place under the pointer staying where it is. */
  zoom(side, factor, around) {
    const before = this.place(side, around);
    this.scale = Math.min(200, Math.max(1, this.scale * factor));
    const after = this.place(side, around);
    this.middle = [this.middle[0] + before[0] - after[0], this.middle[1] + before[1] - after[1]];
  }

  fit(outline) {
    this.observe();
    const [xs, ys] = [0, 1].map((axis) => outline.map((corner) => corner[axis]));
    const [low, high] = [[Math.min(...xs), Math.min(...ys)], [Math.max(...xs), Math.max(...ys)]];
    if (!low.concat(high).every(Number.isFinite)) return;
    this.middle = [(low[0] + high[0]) / 2, (low[1] + high[1]) / 2];
    this.scale = Math.min((this.size[0] - 40) / Math.max(1, high[0] - low[0]), (this.size[1] - 40) / Math.max(1, high[1] - low[1]));
  }

  /** Everything anew. */
  draw(model, tool) {
    // Looked up for every point and segment of both sides.
    this.named = new Map(model.draft.points.map((point) => [point.name, point]));
    this.bad = new Set(model.findings.filter(({ grade, place }) => grade === "error" && place).map(({ place }) => `${place.part === "pins" ? "points" : place.part} ${place.name ?? place.index}`));
    for (const side of SIDES) this.sheets[side].replaceChildren(...this.#layers(side, model, tool));
  }

  #line(side, places) { return places.map((place) => this.at(side, place).map((value) => value.toFixed(1)).join(",")).join(" "); }

  *#layers(side, model, tool) {
    const { draft } = model;
    const outline = draft.board.outline ?? [];
    const photo = this.shown && this.photos[side];
    if (outline.length > 2) yield shape("polygon", { class: photo ? "edge" : "laminate", points: this.#line(side, outline) });
    if (photo) {
      const [a, b] = [this.at(side, photo.window.low), this.at(side, photo.window.high)];
      // The picture is as the hand holds it; seen through from the front it is turned over.
      const over = side === "back" && !this.flipped;
      const left = Math.min(a[0], b[0]);
      yield shape("image", {
        href: photo.url, x: over ? -Math.max(a[0], b[0]) : left, y: b[1], width: Math.abs(b[0] - a[0]), height: a[1] - b[1],
        preserveAspectRatio: "none", transform: over ? "scale(-1 1)" : undefined,
      });
      yield shape("polygon", { class: "edge", points: this.#line(side, outline) });
    }
    for (const { keys } of draft.keep_outs) {
      if (Array.isArray(keys.outline) && (!keys.side || keys.side === side || keys.side === "both")) {
        yield shape("polygon", { class: "keep-out", points: this.#line(side, keys.outline) });
      }
    }
    for (const [index, segment] of draft.segments.entries()) yield* this.#segment(side, model, segment, index);
    for (const [index, point] of draft.points.entries()) yield* this.#point(side, model, point, index);
    yield* tool?.draw?.(this, side) ?? [];
    if (this.cursor) {
      const [x, y] = this.at(side, this.cursor);
      yield shape("path", { class: "cross", d: `M${x - 14} ${y}h28M${x} ${y - 14}v28` });
    }
  }

  *#segment(side, model, { keys }, index) {
    const ends = [this.named.get(keys.from), this.named.get(keys.to)];
    if (!ends[0]?.keys.at || !ends[1]?.keys.at) return;
    const sides = ends.map((end) => end.keys.side);
    const here = keys.kind === "via" || sides.every((known) => known === side || known === "both");
    if (!here) return;
    const selected = model.selected?.kind === "segment" && model.selected.index === index;
    const bad = this.bad.has(`segment ${index}`);
    const classes = ["run", keys.kind, selected && "selected", bad && "bad"].filter(Boolean).join(" ");
    const way = [ends[0].keys.at, ...(Array.isArray(keys.route) ? keys.route : []), ends[1].keys.at];
    const width = keys.kind === "trace" ? Math.max(3, Math.min(60, (parseFloat(keys.width) || 1) * this.scale)) : 3;
    if (keys.kind === "pour" && Array.isArray(keys.outline)) {
      yield shape("polygon", { class: `${classes} area`, points: this.#line(side, keys.outline) });
    }
    yield shape("polyline", { class: classes, points: this.#line(side, way), "stroke-width": width, "data-segment": keys.name });
    if (keys.kind !== "trace" && keys.kind !== "via") {
      const [a, b] = [this.at(side, way[0]), this.at(side, way.at(-1))];
      yield shape("text", { class: "word", x: (a[0] + b[0]) / 2, y: (a[1] + b[1]) / 2 + 19 }, keys.kind);
    }
  }

  *#point(side, model, point, index) {
    const { at, side: on, kind } = point.keys;
    if (!Array.isArray(at)) return;
    const [x, y] = this.at(side, at);
    const selected = model.selected?.kind === "point" && model.selected.index === index;
    const through = kind === "via" || kind === "leg";
    if (on !== side && on !== "both") {
      // A hole comes out here, too.
      if (through || selected) yield shape("circle", { class: selected ? "beyond selected" : "beyond", cx: x, cy: y, r: 6 });
      return;
    }
    const bad = this.bad.has(`points ${point.name}`);
    const classes = ["dot", model.role(point) && "end", selected && "selected", bad && "bad"].filter(Boolean).join(" ");
    yield kind === "terminal"
      ? shape("rect", { class: classes, x: x - 7, y: y - 7, width: 14, height: 14, rx: 3, "data-point": point.name })
      : shape("circle", { class: classes, cx: x, cy: y, r: 6, "data-point": point.name });
    if (through) yield shape("circle", { class: "hole", cx: x, cy: y, r: 2.5 });
    if (selected || model.role(point) || this.scale > 14) yield shape("text", { class: "label", x: x + 10, y: y - 8 }, point.name);
  }
}
