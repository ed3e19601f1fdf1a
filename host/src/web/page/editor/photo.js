// Marks on a photo: corners of a rectangle, places and lengths, until it is known where the photo lies on the board. Then it is flattened.

import * as api from "./editor-api.js";
import { element } from "./editor-forms.js";
import { apart } from "./editor-model.js";
import { moved, snap } from "./editor-snap.js";
import { shape } from "./editor-view.js";

/** The flattened photo shows so much around the board, mm. */
const AROUND_MM = 3;
const PX_PER_MM = 20;
/** Less than this is a good fit, mm. */
const GOOD_MM = 0.1;

const apply = (m, [x, y]) => {
  const [u, v, w] = m.map((row) => row[0] * x + row[1] * y + row[2]);
  return [u / w, v / w];
};
const times = (a, b) => a.map((row) => b[0].map((_, column) => row.reduce((sum, value, i) => sum + value * b[i][column], 0)));

export function windowOf(outline) {
  const [xs, ys] = [0, 1].map((axis) => outline.map((corner) => corner[axis]));
  return { low: [Math.min(...xs) - AROUND_MM, Math.min(...ys) - AROUND_MM], high: [Math.max(...xs) + AROUND_MM, Math.max(...ys) + AROUND_MM] };
}

export class Photos {
  /** By side: the file, where it lies, and the flattened picture. */
  of = { front: null, back: null };
  constructor(model, view, tell) { [this.model, this.view, this.tell] = [model, view, tell]; }

  /** Windows and new files for saving. */
  get windows() {
    return Object.fromEntries(Object.entries(this.of).filter(([, photo]) => photo).map(([side, photo]) => [side, photo.window]));
  }
  get files() {
    return Object.fromEntries(Object.entries(this.of).filter(([, photo]) => photo?.fresh).map(([side, photo]) => [side, photo.flat]));
  }
  get unsaved() { return Object.values(this.of).some((photo) => photo?.fresh); }
  saved() { for (const photo of Object.values(this.of)) if (photo) photo.fresh = false; }

  /** A flattened photo from the files. */
  async take(side, flat, window) {
    const bitmap = await createImageBitmap(flat);
    const [w, h] = [window.high[0] - window.low[0], window.high[1] - window.low[1]];
    const [a, b] = [w / bitmap.width, h / bitmap.height];
    bitmap.close();
    const to_mm = side === "front" ? [[a, 0, window.low[0]], [0, -b, window.high[1]], [0, 0, 1]] : [[-a, 0, window.high[0]], [0, -b, window.high[1]], [0, 0, 1]];
    this.#show(side, { file: flat, to_mm, window, flat, fresh: false });
  }

