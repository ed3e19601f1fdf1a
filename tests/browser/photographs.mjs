// Photographs of an invented board, drawn here: no such product exists. Both sides are painted flat to scale and then seen through a
// tilted camera without a lens error, so that every place's true pixel is known.

export const WIDTH_MM = 70;
export const HEIGHT_MM = 45;
/** Through holes, mm, seen from the front. */
export const HOLES = [[4, 4], [66, 4], [66, 41], [4, 41], [30, 30], [48, 14]];
/** Places of the invented board's supply path, mm, seen from the front. */
export const PATH = {
  cell: [8, 34], fuseIn: [16, 34], fuseOut: [20, 34], via1: [30, 30], via2: [48, 14], switchIn: [54, 14], switchOut: [58, 14], load: [62, 24], ground: [8, 10],
};
export const TRACE_MM = 1.6;

/** Paints and photographs one side in the browser; gives a data URL. Sent there as text, so it uses nothing from outside itself. */
function paint({ side, tilt, towards, turn, size, path, holes, traceMm, boardMm }) {
  const [W, H] = boardMm, PX = 26;
  const flat = new OffscreenCanvas(W * PX, H * PX);
  const pen = flat.getContext("2d");
  // Millimetres, y up, as this side is seen.
  const at = ([x, y]) => [(side === "back" ? W - x : x) * PX, (H - y) * PX];
  pen.fillStyle = "#23553f";
  pen.fillRect(0, 0, W * PX, H * PX);
  pen.lineCap = pen.lineJoin = "round";
  const run = (places, width, colour) => {
    pen.strokeStyle = colour;
    pen.lineWidth = width * PX;
    pen.beginPath();
    places.map(at).forEach(([x, y], index) => (index ? pen.lineTo(x, y) : pen.moveTo(x, y)));
    pen.stroke();
  };
  const disc = (place, radius, colour) => {
    pen.fillStyle = colour;
    pen.beginPath();
    pen.arc(...at(place), radius * PX, 0, 7);
    pen.fill();
  };
  const copper = "#3f7d58", pad = "#d9b56b";
  const fill = (place, w, h, colour) => { const [x, y] = at(place); pen.fillStyle = colour; pen.fillRect(x - (w * PX) / 2, y - (h * PX) / 2, w * PX, h * PX); };
  if (side === "front") {
    run([path.cell, path.fuseIn], traceMm, copper);
    run([path.fuseOut, [26, 34], path.via1], traceMm, copper);
    run([path.via2, path.switchIn], traceMm, copper);
    run([path.switchOut, [62, 14], path.load], traceMm, copper);
    fill([(path.fuseIn[0] + path.fuseOut[0]) / 2, 34], 3.2, 1.8, "#c9c4b4");
    fill([(path.switchIn[0] + path.switchOut[0]) / 2, 14], 7, 4, "#30343a");
    for (const place of [path.cell, path.ground]) fill(place, 5, 5, pad);
    for (const place of [path.fuseIn, path.fuseOut, path.load]) fill(place, 1.7, 1.9, pad);
    for (const place of [path.switchIn, path.switchOut]) disc(place, 1.1, pad);
    fill([38, 24], 9, 9, "#25282d");
    for (let i = 0; i < 6; i += 1) run([[28 + i * 3, 40], [28 + i * 3, 36]], 0.35, copper);
    pen.fillStyle = "#e8e6da";
    pen.font = `${2.4 * PX}px sans-serif`;
    pen.fillText("INVENTED BOARD", ...at([24, 4]));
  } else {
    run([path.via1, [38, 22], [42, 14], path.via2], traceMm, copper);
    run([[10, 6], [24, 6], [30, 12], [30, 20]], 0.5, copper);
    fill([52, 32], 12, 8, "#2c6347");
    pen.fillStyle = "#e8e6da";
    pen.font = `${2.4 * PX}px sans-serif`;
    pen.fillText("BACK · INVENTED", ...at([44, 4]));
  }
  for (const place of holes) { disc(place, 1.0, pad); disc(place, 0.45, "#15181b"); }

  // The camera, 260 mm away; columns of the matrix take (x, y, 1) as seen to the picture.
  const [c, s] = [Math.cos(turn), Math.sin(turn)], [a, b] = [Math.cos(towards), Math.sin(towards)];
  const [ct, st] = [Math.cos(tilt), Math.sin(tilt)];
  const depth = 260, focal = (0.9 * size[0] * depth) / W / 1.15;
  const project = ([u, v]) => {
    const [x0, y0] = [u - W / 2, v - H / 2];
    const [x, y] = [c * x0 - s * y0, s * x0 + c * y0];
    const along = x * a + y * b, lean = -x * b + y * a;
    const [x2, y2, z] = [a * along - b * lean * ct, b * along + a * lean * ct, lean * st];
    return [size[0] / 2 + (focal * x2) / (depth + z), size[1] / 2 - (focal * y2) / (depth + z)];
  };
  const shot = new OffscreenCanvas(...size);
  const lens = shot.getContext("2d");
  const picture = lens.createImageData(...size);
  const source = pen.getImageData(0, 0, W * PX, H * PX).data;
  // Back from the picture to the board, by the inverse of the map through four corners.
  const solve = (rows) => {
    const n = rows.length;
    for (let i = 0; i < n; i += 1) {
      const pivot = rows.slice(i).reduce((best, row, k) => (Math.abs(row[i]) > Math.abs(rows[best][i]) ? i + k : best), i);
      [rows[i], rows[pivot]] = [rows[pivot], rows[i]];
      for (let k = 0; k < n; k += 1) {
        if (k === i) continue;
        const share = rows[k][i] / rows[i][i];
        for (let j = i; j <= n; j += 1) rows[k][j] -= share * rows[i][j];
      }
    }
    return rows.map((row, i) => row[n] / row[i]);
  };
  const equations = [[0, 0], [W, 0], [W, H], [0, H]].flatMap(([x, y]) => {
    const [u, v] = project([x, y]);
    return [[u, v, 1, 0, 0, 0, -u * x, -v * x, x], [0, 0, 0, u, v, 1, -u * y, -v * y, y]];
  });
  const h = [...solve(equations), 1];
  for (let row = 0; row < size[1]; row += 1) {
    for (let column = 0; column < size[0]; column += 1) {
      const [u, v] = [column + 0.5, row + 0.5];
      const w = h[6] * u + h[7] * v + h[8];
      const [x, y] = [(h[0] * u + h[1] * v + h[2]) / w, (h[3] * u + h[4] * v + h[5]) / w];
      const to = 4 * (row * size[0] + column);
      const grain = ((column * 7919 + row * 104729) % 13) - 6;
      let colour = [196 + grain, 188 + grain, 172 + grain];
      if (x >= 0 && y >= 0 && x < W && y < H) {
        const from = 4 * (Math.floor((H - y) * PX) * W * PX + Math.floor(x * PX));
        colour = [0, 1, 2].map((i) => source[from + i] + grain / 2);
      }
      picture.data.set([...colour, 255], to);
    }
  }
  lens.putImageData(picture, 0, 0);
  return shot.convertToBlob({ type: "image/jpeg", quality: 0.85 }).then(async (blob) => {
    const bytes = new Uint8Array(await blob.arrayBuffer());
    let text = "";
    for (let i = 0; i < bytes.length; i += 8192) text += String.fromCharCode(...bytes.subarray(i, i + 8192));
    return btoa(text);
  });
}

