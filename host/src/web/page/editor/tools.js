// What the pointer and the keys do on the drawing.

import { apart, rounded } from "./editor-model.js";
import { SIDES, shape } from "./editor-view.js";

const NEAR_PX = 12;
/** A hand that means to click moves less than this. */
const STILL_PX = 4;

/** The nearest point of a side under a place on the sheet, or none. */
function pointAt(model, view, side, at) {
  let best = null, least = NEAR_PX;
  model.draft.points.forEach((point, index) => {
    const on = point.keys.side;
    if (on !== side && on !== "both") return;
    const far = apart(view.at(side, point.keys.at), at);
    if (far < least) [best, least] = [index, far];
  });
  return best;
}

function fromLine(p, a, b) {
  const [dx, dy] = [b[0] - a[0], b[1] - a[1]];
  const along = Math.max(0, Math.min(1, ((p[0] - a[0]) * dx + (p[1] - a[1]) * dy) / (dx * dx + dy * dy || 1)));
  return apart(p, [a[0] + along * dx, a[1] + along * dy]);
}

function segmentAt(model, view, side, at) {
  let best = null, least = NEAR_PX;
  model.draft.segments.forEach(({ keys }, index) => {
    const ends = [model.named(keys.from), model.named(keys.to)];
    if (!ends[0] || !ends[1] || ends.some((end) => end.keys.side !== side && end.keys.side !== "both")) return;
    const way = [ends[0].keys.at, ...(keys.route ?? []), ends[1].keys.at].map((place) => view.at(side, place));
    for (let i = 1; i < way.length; i += 1) {
      const far = fromLine(at, way[i - 1], way[i]);
      if (far < least) [best, least] = [index, far];
    }
  });
  return best;
}

/** Is a place inside a closed line? Crossings of a ray to the right, counted even-odd. */
function inside([x, y], ring) {
  return ring.reduce((is, [x0, y0], index) => {
    const [x1, y1] = ring[(index + 1) % ring.length];
    return (y0 > y) !== (y1 > y) && x < ((x1 - x0) * (y - y0)) / (y1 - y0) + x0 ? !is : is;
  }, false);
}

/** The last drawn keep-out of a side that a place of the board lies in, or none. */
function keepOutAt(model, side, place) {
  const { keep_outs: all } = model.draft;
  const at = all.findLastIndex(({ keys }) => keys.side === side && Array.isArray(keys.polygon) && inside(place, keys.polygon));
  return at < 0 ? null : at;
}

/** A corner of what is chosen under a place on the sheet: `[line, corner]`, or none. */
function cornerAt(model, view, side, at) {
  for (const [line, { ring, side: on }] of model.rings.entries()) {
    if (on && on !== side) continue;
    const corner = ring.findIndex((place) => apart(view.at(side, place), at) < NEAR_PX);
    if (corner >= 0) return [line, corner];
  }
  return null;
}

