// The board editor: puts its parts together, asks the daemon to check after every step, and saves.

import * as api from "./editor-api.js";
import { Forms } from "./editor-forms.js";
import { Model } from "./editor-model.js";
import { Photos } from "./editor-photo.js";
import { Tools } from "./editor-tools.js";
import { View } from "./editor-view.js";

const at = (id) => document.getElementById(id);
const main = document.querySelector("main.editor");
/** The check waits until hands rest so long, ms; or as long as the last one took, so that a slow daemon is not asked without end. */
const REST_MS = 150;
const MOST_REST_MS = 2000;

let key = main.dataset.key || null;
let hash = null;
const model = new Model();
const view = new View({ front: at("sheet-front"), back: at("sheet-back") });
const tools = new Tools(model, view);
const forms = new Forms(model, JSON.parse(main.dataset.usual), { tool: (name) => tools.choose(name), whole });
const photos = new Photos(model, view, (side, words) => { at(`fit-${side}`).textContent = words; });

function complain(words) {
  at("trouble").textContent = words ?? "";
  at("trouble").hidden = !words;
}
const attempt = (work) => Promise.resolve().then(work).catch((error) => complain(error.message));

// ---- showing: at most once a frame, however much happens

const due = new Set();
function later(what) {
  if (due.size === 0) requestAnimationFrame(show);
  due.add(what);
}

function show() {
  const began = performance.now();
  const all = new Set(due);
  due.clear();
  view.draw(model, tools.now);
  if (all.has("draft") || all.has("findings") || all.has("selected") || all.has("saved")) {
    if (all.has("selected") && model.selected && forms.shown !== "chosen") forms.open("chosen");
    else forms.draw();
  }
  at("hint").textContent = tools.now.hint;
  for (const button of document.querySelectorAll("[data-tool]")) button.setAttribute("aria-pressed", String(button.dataset.tool === tools.name));
  const part = tools.name === "path" ? tools.all.path.kind : null;
  for (const button of document.querySelectorAll("[data-part]")) button.setAttribute("aria-pressed", String(button.dataset.part === part));
  at("undo").disabled = !model.canUndo;
  at("redo").disabled = !model.canRedo;
  const errors = model.findings.filter(({ grade }) => grade === "error").length;
  const changed = model.version !== model.saved || photos.unsaved;
  at("state").textContent = [
    `${model.draft.points.length} points, ${model.draft.segments.length} segments`,
    errors ? `${errors} to be put right` : "passes the check",
    changed ? "not saved" : key ? "saved" : "",
  ].filter(Boolean).join(" · ");
  const place = view.cursor;
  at("where").textContent = [place && `x ${place[0].toFixed(2)} mm, y ${place[1].toFixed(2)} mm, seen from the front`, view.note].filter(Boolean).join(" · ");
  // How long the page took to show the last step: the browser test reads it.
  main.dataset.shown = (performance.now() - began).toFixed(1);
}

model.listen((what) => {
  later(what);
  if (what === "draft") rest();
});

// ---- checking

let resting = 0, lasted = 0, asking = false;
function rest() {
  clearTimeout(resting);
  main.dataset.checking = model.version;
  resting = setTimeout(check, Math.min(MOST_REST_MS, Math.max(REST_MS, lasted)));
}
/** One at a time: what changes meanwhile is checked after it. */
async function check() {
  if (asking) return;
  asking = true;
  const { version } = model;
  const began = performance.now();
  main.dataset.checking = version;
  try {
    model.checked(version, await api.check(key, model.draft));
    complain();
  } catch (error) {
    complain(error.message);
  }
  main.dataset.checked = version;
  lasted = performance.now() - began;
  asking = false;
  if (version !== model.version) rest();
}

// ---- saving

async function save(yes = false) {
  if (main.dataset.saves !== "true") return complain("This daemon shows the built-in examples only: start it with --fixtures FOLDER to save a board.");
  const { version } = model;
  const saved = structuredClone(model.draft);
  try {
    const kept = await api.save(key, { draft: model.draft, photos: photos.windows, opened: hash, yes }, photos.files);
    [key, hash] = [kept.key, kept.hash];
    photos.saved();
    model.keep(version, saved, kept.draft, kept.findings);
    history.replaceState(null, "", `/editor/${encodeURIComponent(key)}`);
    at("title").textContent = key;
    complain();
  } catch (error) {
    const doubts = error.problem?.doubts ?? [];
    if (doubts.length === 0) return complain(error.message);
    complain(`Not finished: ${doubts.join("; ")}. `);
    const button = document.createElement("button");
    button.type = "button";
    button.textContent = "Save it unfinished";
    button.addEventListener("click", () => save(true));
    at("trouble").append(button);
  }
  return null;
}