/** A photograph of one side: the file, and where a place of the board (mm, seen from the front) lies in it, pixels. */
export async function photograph(page, side, { tilt = 18, towards = 35, turn = 4, size = [2400, 1800] } = {}) {
  const radians = (degrees) => (degrees * Math.PI) / 180;
  const camera = { tilt: radians(tilt), towards: radians(towards), turn: radians(turn) };
  const text = await page.evaluate(paint, { side, ...camera, size, path: PATH, holes: HOLES, traceMm: TRACE_MM, boardMm: [WIDTH_MM, HEIGHT_MM] });
  const depth = 260, focal = (0.9 * size[0] * depth) / WIDTH_MM / 1.15;
  const pixel = ([x, y]) => {
    const [x0, y0] = [(side === "back" ? WIDTH_MM - x : x) - WIDTH_MM / 2, y - HEIGHT_MM / 2];
    const [c, s] = [Math.cos(camera.turn), Math.sin(camera.turn)], [a, b] = [Math.cos(camera.towards), Math.sin(camera.towards)];
    const [u, v] = [c * x0 - s * y0, s * x0 + c * y0];
    const along = u * a + v * b, lean = -u * b + v * a;
    const z = lean * Math.sin(camera.tilt);
    const [x2, y2] = [a * along - b * lean * Math.cos(camera.tilt), b * along + a * lean * Math.cos(camera.tilt)];
    return [size[0] / 2 + (focal * x2) / (depth + z), size[1] / 2 - (focal * y2) / (depth + z)];
  };
  return { file: { name: `${side}.jpg`, mimeType: "image/jpeg", buffer: Buffer.from(text, "base64") }, pixel, size };
}