/** Chooses, moves. */
class Select {
  hint = "Click a point, a segment or a keep-out. Drag a point, or a corner of what is chosen, to move it. A click shows its place on both sides.";
  #dragged = null;
  constructor(model, view) { [this.model, this.view] = [model, view]; }
  down(side, at) {
    const corner = cornerAt(this.model, this.view, side, at);
    if (corner) {
      this.view.cursor = this.view.place(side, at);
      this.#dragged = { corner, begun: false, from: at };
      return this.model.tell("view");
    }
    const point = pointAt(this.model, this.view, side, at);
    this.view.cursor = point === null ? this.view.place(side, at) : this.model.draft.points[point].keys.at;
    if (point !== null) {
      this.#dragged = { point, begun: false, from: at };
      return this.model.select("point", point);
    }
    const segment = segmentAt(this.model, this.view, side, at);
    if (segment !== null) return this.model.select("segment", segment);
    const keepOut = keepOutAt(this.model, side, this.view.place(side, at));
    return keepOut === null ? this.model.select(null) : this.model.select("keep_out", keepOut);
  }
  move(side, at) {
    const dragged = this.#dragged;
    if (!dragged || (!dragged.begun && apart(at, dragged.from) < 4)) return;
    const place = this.view.place(side, at);
    const act = (draft) => {
      if (dragged.corner) this.model.rings[dragged.corner[0]].ring[dragged.corner[1]] = rounded(place);
      else this.model.move(draft, draft.points[dragged.point], place);
    };
    if (dragged.begun) this.model.amend(act);
    else this.model.change(act);
    dragged.begun = true;
  }
  up() { this.#dragged = null; }
}

/** Moves a point that was just placed to the middle of the hole or pad under it, and what is measured along with it; part of the same step. */
async function refinePoint(model, view, side, point) {
  const clicked = [...point.keys.at];
  const found = await view.refined(side, clicked, "centre");
  // Whoever was quicker than the answer has undone or moved it.
  const stands = model.draft.points.includes(point) && apart(point.keys.at, clicked) === 0;
  if (!found || !stands) return model.tell("view");
  // Lengths that were typed stay as they are.
  const touching = model.draft.segments.filter((segment) => model.isMeasured(segment) && [segment.keys.from, segment.keys.to].includes(point.name));
  return model.amend((draft) => {
    model.move(draft, point, found.place);
    for (const segment of touching) model.measure(draft, segment);
  });
}

/** Lays the path: click after click, each joined to the one before. */
class Path {
  kind = "trace";
  width = "1 mm";
  head = null; // name of the point the path goes on from
  side = "front";
  route = [];
  constructor(model, view) { [this.model, this.view] = [model, view]; }
  get hint() {
    return this.head
      ? `From ${this.head}: click the next point; Shift-click a corner of the copper; V goes through the board; Enter ends the path.`
      : this.#lacksReturn
        ? "Click the return terminal. A branch begins with a click on the point it leaves from."
        : "Click where the supply comes in, then every place a pin can touch, in the order of the current.";
  }
  get #lacksReturn() {
    const { supply } = this.model.draft;
    return Boolean(supply.from && supply.to && !supply.return);
  }
  down(side, at, shift, exact) {
    const { model } = this;
    const head = this.head && model.named(this.head);
    const place = this.view.place(side, at);
    if (shift && head) {
      this.route.push(rounded(place));
      return model.tell("selected");
    }
    const refine = (point) => exact || refinePoint(model, this.view, side, point);
    const hit = pointAt(model, this.view, side, at);
    if (!head && hit === null && this.#lacksReturn) {
      model.change((draft) => {
        model.setRole(draft, model.addPoint(draft, place, side, "terminal"), "return");
        model.selected = { kind: "point", index: draft.points.length - 1 };
      });
      return refine(model.point);
    }
    let point = null;
    model.change((draft) => {
      point = hit === null ? model.addPoint(draft, place, side, this.kind === "switch" ? "leg" : "pad") : draft.points[hit];
      if (head && head !== point) model.addSegment(draft, this.kind, head, point, this.route, this.width);
      else if (!head && !draft.supply.from) model.setRole(draft, point, "from");
      model.selected = head && head !== point ? { kind: "segment", index: draft.segments.length - 1 } : { kind: "point", index: draft.points.indexOf(point) };
      this.head = point.name;
    });
    if (hit === null) refine(point);
    this.route = [];
    this.side = side;
    // A part is one part: copper goes on behind it.
    this.kind = "trace";
    return model.tell("selected");
  }
  through() {
    const head = this.head && this.model.named(this.head);
    if (!head) return;
    this.model.change((draft) => {
      const far = this.model.through(draft, head);
      this.head = far.name;
      this.side = far.keys.side;
      this.model.selected = { kind: "segment", index: draft.segments.length - 1 };
    });
    this.model.tell("selected");
  }
  end() {
    const last = this.head && this.model.named(this.head);
    this.head = null;
    this.route = [];
    if (last && !this.model.draft.supply.to && this.model.draft.segments.length) {
      this.model.change((draft) => {
        this.model.setRole(draft, last, "to");
        this.model.selected = { kind: "point", index: draft.points.indexOf(last) };
      });
    }
    this.model.tell("tool");
  }
  *draw(view, side) {
    const head = this.head && this.model.named(this.head);
    if (!head) return;
    const on = head.keys.side;
    if (on !== side && on !== "both") return;
    const way = [head.keys.at, ...this.route].map((place) => view.at(side, place).join(","));
    yield shape("circle", { class: "head", cx: view.at(side, head.keys.at)[0], cy: view.at(side, head.keys.at)[1], r: 11 });
    if (this.route.length) yield shape("polyline", { class: "coming", points: way.join(" ") });
  }
}

