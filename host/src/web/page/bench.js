// The bench page: sends what is scanned, shows what to do and what was found, follows the news.
// Everything shown is set as text, never as markup. What is chosen (lot, fixture, sound, pedal) stays in this browser.
"use strict";

const at = (id) => document.getElementById(id);
const field = at("serial"), lot = at("lot"), fixture = at("fixture");
const kept = {
  get: (name, otherwise) => localStorage.getItem("copperwalk." + name) ?? otherwise,
  set: (name, value) => localStorage.setItem("copperwalk." + name, value),
};

// ---- the API

async function ask(method, path, body) {
  const answer = await fetch("/api/v1" + path, {
    method,
    headers: body === undefined ? {} : { "content-type": "application/json" },
    body: body === undefined ? undefined : JSON.stringify(body),
  });
  const said = await answer.json();
  if (!answer.ok) throw Object.assign(new Error(said.detail), { problem: said });
  return said;
}

// ---- what is known

let bench = null; // how the bench stands
let jobs = new Map(); // every job by its number
let shown = 0; // the job whose course is on the page
let drawn = ""; // the fixture whose board is drawn
let doubtful = null; // what was scanned and looks like a slip

const over = (job) => ["recorded", "cancelled", "failed"].includes(job.stage);
const first = () => [...jobs.values()].filter((job) => !over(job)).sort((a, b) => a.id - b.id)[0];

// ---- showing

function text(id, words) {
  const place = at(id);
  if (place.textContent !== words) place.textContent = words;
}

function complain(words, canBeMeant = false) {
  text("trouble", words ?? "");
  at("trouble").hidden = !words;
  at("meant").hidden = !canBeMeant;
}

function show() {
  const job = jobs.get(shown);
  const active = first();
  const asks = active && active.ask;
  const busy = active && active.stage === "measuring";
  text("subject", active ? [active.serial, active.lot, active.fixture].filter(Boolean).join(" · ") : "");
  text("ask", bench?.trouble ?? (asks || (busy ? "Reading …" : "Scan the next unit.")));
  const before = active?.before;
  text("before", before ? `Known: ${before.verdict}. ${before.said}${before.repaired ? " Repaired since." : ""}` : "");
  const byItself = active?.stage === "waiting_for_lid"
    ? "Closing the lid starts."
    : active?.stage === "waiting_for_state" ? "The bench sees it by itself where it can." : "";
  text("hint", asks ? `${byItself} Otherwise: Space, Enter or the pedal.` : lidWords());
  at("confirm").hidden = !asks;
  at("cancel").hidden = !active;
  at("progress").classList.toggle("idle", !busy);
  result(job);
  hands();
}

function lidWords() {
  if (!bench || bench.lid_open === null) return "";
  return bench.lid_open ? "The lid is open." : "The lid is closed.";
}

function result(job) {
  const place = at("result");
  const found = job?.result;
  const verdict = found?.verdict ?? (job && over(job) ? job.stage : "none");
  place.dataset.verdict = verdict;
  const word = found ? found.verdict : job?.stage === "failed" ? "failed" : job?.stage === "cancelled" ? "cancelled" : "–";
  text("verdict", word);
  for (const sign of place.querySelectorAll("[data-sign]")) sign.hidden = sign.dataset.sign !== verdict;
  text("headline", found ? `${job.serial}: ${found.headline}` : job?.error ?? "");
  const faults = at("faults");
  if (faults.dataset.of !== String(job?.id) + verdict) {
    faults.dataset.of = String(job?.id) + verdict;
    faults.replaceChildren(...(found ? found.faults.map(fault) : []), ...(found ? found.bench_faults.map(bad) : []));
    // The record has the last word over what was shown as it was read.
    for (const read of found?.segments ?? []) mark(read.name, read.verdict, read.text);
  }
  const more = at("more");
  if (found && more.dataset.of !== String(job.id)) {
    more.dataset.of = String(job.id);
    const seconds = found.device_seconds.toFixed(2);
    more.textContent = `Sweep ${found.sweep}, ${seconds} s.`;
  } else if (!found) {
    more.textContent = "";
    delete more.dataset.of;
  }
}

