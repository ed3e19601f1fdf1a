// Everything that is typed: the chosen point or segment, the board, its supply and states, and what the check says.
// Every field is one step when it is left. Everything shown is set as text, never as markup.

const at = (id) => document.getElementById(id);

/** Fields of a segment besides name, kind and ends: key, words, whether it is a number. */
const FIELDS = {
  trace: [["length", "Length along the copper"], ["width", "Width"], ["layer", "Layer: outer or inner"]],
  pour: [["layer", "Layer: outer or inner"], ["from_pad", "Pad or barrel it begins at, across"], ["to_pad", "Where it ends, across"]],
  via: [["count", "Barrels side by side", "number"], ["drill", "Drill"], ["plating", "Plating"]],
  fuse: [["rating", "Rating"]],
  resettable: [["hold", "Hold current"]],
  ferrite: [["inductance", "Inductance"]],
  inductor: [["inductance", "Inductance"]],
  shunt: [["value", "Value"]],
  switch: [["closed", "Conducts in states", "list"], ["open_min", "Open: at least"]],
  wire: [["length", "Length"], ["awg", "AWG", "number"]],
  diode: [["max_forward", "Forward voltage at full load, at most"], ["max_reverse", "Reverse current, at most"]],
  transistor: [["max_reverse", "Reverse current, at most"]],
};
const LIMITS = [["typical", "A healthy one reads"], ["min", "Limit: at least"], ["max", "Limit: at most"]];
const PLACEHOLDERS = { layer: "outer", open_min: "100 kohm", max_reverse: "100 uA" };
const KINDS = ["trace", "via", "joint", "fuse", "resettable", "ferrite", "inductor", "shunt", "switch", "connector", "wire", "diode", "transistor", "pour"];

export function element(name, attributes = {}, ...inner) {
  const made = document.createElement(name);
  for (const [key, value] of Object.entries(attributes)) {
    if (key.startsWith("on")) made.addEventListener(key.slice(2), value);
    else if (value === true) made.setAttribute(key, "");
    else if (value !== false && value !== undefined && value !== null) made.setAttribute(key, value);
  }
  made.append(...inner);
  return made;
}

/** Corners as a person types them. */
const ring = (places) => (Array.isArray(places) ? places.map((place) => [place].flat().join(" ")).join(", ") : "");

export class Forms {
  #waits = false;
  #made = ""; // what the form that is open was made of
  #draft = null; // and the draft whose parts its fields change
  constructor(model, usual, actions) { [this.model, this.usual, this.actions] = [model, usual, actions]; }

