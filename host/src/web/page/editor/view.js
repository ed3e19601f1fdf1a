// Both sides of the board as drawings that move together. Front: x to the right, y up. Back: as the hand holds it, x to the left,
// or seen through from the front.

import { moved, snap } from "./editor-snap.js";

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
  photos = { front: null, back: null }; // { url, window, bitmap: a promise of the picture }
  shown = true; // are photos shown?
  note = ""; // what became of the last click
  drawn = { front: new Map(), back: new Map() };
  #count = 0;

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

  /** Where a click belongs by the photo: `{ place, what }`, or null where nothing clear lies there or no photo is shown. */
  async refined(side, place, aim) {
    const photo = this.shown && this.photos[side];
    if (!photo) return null;
    const bitmap = await photo.bitmap;
    const { low, high } = photo.window;
    // Pixels of the picture for a millimetre; the back is drawn with x to the left.
    const [a, b] = [bitmap.width / (high[0] - low[0]), bitmap.height / (high[1] - low[1])];
    const px = [a * (side === "front" ? place[0] - low[0] : high[0] - place[0]), b * (high[1] - place[1])];
    const found = await snap(bitmap, px, aim, this.scale / a);
    if (!found) {
      this.note = moved(null);
      return null;
    }
    const at = [side === "front" ? low[0] + found.px[0] / a : high[0] - found.px[0] / a, high[1] - found.px[1] / b];
    this.note = moved(found, Math.hypot(at[0] - place[0], at[1] - place[1]));
    return { place: at, what: found.what };
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

  /** Both sides as they are now. What has not changed since the last time stays as it is: with hundreds of points that is nearly everything. */
  draw(model, tool) {
    // Looked up for every point and segment of both sides.
    this.named = new Map(model.draft.points.map((point) => [point.name, point]));
    this.bad = new Set(model.findings.filter(({ grade, place }) => grade === "error" && place).map(({ place }) => `${place.part === "pins" ? "points" : place.part} ${place.name ?? place.index}`));
    for (const side of SIDES) this.#show(side, this.#parts(side, model, tool));
  }

  /** Puts parts on a sheet, each `[name, what it depends on, shapes]`; those whose dependence is the same keep their shapes. */
  #show(side, parts) {
    const sheet = this.sheets[side];
    const before = this.drawn[side];
    const now = new Map();
    const look = `${this.middle} ${this.scale} ${this.flipped} ${this.size}`;
    let place = sheet.firstChild;
    for (const [name, depends, shapes] of parts) {
      const key = `${look}|${depends}`;
      const old = before.get(name);
      const group = old?.group ?? shape("g");
      if (old?.key !== key) group.replaceChildren(...shapes());
      now.set(name, { key, group });
      before.delete(name);
      if (group === place) place = place.nextSibling;
      else sheet.insertBefore(group, place);
    }
    for (const { group } of before.values()) group.remove();
    this.drawn[side] = now;
  }

  #line(side, places) { return places.map((place) => this.at(side, place).map((value) => value.toFixed(1)).join(",")).join(" "); }

  *#parts(side, model, tool) {
    const { draft, selected } = model;
    const outline = draft.board.outline ?? [];
    const photo = this.shown && this.photos[side];
    yield ["board", `${photo?.url}|${outline}`, () => this.#board(side, outline, photo)];
    const is = (kind, index) => selected?.kind === kind && selected.index === index;
    for (const [index, { keys }] of draft.keep_outs.entries()) {
      const [chosen, bad] = [is("keep_out", index), this.bad.has(`keep_out ${index}`)];
      yield [`keep_out ${index}`, `${chosen} ${bad} ${JSON.stringify(keys)}`, () => this.#keepOut(side, keys, index, chosen, bad)];
    }
    for (const [index, { keys }] of draft.segments.entries()) {
      const [chosen, bad] = [is("segment", index), this.bad.has(`segment ${index}`)];
      const ends = [this.named.get(keys.from), this.named.get(keys.to)].map((end) => (end ? `${end.keys.at} ${end.keys.side}` : ""));
      yield [`segment ${index}`, `${chosen} ${bad} ${ends} ${JSON.stringify(keys)}`, () => [...this.#segment(side, keys, chosen, bad)]];
    }
    for (const [index, point] of draft.points.entries()) {
      const [chosen, bad, role] = [is("point", index), this.bad.has(`points ${point.name}`), model.role(point)];
      yield [`point ${index}`, `${chosen} ${bad} ${role} ${point.name} ${JSON.stringify(point.keys)}`, () => [...this.#point(side, point, chosen, bad, role)]];
    }
    // What moves with the pointer is drawn every time.
    const rings = model.rings.filter((ring) => !ring.side || ring.side === side);
    this.#count += 1;
    yield ["above", this.#count, () => [
      ...rings.flatMap(({ ring }) => ring.map((corner) => {
        const [x, y] = this.at(side, corner);
        return shape("rect", { class: "handle", x: x - 5, y: y - 5, width: 10, height: 10 });
      })),
      ...(tool?.draw?.(this, side) ?? []),
      ...(this.cursor ? [this.#cross(this.at(side, this.cursor))] : []),
    ]];
  }

  #cross([x, y]) { return shape("path", { class: "cross", d: `M${x - 14} ${y}h28M${x} ${y - 14}v28` }); }

  #board(side, outline, photo) {
    const edge = (name) => (outline.length > 2 ? [shape("polygon", { class: name, points: this.#line(side, outline) })] : []);
    if (!photo) return edge("laminate");
    const [a, b] = [this.at(side, photo.window.low), this.at(side, photo.window.high)];
    // The picture is as the hand holds it; seen through from the front it is turned over.
    const over = side === "back" && !this.flipped;
    const left = Math.min(a[0], b[0]);
    return [shape("image", {
      href: photo.url, x: over ? -Math.max(a[0], b[0]) : left, y: b[1], width: Math.abs(b[0] - a[0]), height: a[1] - b[1],
      preserveAspectRatio: "none", transform: over ? "scale(-1 1)" : undefined,
    }), ...edge("edge")];
  }

  #keepOut(side, keys, index, chosen, bad) {
    if (keys.side !== side || !Array.isArray(keys.polygon)) return [];
    const classes = ["keep-out", chosen && "selected", bad && "bad"].filter(Boolean).join(" ");
    return [shape("polygon", { class: classes, points: this.#line(side, keys.polygon.filter(Array.isArray)), "data-keep-out": index })];
  }

  *#segment(side, keys, selected, bad) {
    const ends = [this.named.get(keys.from), this.named.get(keys.to)];
    if (!ends[0]?.keys.at || !ends[1]?.keys.at) return;
    const sides = ends.map((end) => end.keys.side);
    const here = keys.kind === "via" || sides.every((known) => known === side || known === "both");
    if (!here) return;
    const classes = ["run", keys.kind, selected && "selected", bad && "bad"].filter(Boolean).join(" ");
    const way = [ends[0].keys.at, ...(Array.isArray(keys.route) ? keys.route : []), ends[1].keys.at];
    const width = keys.kind === "trace" ? Math.max(3, Math.min(60, (parseFloat(keys.width) || 1) * this.scale)) : 3;
    if (keys.kind === "pour" && Array.isArray(keys.outline)) {
      // Outline and holes as one path, so that the holes stay open.
      const rings = [keys.outline, ...(Array.isArray(keys.holes) ? keys.holes : [])].filter(Array.isArray);
      yield shape("path", { class: `${classes} area`, "fill-rule": "evenodd", d: rings.map((ring) => `M${this.#line(side, ring.filter(Array.isArray))}Z`).join("") });
    }
    yield shape("polyline", { class: classes, points: this.#line(side, way), "stroke-width": width, "data-segment": keys.name });
    if (keys.kind !== "trace" && keys.kind !== "via") {
      const [a, b] = [this.at(side, way[0]), this.at(side, way.at(-1))];
      yield shape("text", { class: "word", x: (a[0] + b[0]) / 2, y: (a[1] + b[1]) / 2 + 19 }, keys.kind);
    }
  }

  *#point(side, point, selected, bad, role) {
    const { at, side: on, kind } = point.keys;
    if (!Array.isArray(at)) return;
    const [x, y] = this.at(side, at);
    const through = kind === "via" || kind === "leg";
    if (on !== side && on !== "both") {
      // A hole comes out here, too.
      if (through || selected) yield shape("circle", { class: selected ? "beyond selected" : "beyond", cx: x, cy: y, r: 6 });
      return;
    }
    const classes = ["dot", role && "end", selected && "selected", bad && "bad"].filter(Boolean).join(" ");
    yield kind === "terminal"
      ? shape("rect", { class: classes, x: x - 7, y: y - 7, width: 14, height: 14, rx: 3, "data-point": point.name })
      : shape("circle", { class: classes, cx: x, cy: y, r: 6, "data-point": point.name });
    if (through) yield shape("circle", { class: "hole", cx: x, cy: y, r: 2.5 });
    if (selected || role || this.scale > 14) yield shape("text", { class: "label", x: x + 10, y: y - 8 }, point.name);
  }
}
