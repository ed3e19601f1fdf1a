// What is asked of the daemon. Every refusal comes as an error whose message is for a person.

import { MARK } from "./editor-model.js";

async function answer(path, options) {
  const got = await fetch("/api/v1" + path, options).catch(() => {
    throw new Error("The daemon does not answer. Nothing was lost here; try again when it runs.");
  });
  if (got.ok) return got;
  const problem = await got.json().catch(() => ({ detail: got.statusText }));
  throw Object.assign(new Error(problem.detail), { problem });
}

/** A draft without the page's own marks on its parts. */
const text = (body) => JSON.stringify(body, (key, value) => (key === MARK ? undefined : value));
const sent = (body) => ({ method: "POST", headers: { "content-type": "application/json" }, body: text(body) });
const read = async (path, options) => (await answer(path, options)).json();

export const open = (key) => read(`/drafts/${encodeURIComponent(key)}`);
export const drafts = () => read("/drafts");
export const check = (key, draft) => read("/draft-checks", sent({ key, draft }));
export const place = (seen, marks, lengths) => read("/photographs/place", sent({ seen, marks, lengths }));
export const align = (pairs) => read("/photographs/align", sent({ pairs }));
export const photo = async (key, side) => (await answer(`/drafts/${encodeURIComponent(key)}/photos/${side}`)).blob();

export async function snap(part, click) {
  const form = new FormData();
  form.set("click", JSON.stringify(click));
  form.set("part", part);
  return read("/photographs/snap", { method: "POST", body: form });
}

export async function flatten(photo, how) {
  const form = new FormData();
  form.set("how", JSON.stringify(how));
  form.set("photo", photo);
  return (await answer("/photographs/flatten", { method: "POST", body: form })).blob();
}

export async function save(key, board, photos) {
  const form = new FormData();
  form.set("board", text(board));
  for (const [side, file] of Object.entries(photos)) if (file) form.set(side, file, `${side}.jpg`);
  return key
    ? read(`/drafts/${encodeURIComponent(key)}`, { method: "PUT", body: form })
    : read("/drafts", { method: "POST", body: form });
}
