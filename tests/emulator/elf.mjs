// The firmware's ELF file: what goes where in flash, and where its functions are.
// Layout: System V ABI, "Program Header" and "Symbol Table", 32-bit little-endian.

const LOAD = 1;
const SYMBOL_TABLE = 2;

/** Parses `file` into `{ segments: [{ address, bytes }], find(pattern) }`. */
export function parse(file) {
  const view = new DataView(file.buffer, file.byteOffset, file.byteLength);
  const word = (at) => view.getUint32(at, true);
  const half = (at) => view.getUint16(at, true);
  if (view.getUint32(0) !== 0x7f454c46) throw new Error('not an ELF file');

  const rows = (table, size, count) => Array.from({ length: count }, (_, index) => table + index * size);
  const segments = rows(word(28), half(42), half(44))
    .filter((header) => word(header) === LOAD && word(header + 16) > 0)
    .map((header) => ({
      address: word(header + 12),
      bytes: file.subarray(word(header + 4), word(header + 4) + word(header + 16)),
    }));

  const sections = rows(word(32), half(46), half(48));
  const table = sections.find((header) => word(header + 4) === SYMBOL_TABLE);
  const names = table && word(sections[word(table + 24)] + 16);
  const symbols = table ? rows(word(table + 16), 16, word(table + 20) / 16) : [];
  const name = (symbol) => {
    const start = names + word(symbol);
    return file.toString('latin1', start, file.indexOf(0, start));
  };

  /** Address of the one function whose name matches. */
  const find = (pattern) => {
    const hits = new Set(symbols.filter((at) => pattern.test(name(at))).map((at) => word(at + 4)));
    if (hits.size !== 1) throw new Error(`${hits.size} symbols match ${pattern}`);
    return [...hits][0];
  };
  return { segments, find };
}