// ---- buttons and keys

function whole() {
  view.fit(model.draft.board.outline ?? []);
  later("view");
}

at("undo").addEventListener("click", () => model.undo());
at("redo").addEventListener("click", () => model.redo());
at("save").addEventListener("click", () => save());
at("whole").addEventListener("click", whole);
at("flipped").addEventListener("change", (event) => { view.flipped = event.target.checked; later("view"); });
at("photos").addEventListener("change", (event) => { view.shown = event.target.checked; later("view"); });
for (const button of document.querySelectorAll("[data-tool]")) button.addEventListener("click", () => tools.choose(button.dataset.tool));
for (const button of document.querySelectorAll("[data-part]")) button.addEventListener("click", () => part(button.dataset.part));
for (const side of ["front", "back"]) {
  at(`photo-${side}`).addEventListener("change", (event) => {
    const [file] = event.target.files;
    event.target.value = "";
    if (file) photos.mark(side, file);
  });
}
photos.resized = ([width, height]) => {
  model.change((draft) => { draft.board.outline = [[0, 0], [width, 0], [width, height], [0, height]]; });
  whole();
};
tools.all.holes.aligned = (pairs) => attempt(() => photos.align(pairs));

function part(kind) {
  if (kind === "via" && tools.name === "path" && tools.all.path.head) tools.all.path.through();
  else tools.part(kind);
}

const TOOL_KEYS = Object.fromEntries([...document.querySelectorAll("[data-tool]")].map((button) => [button.querySelector("kbd").textContent, button.dataset.tool]));
const PART_KEYS = Object.fromEntries([...document.querySelectorAll("[data-part]")].map((button) => [button.querySelector("kbd").textContent, button.dataset.part]));

document.addEventListener("keydown", (event) => {
  const typing = /^(INPUT|SELECT|TEXTAREA)$/.test(event.target.tagName) && event.target.type !== "checkbox";
  const command = event.ctrlKey || event.metaKey;
  if (command && event.key.toLowerCase() === "s") {
    document.activeElement?.blur?.();
    save();
  } else if (at("marking").open || (typing && !command)) return;
  else if (command && event.key.toLowerCase() === "z" && !typing) (event.shiftKey ? model.redo() : model.undo());
  else if (command && event.key.toLowerCase() === "y" && !typing) model.redo();
  else if (command || event.altKey) return;
  else if (event.key === "Enter" && tools.now.end && event.target.tagName !== "BUTTON") tools.now.end();
  else if (event.key === "Escape") {
    if (tools.now.end && tools.name === "path") tools.now.end();
    tools.choose("select");
  } else if (event.key === "Delete" || event.key === "Backspace") model.remove();
  else if (event.key === "+" || event.key === "-") {
    view.zoom("front", event.key === "+" ? 1.25 : 0.8, view.size.map((value) => value / 2));
    later("view");
  } else if (event.key === "0") whole();
  else if (TOOL_KEYS[event.key]) tools.choose(TOOL_KEYS[event.key]);
  else if (PART_KEYS[event.key.toLowerCase()]) part(PART_KEYS[event.key.toLowerCase()]);
  else return;
  event.preventDefault();
});

addEventListener("beforeunload", (event) => {
  if (model.version !== model.saved || photos.unsaved) event.preventDefault();
});
new ResizeObserver(() => { view.observe(); later("view"); }).observe(at("sheet-front"));

// ---- begin

tools.attach();
forms.attach();
attempt(async () => {
  if (key) {
    const opened = await api.open(key);
    hash = opened.hash;
    model.take(opened.draft, opened.findings);
    tools.choose("select");
    for (const [side, window] of Object.entries(opened.photos)) if (window) await photos.take(side, await api.photo(key, side), window);
  } else {
    model.take(model.draft, []);
    await check();
  }
  whole();
  main.dataset.ready = "true";
});
