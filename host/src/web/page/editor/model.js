// The board that is drawn, and every change of it: each is one step that can be undone.

/** Keys that a new segment of a kind begins with; lengths are added as they are drawn. */
const BEGIN = {
  via: { count: 1, drill: "0.3 mm", plating: "20 um" },
  fuse: { rating: "1 A" },
  resettable: { hold: "0.5 A" },
  shunt: { value: "50 mohm" },
  wire: { awg: 26 },
  diode: { max_forward: "0.45 V" },
};
const MOST_STEPS = 200;
/** By this key each part of a draft is known again in every step; it is never sent. */
export const MARK = "$part";
/** Lists of parts, by what one of them is called when it is chosen. */
const LISTS = { point: "points", segment: "segments", keep_out: "keep_outs", check: "checks", state: "states", isolation: "isolation" };

const NEW = {
  board: { name: "", revision: "A", thickness: "1.6 mm", copper: "35 um", outline: [[0, 0], [80, 0], [80, 50], [0, 50]] },
  supply: { voltage: ["2.0 V", "3.2 V"], load: "100 mA", max_drop: "200 mV" },
  states: [], points: [], segments: [], isolation: [], keep_outs: [], checks: [],
  fixture: { name: "", board: "board.toml" },
  controller: {},
};

export const apart = (a, b) => Math.hypot(a[0] - b[0], a[1] - b[1]);
/** Hundredths of a millimetre: finer than anybody clicks. */
export const rounded = (place) => place.map((value) => Math.round(value * 100) / 100 || 0);

export class Model {
  draft = structuredClone(NEW);
  findings = [];
  selected = null; // { kind: "point" | "segment" | "keep_out", index }
  version = 0;
  saved = 0;
  #undo = [];
  #redo = [];
  #heard = [];
  #marks = 0;