/** Two clicks across the copper of the selected trace. */
class Width {
  #first = null;
  hint = "Click both edges of the selected trace's copper, straight across it.";
  constructor(model, view) { [this.model, this.view] = [model, view]; }
  down(side, at) {
    const place = this.view.place(side, at);
    const { segment } = this.model;
    if (!segment || segment.keys.kind !== "trace") {
      const hit = segmentAt(this.model, this.view, side, at);
      return hit === null ? null : this.model.select("segment", hit);
    }
    if (!this.#first) {
      this.#first = place;
      return this.model.tell("selected");
    }
    const width = Math.max(0.05, Math.round(apart(this.#first, place) * 100) / 100);
    this.#first = null;
    this.model.change(() => { segment.keys.width = `${width} mm`; });
    return null;
  }
  *draw(view, side) {
    if (this.#first) {
      const [x, y] = view.at(side, this.#first);
      yield shape("circle", { class: "head", cx: x, cy: y, r: 5 });
    }
  }
}

/** What closed lines are drawn for. */
const RINGS = { outline: "the board's edge", pour: "the selected pour", hole: "a hole in the selected pour", keep_out: "where no pin may stand" };

/** A polygon, corner after corner: the board's outline, a pour's or a hole's in it, or a keep-out. */
class Polygon {
  corners = [];
  side = "front";
  #answers = [];
  constructor(model, view, of) { [this.model, this.view, this.of] = [model, view, of]; }
  get hint() {
    if (this.#lacksPour) return "Choose a pour first: its drawing, or its name under “Chosen”.";
    return `Click the corners of ${RINGS[this.of]} in order round it; Enter closes it.`;
  }
  get #lacksPour() {
    const { segment } = this.model;
    return this.of === "hole" ? segment?.keys.kind !== "pour" : this.of === "pour" && !segment;
  }
  down(side, at, shift, exact) {
    const { corners, model, view } = this;
    if (this.#lacksPour) {
      const hit = segmentAt(model, view, side, at);
      return hit === null ? null : model.select("segment", hit);
    }
    if (corners.length === 0) this.side = side;
    const corner = rounded(view.place(side, at));
    corners.push(corner);
    if (!exact) {
      this.#answers.push(view.refined(side, [...corner], "corner").then((found) => {
        if (found) [corner[0], corner[1]] = rounded(found.place);
        model.tell("view");
      }));
    }
    return model.tell("selected");
  }
  async end() {
    const { corners, model, side } = this;
    this.corners = [];
    const { segment } = model;
    const lacksPour = this.#lacksPour;
    await Promise.all(this.#answers.splice(0));
    if (corners.length >= 3 && !lacksPour) {
      model.change((draft) => {
        if (this.of === "outline") draft.board.outline = corners;
        else if (this.of === "keep_out") {
          draft.keep_outs.push({ keys: { side, polygon: corners } });
          model.selected = { kind: "keep_out", index: draft.keep_outs.length - 1 };
        } else if (this.of === "hole") segment.keys.holes = [...(segment.keys.holes ?? []), corners];
        else {
          segment.keys.kind = "pour";
          segment.keys.outline = corners;
          for (const key of ["length", "width", "route"]) delete segment.keys[key];
        }
      });
      // Its form waits for what only a person knows: how high, and why.
      if (this.of === "keep_out") model.tell("selected");
    }
    model.tell("tool");
  }
  *draw(view, side) {
    if (this.corners.length) yield shape("polyline", { class: "coming", points: this.corners.map((place) => view.at(side, place).join(",")).join(" ") });
  }
}

/** The same hole on both sides, hole after hole. */
class Holes {
  pairs = [];
  #answers = [];
  constructor(model, view) { [this.model, this.view] = [model, view]; }
  get hint() {
    const open = this.pairs.at(-1);
    const next = open && (!open.front || !open.back) ? `the same hole on the ${open.front ? "back" : "front"}` : "a through hole on either side";
    return `Click ${next}. ${this.pairs.filter(({ front, back }) => front && back).length} holes so far; three or more, then Enter lays the back onto the front.`;
  }
  down(side, at, shift, exact) {
    const place = this.view.place(side, at);
    const open = this.pairs.at(-1);
    if (open && !(open.front && open.back)) open[side] = place;
    else this.pairs.push({ [side]: place });
    if (!exact) {
      this.#answers.push(this.view.refined(side, [...place], "centre").then((found) => {
        if (found) [place[0], place[1]] = found.place;
        this.model.tell("view");
      }));
    }
    this.model.tell("selected");
  }
  async end() {
    const pairs = this.pairs.filter(({ front, back }) => front && back);
    this.pairs = [];
    this.model.tell("tool");
    await Promise.all(this.#answers.splice(0));
    this.aligned?.(pairs);
  }
  *draw(view, side) {
    for (const [index, pair] of this.pairs.entries()) {
      if (!pair[side]) continue;
      const [x, y] = view.at(side, pair[side]);
      yield shape("circle", { class: "mark", cx: x, cy: y, r: 8 });
      yield shape("text", { class: "label", x: x + 10, y: y - 8 }, String(index + 1));
    }
  }
}

