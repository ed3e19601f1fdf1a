// Reads a drill file with gerber-parser (npm), which shares no line with what wrote it, and prints its holes: [[x, y, diameter], …] in mm.
import { readFileSync } from "node:fs";
import { createRequire } from "node:module";

const parser = createRequire(import.meta.url)("gerber-parser")({ filetype: "drill" });
const tools = new Map();
const holes = [];
let units, tool;
for (const said of parser.parseSync(readFileSync(process.argv[2], "utf8"))) {
  if (said.type === "set" && said.prop === "units") units = said.value;
  if (said.type === "tool") tools.set(said.code, said.tool.params[0]);
  if (said.type === "set" && said.prop === "tool") tool = said.value;
  if (said.type === "op" && said.op === "flash") holes.push([said.coord.x, said.coord.y, tools.get(tool)]);
}
if (units !== "mm") throw new Error(`units are ${units}`);
console.log(JSON.stringify(holes));
