// Stand-ins for what is burnt into the chip and its flash: the boot ROM's function table, as far as the firmware
// uses it, and the flash chip's answer to "read unique ID".
// Sources: RP2040 data sheet, 2.8.3 "Bootrom Contents"; W25Q80 data sheet, "Read Unique ID Number (4Bh)".

const LOOKUP = 0x20;
const STUBS = 0x100;
const BKPT = 0xbe00;
const BX_LR = 0x4770;
const READ_UNIQUE_ID = 0x4b;
const DUMMY_BYTES = 4;
const SSI_DATA = 0x60;

/** ROM functions by their two-letter codes. */
const FUNCTIONS = {
  IF: () => {}, // connect_internal_flash
  EX: () => {}, // flash_exit_xip
  FC: () => {}, // flash_flush_cache
  CX: () => {}, // flash_enter_cmd_xip
  C4: (mcu, [to, from, bytes]) => {
    for (let at = 0; at < bytes; at += 4) mcu.writeUint32(to + at, mcu.readUint32(from + at));
  }, // memcpy44
};

/** Puts the table into `mcu`; each function is a breakpoint that `mcu.onBreak` answers. */
export function install(mcu, serial) {
  const rom = new DataView(mcu.bootrom.buffer);
  const codes = Object.keys(FUNCTIONS);
  const stub = (at, number) => {
    rom.setUint16(at, BKPT | number, true);
    rom.setUint16(at + 2, BX_LR, true);
  };
  rom.setUint32(0x10, 0x0201754d, true); // "Mu", 1, version 2
  rom.setUint16(0x18, LOOKUP | 1, true);
  stub(LOOKUP, 0);
  codes.forEach((_, index) => stub(STUBS + 4 * index, index + 1));

  mcu.onBreak = (number) => {
    const { registers } = mcu.core;
    if (number > 0) {
      FUNCTIONS[codes[number - 1]](mcu, registers);
      return;
    }
    const code = String.fromCharCode(registers[1] & 0xff, registers[1] >> 8);
    const index = codes.indexOf(code);
    if (index < 0) throw new Error(`the firmware asks the boot ROM for ${JSON.stringify(code)}`);
    registers[0] = (STUBS + 4 * index) | 1;
  };

  const ssi = mcu.peripherals[0x18000];
  const [read, write] = [ssi.readUint32.bind(ssi), ssi.writeUint32.bind(ssi)];
  let answer = [];
  ssi.writeUint32 = (offset, value) => {
    if (offset === SSI_DATA && (value & 0xff) === READ_UNIQUE_ID) {
      answer = [...new Array(DUMMY_BYTES).fill(0), ...serial];
    }
    write(offset, value);
  };
  ssi.readUint32 = (offset) => (offset === SSI_DATA && answer.length > 0 ? answer.shift() : read(offset));
}
