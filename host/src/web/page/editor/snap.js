// A click on a photo, refined by the daemon to the middle of what lies under it. Only the part of the photo around the click is sent.

import * as api from "./editor-api.js";

/** Half the side of the part that is sent, pixels of the photo. */
const HALF_PX = 100;
/** How far a hand slips, pixels of the screen. */
const SLIP_PX = 6;

/** Where a click on a picture belongs: `{ px, what }`, or null where nothing clear lies within reach. `shown` is how many pixels of the screen one of the picture takes. */
export async function snap(bitmap, px, aim, shown) {
  const low = px.map((value) => Math.max(0, Math.floor(value) - HALF_PX));
  const size = [bitmap.width, bitmap.height].map((most, axis) => Math.min(most, Math.floor(px[axis]) + HALF_PX + 1) - low[axis]);
  if (size.some((side) => side < 1)) return null;
  const part = new OffscreenCanvas(...size);
  part.getContext("2d").drawImage(bitmap, ...low, ...size, 0, 0, ...size);
  const file = await part.convertToBlob({ type: "image/png" });
  // What cannot be refined stays as it was clicked, whatever the reason.
  const { found } = await api.snap(file, { px: px.map((value, axis) => value - low[axis]), aim, reach_px: SLIP_PX / shown }).catch(() => ({}));
  return found ? { what: found.what, px: found.px.map((value, axis) => value + low[axis]) } : null;
}

/** What happened to a click, in words. */
export function moved(found, mm) {
  if (!found) return "as clicked: nothing clear lies there";
  return `moved ${mm.toFixed(2)} mm onto ${{ hole: "the middle of a hole", pad: "the middle of a pad", corner: "a corner" }[found.what]}`;
}