  listen(hear) { this.#heard.push(hear); }
  tell(what) { for (const hear of this.#heard) hear(what); }

  /** Marks parts that are new. */
  #mark() {
    for (const list of Object.values(LISTS)) for (const part of this.draft[list]) part[MARK] ??= (this.#marks += 1);
  }

  /** Takes a board from a file. */
  take(draft, findings) {
    this.draft = draft;
    this.#mark();
    this.findings = findings;
    this.#undo = [];
    this.#redo = [];
    this.selected = null;
    this.version += 1;
    this.saved = this.version;
    this.tell("draft");
  }

  /** A draft was saved, when this was its version: its parts lie where `kept` says in the files now, in every step to which one may go back. */
  keep(version, saved, kept, findings) {
    const places = new Map();
    for (const list of Object.values(LISTS)) saved[list].forEach((part, index) => places.set(part[MARK], kept[list][index]?.was));
    for (const draft of [...this.#undo, ...this.#redo, this.draft]) {
      for (const part of Object.values(LISTS).flatMap((list) => draft[list])) {
        // What was taken out before saving is new again when it comes back.
        if (places.get(part[MARK]) === undefined) delete part.was;
        else part.was = places.get(part[MARK]);
      }
    }
    this.saved = version;
    if (version === this.version) this.checked(version, { draft: kept, findings });
    this.tell("saved");
  }

  /** One step. */
  change(act) {
    this.#undo.push(structuredClone(this.draft));
    if (this.#undo.length > MOST_STEPS) this.#undo.shift();
    this.#redo = [];
    act(this.draft);
    this.#mark();
    this.version += 1;
    this.tell("draft");
  }

  /** Follows a drag: the step before it is the one that is undone. */
  amend(act) {
    act(this.draft);
    this.#mark();
    this.version += 1;
    this.tell("draft");
  }

  #swap(from, to) {
    const other = from.pop();
    if (!other) return false;
    to.push(this.draft);
    this.draft = other;
    const list = this.selected && this.draft[LISTS[this.selected.kind]];
    if (this.selected && !list[this.selected.index]) this.selected = null;
    this.version += 1;
    this.tell("draft");
    return true;
  }
  undo() { return this.#swap(this.#undo, this.#redo); }
  redo() { return this.#swap(this.#redo, this.#undo); }
  get canUndo() { return this.#undo.length > 0; }
  get canRedo() { return this.#redo.length > 0; }

  select(kind, index) {
    this.selected = kind ? { kind, index } : null;
    this.tell("selected");
  }
  get point() { return this.selected?.kind === "point" ? this.draft.points[this.selected.index] : null; }
  get segment() { return this.selected?.kind === "segment" ? this.draft.segments[this.selected.index] : null; }

  get keepOut() { return this.selected?.kind === "keep_out" ? this.draft.keep_outs[this.selected.index] : null; }

  /** Closed lines of what is chosen, whose corners can be moved: a keep-out, or a pour with its holes. Each with the side it shows on, or null for both. */
  get rings() {
    const { keepOut, segment } = this;
    const sound = (ring) => Array.isArray(ring) && ring.every((place) => Array.isArray(place) && place.length === 2);
    if (keepOut) return sound(keepOut.keys.polygon) ? [{ ring: keepOut.keys.polygon, side: keepOut.keys.side }] : [];
    if (segment?.keys.kind !== "pour") return [];
    const side = [segment.keys.from, segment.keys.to].map((name) => this.named(name)?.keys.side).find((side) => side !== "both") ?? null;
    return [segment.keys.outline, ...(Array.isArray(segment.keys.holes) ? segment.keys.holes : [])].filter(sound).map((ring) => ({ ring, side }));
  }

  /** What the check says, with the pins it gave; only if nothing has changed since it was asked. */
  checked(version, { draft, findings }) {
    if (version !== this.version) return;
    draft.points.forEach((point, index) => {
      if (this.draft.points[index]) this.draft.points[index].pins = point.pins;
    });
    this.draft.controller = draft.controller;
    this.findings = findings;
    this.tell("findings");
  }

  named(name) { return this.draft.points.find((point) => point.name === name); }

  #free(stem, taken) {
    for (let number = 1; ; number += 1) {
      const name = `${stem}${number}`;
      if (!taken.includes(name)) return name;
    }
  }

  /** Adds a point; inside a change. */
  addPoint(draft, at, side, kind = "pad", stem = "p") {
    const name = this.#free(stem, draft.points.map((point) => point.name));
    draft.points.push({ name, keys: { at: rounded(at), side, kind } });
    return draft.points.at(-1);
  }

  /** Adds a segment between two points; inside a change. */
  addSegment(draft, kind, from, to, route = [], width = "1 mm") {
    const name = this.#free(`${kind} `, draft.segments.map((segment) => segment.keys.name));
    const keys = { name, kind, from: from.name, to: to.name, ...structuredClone(BEGIN[kind] ?? {}) };
    if (kind === "trace") Object.assign(keys, { width }, route.length ? { route: route.map(rounded) } : {});
    if (kind === "switch") {
      if (draft.states.length === 0) {
        draft.states.push({ name: "off", prompt: "Set the switch to OFF" }, { name: "on", prompt: "Set the switch to ON" });
      }
      keys.closed = [draft.states.at(-1).name];
    }
    draft.segments.push({ keys });
    if (kind === "trace" || kind === "wire") this.measure(draft, draft.segments.at(-1));
    return draft.segments.at(-1);
  }

  /** Is a trace's or wire's length the one that it is drawn with? */
  isMeasured(segment) {
    return ["trace", "wire"].includes(segment.keys.kind) && segment.keys.length === this.#drawn(this.draft, segment);
  }

  /** The length of a trace or wire as it is drawn. */
  measure(draft, segment) {
    const length = this.#drawn(draft, segment);
    if (length) segment.keys.length = length;
  }

  #drawn(draft, segment) {
    const ends = ["from", "to"].map((end) => draft.points.find((point) => point.name === segment.keys[end])?.keys.at);
    if (!ends[0] || !ends[1]) return null;
    const way = [ends[0], ...(segment.keys.route ?? []), ends[1]];
    const length = way.slice(1).reduce((sum, at, index) => sum + apart(way[index], at), 0);
    return `${Math.max(0.1, Math.round(length * 10) / 10)} mm`;
  }

  /** Moves a point, and with it the other end of its barrel, which lies at the same place; inside a change. */
  move(draft, point, at) {
    const was = point.keys.at;
    const others = draft.points.filter((other) => other !== point && other.keys.kind === "via" && point.keys.kind === "via" && apart(other.keys.at, was) < 0.01);
    for (const moved of [point, ...others]) moved.keys.at = rounded(at);
  }

  /** A via's other end: a point on the other side at the same place, and the barrel between. */
  through(draft, point) {
    if (point.keys.side === "both") return point;
    const other = point.keys.side === "front" ? "back" : "front";
    point.keys.kind = "via";
    const stem = point.name.replace(/\.[fb]$/, "");
    const name = `${stem}.${other[0]}`;
    const far = this.addPoint(draft, point.keys.at, other, "via");
    if (!draft.points.some((known) => known.name === name)) far.name = name;
    this.addSegment(draft, "via", point, far);
    return far;
  }

  /** Gives a point another name, wherever it is used; inside a change. */
  rename(draft, point, name) {
    const was = point.name;
    point.name = name;
    const swap = (value) => (value === was ? name : Array.isArray(value) ? value.map(swap) : value);
    for (const key of ["from", "to", "return"]) if (draft.supply[key] !== undefined) draft.supply[key] = swap(draft.supply[key]);
    for (const { keys } of draft.segments) for (const key of ["from", "to"]) keys[key] = swap(keys[key]);
    for (const { keys } of draft.isolation) if (keys.between) keys.between = swap(keys.between);
  }

  /** What a point is to the supply. */
  role(point, supply = this.draft.supply) {
    if (supply.from === point.name) return "from";
    if (supply.return === point.name) return "return";
    return [supply.to].flat().includes(point.name) ? "to" : "";
  }

  setRole(draft, point, role) {
    const { supply } = draft;
    const loads = [supply.to].flat().filter((name) => name && name !== point.name);
    for (const key of ["from", "return"]) if (supply[key] === point.name) delete supply[key];
    if (role === "to") loads.push(point.name);
    else if (role) supply[role] = point.name;
    if (loads.length) supply.to = loads.length === 1 ? loads[0] : loads;
    else delete supply.to;
    if (role === "from" || role === "return") point.keys.kind = "terminal";
  }

  /** Takes out what is selected; a point takes its segments with it. */
  remove() {
    const { selected } = this;
    if (!selected) return;
    this.selected = null;
    this.change((draft) => {
      if (selected.kind !== "point") draft[LISTS[selected.kind]].splice(selected.index, 1);
      else {
        const [gone] = draft.points.splice(selected.index, 1);
        this.setRole(draft, gone, "");
        draft.segments = draft.segments.filter(({ keys }) => keys.from !== gone.name && keys.to !== gone.name);
        draft.isolation = draft.isolation.filter(({ keys }) => !(keys.between ?? []).includes(gone.name));
      }
    });
  }

  /** Findings about a part of the board. */
  about(kind, index, key) {
    const name = kind === "point" ? this.draft.points[index]?.name : null;
    return this.findings.filter(({ place }) => {
      if (!place) return false;
      const here = kind === "point" ? ["points", "pins"].includes(place.part) && place.name === name
        : kind === "segment" ? place.part === "segment" && place.index === index
        : place.part === kind && (index === undefined || place.index === index || place.name === index);
      return here && (key === undefined || place.key === key);
    });
  }
}
