// What the pointer and the keys do on the drawing.

import { apart, rounded } from "./editor-model.js";
import { SIDES, shape } from "./editor-view.js";

const NEAR_PX = 12;

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

/** Chooses, moves. */
class Select {
  hint = "Click a point or a segment. Drag a point to move it. A click shows its place on both sides.";
  #dragged = null;
  constructor(model, view) { [this.model, this.view] = [model, view]; }
  down(side, at) {
    const point = pointAt(this.model, this.view, side, at);
    this.view.cursor = point === null ? this.view.place(side, at) : this.model.draft.points[point].keys.at;
    if (point !== null) {
      this.#dragged = { point, begun: false, from: at };
      return this.model.select("point", point);
    }
    const segment = segmentAt(this.model, this.view, side, at);
    return segment === null ? this.model.select(null) : this.model.select("segment", segment);
  }
  move(side, at) {
    const dragged = this.#dragged;
    if (!dragged || (!dragged.begun && apart(at, dragged.from) < 4)) return;
    const act = (draft) => {
      const point = draft.points[dragged.point];
      const was = point.keys.at;
      point.keys.at = rounded(this.view.place(side, at));
      // Both ends of a barrel move together.
      for (const other of draft.points) {
        if (other !== point && other.keys.kind === "via" && point.keys.kind === "via" && apart(other.keys.at, was) < 0.01) {
          other.keys.at = [...point.keys.at];
        }
      }
    };
    if (dragged.begun) this.model.amend(act);
    else this.model.change(act);
    dragged.begun = true;
  }
  up() { this.#dragged = null; }
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
  down(side, at, shift) {
    const { model } = this;
    const head = this.head && model.named(this.head);
    const place = this.view.place(side, at);
    if (shift && head) {
      this.route.push(rounded(place));
      return model.tell("selected");
    }
    const hit = pointAt(model, this.view, side, at);
    if (!head && hit === null && this.#lacksReturn) {
      return model.change((draft) => {
        model.setRole(draft, model.addPoint(draft, place, side, "terminal"), "return");
        model.selected = { kind: "point", index: draft.points.length - 1 };
      });
    }
    model.change((draft) => {
      const point = hit === null ? model.addPoint(draft, place, side, this.kind === "switch" ? "leg" : "pad") : draft.points[hit];
      if (head && head !== point) model.addSegment(draft, this.kind, head, point, this.route, this.width);
      else if (!head && !draft.supply.from) model.setRole(draft, point, "from");
      model.selected = head && head !== point ? { kind: "segment", index: draft.segments.length - 1 } : { kind: "point", index: draft.points.indexOf(point) };
      this.head = point.name;
    });
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

/** A polygon, corner after corner: the board's outline, or a pour's. */
class Polygon {
  corners = [];
  constructor(model, view, of) { [this.model, this.view, this.of] = [model, view, of]; }
  get hint() {
    const what = this.of === "outline" ? "the board's edge" : "the selected pour";
    return `Click the corners of ${what} in order round it; Enter closes it.`;
  }
  down(side, at) {
    this.corners.push(rounded(this.view.place(side, at)));
    this.model.tell("selected");
  }
  end() {
    const { corners, model } = this;
    this.corners = [];
    const { segment } = model;
    if (corners.length >= 3) {
      if (this.of === "outline") model.change((draft) => { draft.board.outline = corners; });
      else if (segment) model.change(() => { segment.keys.kind = "pour"; segment.keys.outline = corners; for (const key of ["length", "width", "route"]) delete segment.keys[key]; });
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
  constructor(model, view) { [this.model, this.view] = [model, view]; }
  get hint() {
    const open = this.pairs.at(-1);
    const next = open && (!open.front || !open.back) ? `the same hole on the ${open.front ? "back" : "front"}` : "a through hole on either side";
    return `Click ${next}. ${this.pairs.filter(({ front, back }) => front && back).length} holes so far; three or more, then Enter lays the back onto the front.`;
  }
  down(side, at) {
    const place = this.view.place(side, at);
    const open = this.pairs.at(-1);
    if (open && !open[side]) open[side] = place;
    else if (open && !(open.front && open.back)) open[side] = place;
    else this.pairs.push({ [side]: place });
    this.model.tell("selected");
  }
  end() {
    const pairs = this.pairs.filter(({ front, back }) => front && back);
    this.pairs = [];
    this.model.tell("tool");
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
      let panned = null;
      sheet.addEventListener("pointerdown", (event) => {
        sheet.focus({ preventScroll: true });
        if (event.button === 1 || event.button === 2 || event.altKey) {
          panned = at(event);
          sheet.setPointerCapture(event.pointerId);
          event.preventDefault();
        } else if (event.button === 0) {
          sheet.setPointerCapture(event.pointerId);
          this.now.down(side, at(event), event.shiftKey);
        }
      });
      sheet.addEventListener("pointermove", (event) => {
        if (panned) {
          const now = at(event);
          this.view.pan(side, now[0] - panned[0], now[1] - panned[1]);
          panned = now;
          return this.model.tell("view");
        }
        if (this.now.move && event.buttons === 1) return this.now.move(side, at(event));
        this.view.cursor = this.view.place(side, at(event));
        return this.model.tell("view");
      });
      for (const name of ["pointerup", "pointercancel"]) sheet.addEventListener(name, () => { panned = null; this.now.up?.(); });
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
        model.change(() => { point.keys.at = rounded([point.keys.at[0] + by[0], point.keys.at[1] + by[1]]); });
      } else {
        view.cursor = view.cursor ?? [...view.middle];
        view.cursor = [view.cursor[0] + by[0], view.cursor[1] + by[1]];
        model.tell("view");
      }
    } else if (event.key === " ") {
      this.now.down(side, view.at(side, view.cursor ?? view.middle), event.shiftKey);
      this.now.up?.();
    } else return;
    event.preventDefault();
    event.stopPropagation();
  }
}