function element(name, words, ...inner) {
  const made = document.createElement(name);
  if (words) made.textContent = words;
  made.append(...inner);
  return made;
}

function fault(found) {
  const list = element("dl", "");
  for (const [name, words] of [["Repair", found.repair], ["Cause", found.cause], ["Caution", found.caution]]) {
    if (words) list.append(element("div", "", element("dt", name), element("dd", words)));
  }
  const made = element("article", "", element("h3", found.said), list);
  made.className = "fault fail";
  return made;
}

function bad(words) {
  const made = element("article", "", element("h3", words));
  made.className = "fault void";
  return made;
}

function hands() {
  const lid = at("lid");
  if (!lid || !bench?.hands) return;
  lid.textContent = bench.hands.lid_open ? "Close the lid" : "Open the lid";
  const states = at("states");
  const key = JSON.stringify([bench.hands.states, bench.hands.state]);
  if (states.dataset.of === key) return;
  states.dataset.of = key;
  states.replaceChildren(...bench.hands.states.map((state) => {
    const made = element("button", state);
    made.type = "button";
    made.setAttribute("aria-pressed", String(state === bench.hands.state));
    made.addEventListener("click", () => ask("PUT", "/bench/hands", { state }).catch((error) => complain(error.message)));
    return made;
  }));
}

// ---- the board

async function draw(name) {
  if (!name || drawn === name) return;
  drawn = name;
  const answer = await fetch("/parts/board?fixture=" + encodeURIComponent(name));
  // Our own page's part, escaped where it was made.
  if (answer.ok && drawn === name) at("board").innerHTML = await answer.text();
}

function mark(name, verdict, value) {
  for (const place of at("board").querySelectorAll(`[data-segment="${CSS.escape(name)}"]`)) {
    place.dataset.verdict = verdict;
    const slot = place.querySelector("[data-value]");
    if (slot && value) slot.textContent = value;
  }
}

function wipe() {
  for (const place of at("board").querySelectorAll("[data-verdict]")) delete place.dataset.verdict;
  for (const slot of at("board").querySelectorAll("[data-value]")) slot.textContent = "–";
}

// ---- sound: two rising tones pass, one long low tone fails, three even tones mean the bench

let sound = kept.get("sound", "on") === "on";
let tones = null;
const MELODIES = {
  pass: [[880, 0, 0.12], [1320, 0.14, 0.2]],
  fail: [[196, 0, 0.7]],
  unproven: [[440, 0, 0.25], [392, 0.3, 0.4]],
  void: [[523, 0, 0.12], [523, 0.2, 0.12], [523, 0.4, 0.12]],
};

function play(verdict) {
  document.body.dataset.played = sound ? verdict : "";
  if (!sound || !MELODIES[verdict]) return;
  tones ??= new AudioContext();
  for (const [hertz, after, seconds] of MELODIES[verdict]) {
    const tone = tones.createOscillator(), level = tones.createGain();
    tone.frequency.value = hertz;
    const begin = tones.currentTime + after;
    level.gain.setValueAtTime(0.25, begin);
    level.gain.exponentialRampToValueAtTime(0.001, begin + seconds);
    tone.connect(level).connect(tones.destination);
    tone.start(begin);
    tone.stop(begin + seconds);
  }
}

function tellSound() {
  text("sound", sound ? "on" : "off");
}

// ---- what a person does

async function submit(serial, yes) {
  complain();
  doubtful = null;
  const waiting = first();
  // A scan before the sweep begins takes the place of the one before: that was a slip.
  if (waiting && waiting.stage === "waiting_for_lid") await ask("DELETE", `/jobs/${waiting.id}`).catch(() => {});
  try {
    const job = await ask("POST", "/jobs", {
      serial, lot: lot.value || null, fixture: fixture.value, yes,
    });
    take("job", job);
    field.value = "";
  } catch (error) {
    const doubts = error.problem?.doubts ?? [];
    if (doubts.length) doubtful = serial;
    complain(error.message, doubts.length > 0);
    field.select();
  }
}