export class Tools {
  constructor(model, view) {
    [this.model, this.view] = [model, view];
    this.all = {
      select: new Select(model, view),
      path: new Path(model, view),
      width: new Width(model, view),
      outline: new Polygon(model, view, "outline"),
      pour: new Polygon(model, view, "pour"),
      hole: new Polygon(model, view, "hole"),
      keep_out: new Polygon(model, view, "keep_out"),
      holes: new Holes(model, view),
    };
    this.name = "path";
  }
  get now() { return this.all[this.name]; }
  choose(name) {
    this.now.up?.();
    if (this.name === "path" && name !== "path") this.all.path.head = null;
    this.name = name;
    this.model.tell("tool");
  }
  /** A kind of part for the next stretch of the path. */
  part(kind) {
    if (this.name !== "path") this.choose("path");
    this.all.path.kind = kind;
    this.model.tell("tool");
  }

  attach() {
    for (const side of SIDES) {
      const sheet = this.view.sheets[side];
      const at = (event) => {
        const box = sheet.getBoundingClientRect();
        return [event.clientX - box.left - sheet.clientLeft, event.clientY - box.top - sheet.clientTop];
      };
      // With Alt, a click is taken exactly where it is; dragged, the drawing moves.
      let panned = null, exact = null;
      sheet.addEventListener("pointerdown", (event) => {
        sheet.focus({ preventScroll: true });
        if (event.button === 1 || event.button === 2 || event.altKey) {
          panned = at(event);
          exact = event.button === 0 ? { at: panned, shift: event.shiftKey } : null;
          sheet.setPointerCapture(event.pointerId);
          event.preventDefault();
        } else if (event.button === 0) {
          sheet.setPointerCapture(event.pointerId);
          this.view.note = "";
          this.now.down(side, at(event), event.shiftKey, false);
        }
      });
      sheet.addEventListener("pointermove", (event) => {
        if (panned) {
          const now = at(event);
          if (exact && apart(exact.at, now) < STILL_PX) return null;
          exact = null;
          this.view.pan(side, now[0] - panned[0], now[1] - panned[1]);
          panned = now;
          return this.model.tell("view");
        }
        if (this.now.move && event.buttons === 1) return this.now.move(side, at(event));
        this.view.cursor = this.view.place(side, at(event));
        return this.model.tell("view");
      });
      sheet.addEventListener("pointerup", () => {
        if (exact) {
          this.view.note = "exactly where it was clicked";
          this.now.down(side, exact.at, exact.shift, true);
        }
      });
      for (const name of ["pointerup", "pointercancel"]) sheet.addEventListener(name, () => { panned = exact = null; this.now.up?.(); });
      sheet.addEventListener("contextmenu", (event) => event.preventDefault());
      sheet.addEventListener("wheel", (event) => {
        event.preventDefault();
        this.view.zoom(side, Math.exp(-event.deltaY / 400), at(event));
        this.model.tell("view");
      }, { passive: false });
      sheet.addEventListener("keydown", (event) => this.#key(side, event));
    }
  }

  /** Arrows move the selected point, or the cross where something is placed; Space clicks there. */
  #key(side, event) {
    const way = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] }[event.key];
    const { model, view } = this;
    if (way) {
      const hand = side === "back" && view.flipped ? -1 : 1;
      const step = (event.shiftKey ? 1 : 0.1) * (this.name === "select" ? 1 : 5);
      const by = [hand * way[0] * step, way[1] * step];
      if (this.name === "select" && model.point) {
        const { point } = model;
        model.change((draft) => model.move(draft, point, [point.keys.at[0] + by[0], point.keys.at[1] + by[1]]));
      } else {
        view.cursor = view.cursor ?? [...view.middle];
        view.cursor = [view.cursor[0] + by[0], view.cursor[1] + by[1]];
        model.tell("view");
      }
    } else if (event.key === " ") {
      view.note = "";
      this.now.down(side, view.at(side, view.cursor ?? view.middle), event.shiftKey, event.altKey);
      this.now.up?.();
    } else return;
    event.preventDefault();
    event.stopPropagation();
  }
}