  #show(side, photo) {
    const before = this.view.photos[side];
    if (before) URL.revokeObjectURL(before.url);
    this.of[side] = photo;
    this.view.photos[side] = { url: URL.createObjectURL(photo.flat), window: photo.window, bitmap: createImageBitmap(photo.flat) };
    this.model.tell("view");
  }

  async flatten(side, file, to_mm) {
    const window = windowOf(this.model.draft.board.outline);
    const flat = await api.flatten(file, { seen: side, to_mm, window, px_per_mm: PX_PER_MM });
    this.#show(side, { file, to_mm, window, flat, fresh: true });
  }

  /** The back is laid onto the front by holes as both now show them. */
  async align(pairs) {
    const back = this.of.back;
    if (!back) throw new Error("There is no photo of the back to be laid onto the front: load one first.");
    const found = await api.align(pairs);
    await this.flatten("back", back.file, times(found.map, back.to_mm));
    const worst = Math.max(...found.residuals_mm);
    this.tell("back", `laid onto the front by ${pairs.length} holes, at most ${worst.toFixed(2)} mm apart`);
  }

  /** Asks for marks until the photo has its place. */
  mark(side, file) {
    const dialog = document.getElementById("marking");
    const url = URL.createObjectURL(file);
    // A mark is a click with its millimetres; a length has two clicks. A click: where it is, where it was clicked, and what it was refined to.
    const marks = [], lengths = [];
    let placed = null, pending = null, mode = "corners", zoom = 1, asked = 0;
    const bitmap = createImageBitmap(file).catch(() => null);
    const outline = this.model.draft.board.outline;
    const box = windowOf(outline);
    const size = [0, 1].map((axis) => Math.round((box.high[axis] - box.low[axis] - 2 * AROUND_MM) * 100) / 100);
    const origin = box.low.map((value) => value + AROUND_MM);
    // Corners as they are seen: upper left, upper right, lower right, lower left. On the back, left is the front's right.
    const corner = (index) => {
      const right = [false, true, true, false][index] !== (side === "back");
      return [origin[0] + (right ? size[0] : 0), origin[1] + (index < 2 ? size[1] : 0)];
    };

    const image = element("img", { src: url, alt: `Photo of the ${side}`, draggable: "false" });
    const drawn = shape("svg", { class: "marks" });
    const canvas = element("div", { class: "photo", tabindex: "0" }, image, drawn);
    const roll = element("div", { class: "roll" }, canvas);
    const words = element("p", { class: "hint", role: "status" });
    const list = element("ol", { class: "marked" });
    const trouble = element("p", { class: "complaint", role: "alert", hidden: true });
    const done = element("button", { type: "button", disabled: true }, "Flatten");
    const number = (label, value, set) => element("label", {}, element("span", {}, label), element("input", { type: "text", value, inputmode: "decimal", onchange: (event) => {
      const read = Number(event.target.value.replace(",", "."));
      if (Number.isFinite(read)) set(read);
      refresh();
    } }));
    const modes = { corners: "Corners of the board", place: "A known place", length: "A known length" };
    const choice = element("div", { class: "kit" }, ...Object.entries(modes).map(([key, text]) =>
      element("button", { type: "button", "data-mode": key, "aria-pressed": "false", onclick: () => { mode = key; pending = null; show(); } }, text)));

    const show = () => {
      for (const button of choice.children) button.setAttribute("aria-pressed", String(button.dataset.mode === mode));
      const names = ["upper left", "upper right", "lower right", "lower left"];
      words.textContent = mode === "corners"
        ? marks.length < 4 ? `Click the ${names[marks.length]} corner of the board, as you see it here. Clicks go to the middle of what lies under them; with Alt they stay.` : "Four corners are marked. More places or lengths make it surer."
        : mode === "place" ? "Click a place whose millimetres you know, then write them in the list." : pending ? "Click the other end." : "Click one end of a known length: a ruler, a caliper measure, two holes of a raster.";
      const residual = (index) => (placed ? `off by ${placed.residuals_mm[index].toFixed(2)} mm` : "");
      const refined = ({ px, clicked, found, exact }) => {
        if (exact || found === undefined) return exact ? "exactly where it was clicked" : "";
        const mm = placed && found ? apart(apply(placed.to_mm, clicked), apply(placed.to_mm, px)) : 0;
        return placed || !found ? moved(found, mm) : "";
      };
      const all = [
        ...marks.map((mark, index) => ({ of: marks, index, clicks: [mark.click], fields: ["x, mm", "y, mm"].map((label, axis) => number(label, mark.mm[axis], (value) => { mark.mm[axis] = value; })) })),
        ...lengths.map((length, index) => ({ of: lengths, index, clicks: length.clicks, fields: [number("length, mm", length.mm, (value) => { length.mm = value; })] })),
      ];
      list.replaceChildren(...all.map(({ of, index, clicks, fields }, place) => element("li", {},
        element("b", {}, String(place + 1)), ...fields,
        element("button", { type: "button", "aria-label": `Take ${of === marks ? "mark" : "length"} ${index + 1} out`, onclick: () => { of.splice(index, 1); refresh(); } }, "×"),
        element("span", { class: "small" }, [residual(place), ...clicks.map(refined)].filter((text) => text).join(" · ")))));
      const scale = image.naturalWidth ? image.clientWidth / image.naturalWidth : 1;
      const dot = (px, text) => {
        const [x, y] = px.map((value) => value * scale);
        return [shape("circle", { class: "mark", cx: x, cy: y, r: 7 }), shape("path", { class: "cross", d: `M${x - 14} ${y}h28M${x} ${y - 14}v28` }), shape("text", { class: "label", x: x + 10, y: y - 10 }, text)];
      };
      drawn.replaceChildren(
        ...marks.flatMap((mark, index) => dot(mark.click.px, String(index + 1))),
        ...lengths.flatMap((length, index) => [
          shape("polyline", { class: "coming", points: length.clicks.map(({ px }) => px.map((value) => value * scale)).join(" ") }),
          ...length.clicks.flatMap(({ px }) => dot(px, String(marks.length + index + 1)))]),
        ...(pending ? dot(pending.px, "") : []));
    };

    const refresh = async () => {
      placed = null;
      trouble.hidden = true;
      done.disabled = true;
      show();
      if (marks.length + lengths.length === 0) return;
      asked += 1;
      const now = asked;
      try {
        const found = await api.place(side, marks.map(({ click, mm }) => ({ px: click.px, mm })), lengths.map(({ clicks, mm }) => ({ px: clicks.map(({ px }) => px), mm })));
        // Another mark may have come meanwhile, or a refined one.
        if (now !== asked) return;
        placed = found;
        done.disabled = false;
        show();
        const sure = placed.spare > 0
          ? `Marks agree within ${placed.rms_mm.toFixed(3)} mm${placed.rms_mm > GOOD_MM ? ": look for the one that is farthest off" : ""}.`
          : "Marks cannot disagree yet: one more would show a slip.";
        words.textContent += ` ${sure} A click that is 2 pixels off moves a point by ${(2 * placed.per_pixel_mm).toFixed(2)} mm.${placed.missing ? ` Missing: ${placed.missing}.` : ""}`;
      } catch (error) {
        if (now === asked && marks.length + lengths.length > 1) {
          trouble.textContent = error.message;
          trouble.hidden = false;
        }
      }
    };

    /** A click goes to the middle of what lies under it, when the daemon says where that is. */
    const refine = async (click, aim) => {
      const picture = await bitmap;
      if (!picture) return;
      click.found = await snap(picture, click.clicked, aim, image.clientWidth / image.naturalWidth);
      if (click.found) click.px = click.found.px;
      await refresh();
    };

    const click = (px, exact) => {
      const click = { px, clicked: px, exact };
      if (!exact) refine(click, mode === "corners" ? "corner" : "any");
      if (mode === "length") {
        if (!pending) pending = click;
        else {
          lengths.push({ clicks: [pending, click], mm: 10 });
          pending = null;
        }
      } else {
        const mm = mode === "corners" && marks.length < 4 ? corner(marks.length) : placed ? apply(placed.to_mm, px).map((value) => Math.round(value * 100) / 100) : [0, 0];
        marks.push({ click, mm });
        if (mode === "corners" && marks.length === 4) mode = "place";
      }
      refresh();
    };
    canvas.addEventListener("click", (event) => {
      const frame = image.getBoundingClientRect();
      click([((event.clientX - frame.left) / frame.width) * image.naturalWidth, ((event.clientY - frame.top) / frame.height) * image.naturalHeight], event.altKey);
    });
    roll.addEventListener("wheel", (event) => {
      if (!event.ctrlKey && !event.metaKey) return;
      event.preventDefault();
      scaleTo(zoom * Math.exp(-event.deltaY / 300));
    }, { passive: false });
    const scaleTo = (value) => {
      zoom = Math.min(8, Math.max(1, value));
      canvas.style.width = `${zoom * 100}%`;
    };
    // Loaded, zoomed or in a window of another size: the marks go with the photo.
    const seen = new ResizeObserver(show);
    seen.observe(image);
    image.addEventListener("error", () => { trouble.textContent = "This is no photo that can be shown: take a JPEG or a PNG file."; trouble.hidden = false; });

    const close = () => {
      seen.disconnect();
      URL.revokeObjectURL(url);
      dialog.close();
      dialog.replaceChildren();
    };
    done.addEventListener("click", async () => {
      done.disabled = true;
      try {
        await this.flatten(side, file, placed.to_mm);
        this.tell(side, `flattened, marks within ${placed.rms_mm.toFixed(2)} mm`);
        close();
      } catch (error) {
        trouble.textContent = error.message;
        trouble.hidden = false;
        done.disabled = false;
      }
    });
    // What grows as marks come lies beside or beneath the photo: nothing above it changes, so that the next place stays under the hand.
    dialog.replaceChildren(
      element("div", { class: "above" },
        element("h2", { id: "marking-title" }, `Where does the photo of the ${side} lie?`),
        element("div", { class: "sizes" },
          number("Board's width, mm", size[0], (value) => { size[0] = value; marks.slice(0, 4).forEach((mark, index) => { mark.mm = corner(index); }); this.resized?.(size); }),
          number("Board's height, mm", size[1], (value) => { size[1] = value; marks.slice(0, 4).forEach((mark, index) => { mark.mm = corner(index); }); this.resized?.(size); }),
          element("button", { type: "button", onclick: () => scaleTo(zoom * 1.5) }, "Larger"),
          element("button", { type: "button", onclick: () => scaleTo(zoom / 1.5) }, "Smaller")),
        choice),
      roll,
      element("div", { class: "beside" }, words, trouble, list,
        element("div", { class: "kit" }, done, element("button", { type: "button", onclick: close }, "Leave the photo out"))));
    dialog.showModal();
    show();
  }
}