  attach() {
    for (const tab of document.querySelectorAll('[role="tab"]')) {
      tab.addEventListener("click", () => this.open(tab.id.slice(4)));
      tab.addEventListener("keydown", (event) => {
        const by = { ArrowRight: 1, ArrowLeft: -1 }[event.key];
        if (!by) return;
        const tabs = [...document.querySelectorAll('[role="tab"]')];
        const next = tabs[(tabs.indexOf(tab) + by + tabs.length) % tabs.length];
        this.open(next.id.slice(4));
        next.focus();
      });
    }
    for (const form of document.querySelectorAll('[role="tabpanel"]')) {
      form.addEventListener("focusout", () => setTimeout(() => this.#waits && this.draw()));
    }
    this.open("board");
  }

  open(name) {
    this.shown = name;
    for (const tab of document.querySelectorAll('[role="tab"]')) {
      const is = tab.id === `tab-${name}`;
      tab.setAttribute("aria-selected", String(is));
      tab.tabIndex = is ? 0 : -1;
      const form = at(tab.getAttribute("aria-controls"));
      form.hidden = !is;
      if (!is) form.replaceChildren();
    }
    this.draw();
  }

  /** The form that is open, anew; what has the focus keeps it. */
  draw() {
    const { model } = this;
    const errors = model.findings.filter(({ grade }) => grade === "error").length;
    at("tab-problems").textContent = model.findings.length ? `Problems (${model.findings.length})` : "Problems";
    at("tab-problems").classList.toggle("bad", errors > 0);
    const place = at(`form-${this.shown}`);
    const active = document.activeElement;
    const inside = place.contains(active);
    // Made of the same it would be the same; lists of hundreds of names take their time.
    const of = this.#of();
    if (of === this.#made && model.draft === this.#draft && place.firstChild) return;
    // What is being typed is not yet a step: the form waits until the field is left.
    this.#waits = inside && active.tagName === "INPUT" && active.value !== active.defaultValue;
    if (this.#waits) return;
    [this.#made, this.#draft] = [of, model.draft];
    const made = { chosen: () => this.#chosen(), board: () => this.#board(), supply: () => this.#supply(), problems: () => this.#problems() }[this.shown]();
    const focused = inside ? active.dataset.field : null;
    const marked = [active?.selectionStart, active?.selectionEnd];
    place.replaceChildren(...made);
    const again = focused && place.querySelector(`[data-field="${CSS.escape(focused)}"]`);
    again?.focus({ preventScroll: true });
    // What was marked to be typed over stays marked.
    if (again?.tagName === "INPUT") again.setSelectionRange(...marked);
  }

  /** Everything that the form that is open shows. */
  #of() {
    const { draft, findings, selected } = this.model;
    const names = () => [draft.points.map(({ name }) => name), draft.segments.map(({ keys }) => keys.name), draft.keep_outs.map(({ keys }) => keys.why)];
    const chosen = () => (this.model.point ? [this.model.point, this.model.role(this.model.point)] : [this.model.segment ?? this.model.keepOut, ...names()]);
    const parts = { chosen, board: () => [draft.board, draft.fixture, draft.controller], supply: () => [draft.supply, draft.states, draft.isolation, draft.checks, names()[0]], problems: () => [] };
    return JSON.stringify([this.shown, selected, parts[this.shown](), findings]);
  }

  /** A field; `set` is called when it is left with another value. */
  #field(id, words, value, set, { placeholder, findings = [], type = "text", options, list } = {}) {
    const shown = value === undefined || value === null ? "" : String(value);
    const commit = ({ target }) => {
      if (target.value === shown) return;
      if (target.tagName === "INPUT") target.defaultValue = target.value;
      set(target.value.trim());
    };
    const trouble = findings.length ? `why-${id.replaceAll(/[^a-z0-9]+/gi, "-")}` : undefined;
    const common = {
      "data-field": id, onchange: commit, "aria-invalid": findings.some(({ grade }) => grade === "error") ? "true" : undefined, "aria-describedby": trouble,
    };
    const input = options
      ? element("select", common, ...options.map(([key, text]) => element("option", { value: key, selected: key === shown }, text)))
      : element("input", { ...common, type, value: shown, placeholder, list, spellcheck: "false", autocomplete: "off" });
    // What is wrong stands beside the label, so that the field keeps its name for whoever hears the page read.
    return element("div", { class: "field" }, element("label", {}, element("span", {}, words), input),
      ...(findings.length ? [element("em", { id: trouble, class: "why" }, ...findings.map(({ message, help }) => element("span", {}, `${message}: ${help}`)))] : []));
  }

  #set(act) { this.model.change(act); }

  /** Sets or, when empty, takes out a key. */
  #key(keys, key, text, form) {
    const value = form === "number" && /^\d+$/.test(text) ? Number(text)
      : form === "list" ? text.split(",").map((part) => part.trim()).filter(Boolean) : text;
    this.#set(() => { if (text === "") delete keys[key]; else keys[key] = value; });
  }

  *#whole(findings) {
    for (const { message, help, grade } of findings) yield element("p", { class: grade === "error" ? "complaint" : "remark-line" }, `${message}: ${help}`);
  }

  #chosen() {
    const { model } = this;
    if (model.point) return [...this.#point(model.point, model.selected.index)];
    if (model.segment) return [...this.#segment(model.segment, model.selected.index)];
    if (model.keepOut) return [...this.#keepOut(model.keepOut, model.selected.index)];
    return [
      element("p", {}, "Nothing is chosen. Click a point, a segment or a keep-out on the drawing, or in these lists."),
      element("h3", {}, `${model.draft.points.length} points`),
      element("ul", { class: "names" }, ...model.draft.points.map((point, index) => element("li", {}, element("button", { type: "button", onclick: () => this.choose("point", index) }, point.name)))),
      element("h3", {}, `${model.draft.segments.length} segments`),
      element("ul", { class: "names" }, ...model.draft.segments.map((segment, index) => element("li", {}, element("button", { type: "button", onclick: () => this.choose("segment", index) }, String(segment.keys.name))))),
      ...(model.draft.keep_outs.length ? [
        element("h3", {}, `${model.draft.keep_outs.length} keep-outs`),
        element("ul", { class: "names" }, ...model.draft.keep_outs.map(({ keys }, index) => element("li", {}, element("button", { type: "button", onclick: () => this.choose("keep_out", index) }, String(keys.why ?? `keep-out ${index + 1}`))))),
      ] : []),
    ];
  }

  choose(kind, index) {
    this.model.select(kind, index);
    this.open("chosen");
  }

  *#point(point, index) {
    const { model } = this;
    const { keys } = point;
    const found = (key) => model.about("point", index).filter(({ place }) => place.part === "points" && place.key === key);
    yield element("h2", {}, `Point ${point.name}`);
    yield* this.#whole(model.about("point", index).filter(({ place }) => place.part === "pins" || !place.key));
    yield this.#field("name", "Name", point.name, (name) => name && this.#set((draft) => model.rename(draft, point, name)));
    yield this.#field("role", "In the supply", model.role(point), (role) => this.#set((draft) => model.setRole(draft, point, role)),
      { options: [["", "on the way"], ["from", "it comes in here"], ["to", "a load"], ["return", "the return terminal"]] });
    yield this.#field("kind", "What it is", keys.kind, (kind) => this.#set(() => { keys.kind = kind; }),
      { options: ["terminal", "pad", "via", "leg", "test"].map((kind) => [kind, kind]), findings: found("kind") });
    yield this.#field("side", "Side", keys.side, (side) => this.#set(() => { keys.side = side; }),
      { options: ["front", "back", "both"].map((side) => [side, side]), findings: found("side") });
    for (const [axis, words] of [[0, "x, mm from the left, seen from the front"], [1, "y, mm upwards"]]) {
      yield this.#field(`at-${axis}`, words, keys.at?.[axis], (text) => {
        const value = Number(text.replace(",", "."));
        if (Number.isFinite(value)) this.#set(() => { keys.at = axis === 0 ? [value, keys.at[1]] : [keys.at[0], value]; });
      }, { findings: axis === 0 ? found("at") : [] });
    }
    const pins = point.pins ?? {};
    const words = ["force", "sense"].filter((word) => pins[word] !== undefined).map((word) => `${word} channel ${pins[word]}`);
    yield element("p", { class: "small" }, words.length ? `Pin: ${words.join(", ")} (given by itself).` : "No pin stands here.");
    yield element("button", { type: "button", onclick: () => model.remove() }, "Take out ", element("kbd", {}, "Del"));
  }

  *#segment(segment, index) {
    const { model } = this;
    const { keys } = segment;
    const found = (key) => model.about("segment", index, key);
    yield element("h2", {}, `Segment ${keys.name}`);
    yield* this.#whole(model.about("segment", index).filter(({ place }) => !place.key));
    yield this.#field("name", "Name", keys.name, (name) => this.#key(keys, "name", name), { findings: found("name") });
    yield this.#field("kind", "Kind", keys.kind, (kind) => this.#kind(segment, kind), { options: KINDS.map((kind) => [kind, kind]), findings: found("kind") });
    const points = model.draft.points.map((point) => [point.name, point.name]);
    for (const [end, words] of [["from", "From"], ["to", "To"]]) {
      yield this.#field(end, words, keys[end], (name) => this.#set(() => { keys[end] = name; }), { options: points, findings: found(end) });
    }
    for (const [key, words, form] of FIELDS[keys.kind] ?? []) {
      const value = form === "list" && Array.isArray(keys[key]) ? keys[key].join(", ") : keys[key];
      yield this.#field(key, words, value, (text) => this.#key(keys, key, text, form), { findings: found(key), placeholder: PLACEHOLDERS[key] });
    }
    if (keys.kind === "pour") {
      yield element("button", { type: "button", onclick: () => this.actions.tool("pour") }, Array.isArray(keys.outline) ? "Outline it again" : "Outline it");
      if (Array.isArray(keys.outline)) yield* this.#holes(keys, found);
    }
    for (const [key, words] of keys.kind === "diode" ? [] : LIMITS) {
      const placeholder = key === "typical" ? this.usual[keys.kind] ?? "by its geometry" : key === "max" ? "its share of the drop budget" : "";
      yield this.#field(key, words, keys[key], (text) => this.#key(keys, key, text), { findings: found(key), placeholder });
    }
    yield element("button", { type: "button", onclick: () => model.remove() }, "Take out ", element("kbd", {}, "Del"));
  }

  *#holes(keys, found) {
    const count = Array.isArray(keys.holes) ? keys.holes.length : 0;
    yield* this.#whole(["outline", "holes"].flatMap(found));
    yield element("p", { class: "small" }, count ? `${count} ${count === 1 ? "hole" : "holes"} in it.` : "No holes in it.");
    yield element("button", { type: "button", onclick: () => this.actions.tool("hole") }, "Add a hole");
    if (count) {
      yield element("button", { type: "button", onclick: () => this.#set(() => {
        keys.holes.pop();
        if (keys.holes.length === 0) delete keys.holes;
      }) }, "Take the last hole out");
    }
  }

  *#keepOut({ keys }, index) {
    const { model } = this;
    const found = (key) => model.about("keep_out", index, key);
    yield element("h2", {}, `Keep-out ${index + 1}`);
    yield* this.#whole(model.about("keep_out", index).filter(({ place }) => !place.key));
    yield this.#field("side", "Side", keys.side, (side) => this.#set(() => { keys.side = side; }), { options: ["front", "back"].map((side) => [side, side]), findings: found("side") });
    yield this.#field("why", "What is there", keys.why, (text) => this.#key(keys, "why", text), { findings: found("why"), placeholder: "said when something is in its way" });
    yield this.#field("height", "Height above the board", keys.height, (text) => this.#key(keys, "height", text), { findings: found("height"), placeholder: "6 mm" });
    yield this.#field("polygon", "Corners: x y, x y …, mm seen from the front", ring(keys.polygon), (text) => {
      // What is no list of places stays as it was.
      const places = text.split(",").map((place) => place.trim().split(/\s+/).map(Number));
      if (places.every((place) => place.length === 2 && place.every(Number.isFinite))) this.#set(() => { keys.polygon = places; });
      else {
        this.#made = "";
        this.draw();
      }
    }, { findings: found("polygon") });
    yield element("button", { type: "button", onclick: () => model.remove() }, "Take out ", element("kbd", {}, "Del"));
  }

  /** Another kind has other keys. */
  #kind(segment, kind) {
    const { model } = this;
    const { keys } = segment;
    const kept = new Set((FIELDS[kind] ?? []).map(([key]) => key).concat(kind === "trace" ? ["route"] : [], kind === "pour" ? ["outline", "holes"] : []));
    this.#set((draft) => {
      for (const key of Object.values(FIELDS).flat().map(([key]) => key).concat("route", "outline", "holes")) if (!kept.has(key)) delete keys[key];
      const [from, to] = [model.named(keys.from), model.named(keys.to)];
      if (from && to) {
        const fresh = model.addSegment(draft, kind, from, to);
        draft.segments.pop();
        for (const [key, value] of Object.entries(fresh.keys)) keys[key] ??= value;
      }
      keys.kind = kind;
    });
  }

  #board() {
    const { model } = this;
    const { board, fixture, controller } = model.draft;
    const found = (key) => model.about("board", undefined, key);
    const outline = board.outline ?? [];
    const box = [0, 1].map((axis) => {
      const values = outline.map((corner) => corner[axis]);
      return values.length ? Math.round((Math.max(...values) - Math.min(...values)) * 100) / 100 : "";
    });
    const rectangle = (axis, text) => {
      const value = Number(text.replace(",", "."));
      if (!(value > 0)) return;
      const [w, h] = axis === 0 ? [value, box[1]] : [box[0], value];
      this.#set(() => { board.outline = [[0, 0], [w, 0], [w, h], [0, h]]; });
      this.actions.whole();
    };
    const keys = [["name", "Name"], ["revision", "Revision"], ["thickness", "Thickness of the laminate"], ["copper", "Thickness of the copper"]];
    return [
      element("h2", {}, "Board"),
      ...this.#whole(model.findings.filter(({ place }) => !place || (place.part === "board" && !place.key))),
      ...keys.map(([key, words]) => this.#field(`board-${key}`, words, board[key], (text) => {
        this.#set(() => {
          board[key] = text;
          if (key === "name" && (!fixture.name || fixture.name === `${this.named ?? ""} bed`)) fixture.name = `${text} bed`;
          if (key === "name") this.named = text;
        });
      }, { findings: found(key) })),
      this.#field("width", "Width, mm", box[0], (text) => rectangle(0, text), { findings: found("outline") }),
      this.#field("height", "Height, mm", box[1], (text) => rectangle(1, text)),
      element("p", { class: "small" }, `Width and height make a rectangle. For another shape choose “Board's edge” and click its corners (now ${outline.length}).`),
      element("h2", {}, "Bed of pins"),
      ...this.#whole([...model.about("fixture"), ...model.about("controller")]),
      this.#field("fixture-name", "Name", fixture.name, (text) => this.#set(() => { fixture.name = text; })),
      ...[["force_channels", "Force channels of the matrix"], ["sense_channels", "Sense channels"]].map(([key, words]) =>
        this.#field(key, words, controller[key], (text) => this.#key(controller, key, text, "number"))),
    ];
  }

  #supply() {
    const { model } = this;
    const { draft } = model;
    const { supply } = draft;
    const found = (key) => model.about("supply", undefined, key);
    const points = [["", "none yet"], ...draft.points.map((point) => [point.name, point.name])];
    const voltage = (index, text) => this.#set(() => {
      supply.voltage = [0, 1].map((i) => (i === index ? text : supply.voltage?.[i] ?? text));
    });
    const rows = draft.states.map((state, index) => element("fieldset", {},
      element("legend", {}, `State ${index + 1}`),
      this.#field(`state-${index}`, "Name", state.name, (name) => this.#set(() => {
        for (const { keys } of draft.segments) if (keys.closed) keys.closed = keys.closed.map((known) => (known === state.name ? name : known));
        for (const { keys } of draft.isolation) if (keys.state === state.name) keys.state = name;
        state.name = name;
      })),
      this.#field(`prompt-${index}`, "What the operator is asked to do", state.prompt, (text) => this.#set(() => { state.prompt = text; }), { findings: model.about("states", state.name) }),
      element("button", { type: "button", onclick: () => this.#set(() => { draft.states.splice(index, 1); }) }, "Take out")));
    const apart = draft.isolation.map(({ keys }, index) => element("fieldset", {},
      element("legend", {}, `Isolation ${index + 1}`),
      ...this.#whole(model.about("isolation", index)),
      ...[0, 1].map((end) => this.#field(`between-${index}-${end}`, end ? "and" : "Between", keys.between?.[end], (name) => this.#set(() => {
        keys.between = [0, 1].map((i) => (i === end ? name : keys.between?.[i] ?? name));
      }), { options: points })),
      this.#field(`isolation-min-${index}`, "At least", keys.min, (text) => this.#key(keys, "min", text), { placeholder: "5 kohm" }),
      this.#field(`isolation-state-${index}`, "In state", keys.state, (text) => this.#key(keys, "state", text)),
      element("button", { type: "button", onclick: () => this.#set(() => { draft.isolation.splice(index, 1); }) }, "Take out")));
    const checks = draft.checks.map(({ keys }, index) => element("fieldset", {},
      element("legend", {}, `Check ${index + 1}`),
      ...this.#whole(model.about("check", index).filter(({ place }) => !["name", "help"].includes(place.key))),
      this.#field(`check-${index}`, "What is so if the answer is yes", keys.name, (text) => this.#key(keys, "name", text), { findings: model.about("check", index, "name"), placeholder: "display lights" }),
      this.#field(`check-help-${index}`, "How to look", keys.help, (text) => this.#key(keys, "help", text), { findings: model.about("check", index, "help") }),
      element("button", { type: "button", onclick: () => this.#set(() => { draft.checks.splice(index, 1); }) }, "Take out")));
    return [
      element("h2", {}, "Supply"),
      ...this.#whole(model.findings.filter(({ place }) => place?.part === "supply" && !place.key)),
      this.#field("supply-from", "Comes in at", supply.from, (name) => this.#key(supply, "from", name), { options: points, findings: found("from") }),
      this.#field("supply-to", "Load, or several with commas between", [supply.to].flat().join(", "), (text) => {
        const names = text.split(",").map((name) => name.trim()).filter(Boolean);
        this.#set(() => { if (names.length) supply.to = names.length === 1 ? names[0] : names; else delete supply.to; });
      }, { findings: found("to") }),
      this.#field("supply-return", "Return terminal", supply.return, (name) => this.#key(supply, "return", name), { options: points, findings: found("return") }),
      this.#field("voltage-0", "Lowest voltage", supply.voltage?.[0], (text) => voltage(0, text), { findings: found("voltage") }),
      this.#field("voltage-1", "Highest voltage", supply.voltage?.[1], (text) => voltage(1, text)),
      ...[["load", "Current at full load"], ["max_drop", "The path may cost"], ["bulk", "Capacitance behind it"], ["source", "The cell's own resistance"], ["brown_out", "A load works down to"]].map(([key, words]) =>
        this.#field(`supply-${key}`, words, supply[key], (text) => this.#key(supply, key, text), { findings: found(key), placeholder: { bulk: "0 F", source: "0.3 ohm", brown_out: "1.9 V" }[key] ?? "" })),
      element("h2", {}, "States"),
      element("p", { class: "small" }, "Positions the unit is put in, in the order they are walked. Without a switch none is needed."),
      ...rows,
      element("button", { type: "button", onclick: () => this.#set(() => { draft.states.push({ name: `state ${draft.states.length + 1}`, prompt: "Say what is to be done" }); }) }, "Add a state"),
      element("h2", {}, "What a person looks at"),
      element("p", { class: "small" }, "What no probe can tell: asked for every unit, and answered with yes or no."),
      ...checks,
      element("button", { type: "button", onclick: () => this.#set(() => { draft.checks.push({ keys: { name: `check ${draft.checks.length + 1}` } }); }) }, "Add a check"),
      element("h2", {}, "Isolation"),
      ...apart,
      element("button", { type: "button", onclick: () => this.#set(() => {
        draft.isolation.push({ keys: { between: [[supply.to].flat()[0] ?? "", supply.return ?? ""], min: "5 kohm", ...(draft.states.length ? { state: draft.states.at(-1).name } : {}) } });
      }) }, "Add an isolation"),
    ];
  }

  #problems() {
    const { model } = this;
    if (model.findings.length === 0) return [element("p", { class: "fine" }, "The check finds nothing wrong.")];
    return [element("ol", { class: "findings" }, ...model.findings.map((finding) => {
      const words = [element("b", {}, finding.message), element("span", {}, ` ${finding.help}`)];
      return element("li", { class: finding.grade }, element("button", { type: "button", onclick: () => this.#goto(finding) }, ...words));
    }))];
  }

  #goto({ place }) {
    if (!place) return this.open("board");
    const point = ["points", "pins"].includes(place.part) ? this.model.draft.points.findIndex(({ name }) => name === place.name) : -1;
    if (point >= 0) return this.choose("point", point);
    if (place.part === "segment" && place.index !== undefined) return this.choose("segment", place.index);
    if (place.part === "keep_out" && this.model.draft.keep_outs[place.index]) return this.choose("keep_out", place.index);
    return this.open(["supply", "states", "isolation", "check"].includes(place.part) ? "supply" : "board");
  }
}