at("scan").addEventListener("submit", (event) => {
  event.preventDefault();
  // What a scanner adds round a number is none of it; anything else is for the daemon to judge.
  const serial = field.value.trim();
  if (serial) submit(serial, false);
  else confirm();
});
at("meant").addEventListener("click", () => doubtful && submit(doubtful, true));

function confirm() {
  const active = first();
  if (active?.ask) ask("POST", `/jobs/${active.id}/confirm`).catch((error) => complain(error.message));
}
at("confirm").addEventListener("click", confirm);

function cancel() {
  const active = first();
  if (active) ask("DELETE", `/jobs/${active.id}`).catch((error) => complain(error.message));
  else complain();
}
at("cancel").addEventListener("click", cancel);

at("lid")?.addEventListener("click", () =>
  ask("PUT", "/bench/hands", { lid_open: !bench.hands.lid_open }).catch((error) => complain(error.message)));

for (const chosen of [lot, fixture]) {
  const before = kept.get(chosen.id, null);
  if (before !== null && (chosen !== fixture || [...fixture.options].some((option) => option.value === before))) {
    chosen.value = before;
  }
  chosen.addEventListener("change", () => {
    kept.set(chosen.id, chosen.value);
    if (chosen === fixture && !first()) { shown = 0; draw(fixture.value).then(wipe); show(); }
    field.focus();
  });
}

let pedal = kept.get("pedal", "");
let learning = false;
function tellPedal() {
  text("pedal", learning ? "press it now" : pedal || "choose a key");
}
at("pedal").addEventListener("click", () => { learning = true; tellPedal(); });

document.addEventListener("keydown", (event) => {
  if (learning) {
    event.preventDefault();
    learning = false;
    pedal = event.key === "Escape" ? "" : event.key;
    kept.set("pedal", pedal);
    tellPedal();
    field.focus();
    return;
  }
  const typing = event.target instanceof HTMLInputElement && event.target.value !== "";
  const elsewhere = ["BUTTON", "SELECT", "A"].includes(event.target.tagName) || event.target === lot;
  if (event.key === "F8") {
    sound = !sound;
    kept.set("sound", sound ? "on" : "off");
    tellSound();
  } else if (event.key === "Escape") cancel();
  else if (pedal && event.key === pedal) confirm();
  else if (event.key === " " && !typing && !elsewhere) confirm();
  else return;
  event.preventDefault();
});

// ---- news

function take(name, news) {
  if (name === "bench") bench = news;
  else if (name === "job") {
    const before = jobs.get(news.id);
    jobs.set(news.id, news);
    if (news.stage === "measuring" && before?.stage !== "measuring" && before?.stage !== "waiting_for_state") {
      shown = news.id;
      draw(news.fixture).then(wipe);
      at("progress").value = 0;
    }
    if (news.stage === "recorded" && before?.stage !== "recorded") play(news.result.verdict);
    if (over(news) && news.id >= shown) shown = news.id;
  } else if (name === "run") {
    at("progress").max = Math.max(news.readings, 1);
    at("progress").value = 0;
    if (news.why) text("hint", news.why);
    return;
  } else if (name === "reading") {
    at("progress").value = news.number;
    return;
  } else if (name === "segment") {
    mark(news.name, news.verdict, news.text);
    return;
  } else if (name === "fixtures") location.reload();
  show();
}

async function refresh() {
  const [now, all] = await Promise.all([ask("GET", "/bench"), ask("GET", "/jobs")]);
  bench = now;
  jobs = new Map(all.map((job) => [job.id, job]));
  const latest = all.filter((job) => over(job) || job.stage === "measuring" || job.stage === "waiting_for_state");
  shown = latest.reduce((most, job) => Math.max(most, job.id), 0);
  await draw(jobs.get(first()?.id ?? shown)?.fixture ?? fixture.value);
  show();
}

const news = new EventSource("/api/v1/events");
for (const name of ["bench", "job", "run", "reading", "segment", "fixtures"]) {
  news.addEventListener(name, (event) => take(name, JSON.parse(event.data)));
}
news.addEventListener("gap", () => refresh());
news.addEventListener("open", () => refresh().catch((error) => complain(error.message)));
news.addEventListener("error", () => text("ask", "The daemon does not answer. It is asked again by itself."));

tellSound();
tellPedal();
field.focus();
