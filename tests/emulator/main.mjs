// An emulated controller as a child process: commands on standard input, what happens on standard output.
//
// Strictly synchronous: between two commands nothing happens, and while the firmware runs, each conversation
// with the chips around it (an ADC byte, the level of an input) waits for its answer. So the parent owns time and physics,
// and the same commands give the same run. Nothing else may touch the two streams.
//
// Command:  u32 length, u8 kind, payload.     Event: u32 length, u8 kind, u64 time in ns, payload.
// Answer to an event that asks: u32 value, u64 time in ns until which the inputs keep their levels. All little-endian.

import fs from 'node:fs';
import { Chip } from './chip.mjs';
import { parse } from './elf.mjs';
import { Host } from './usb.mjs';

const SERIAL = Buffer.from('E660C0D1CE5EED01', 'hex');
const [, , firmware] = process.argv;

const wire = {
  events: [],

  say(kind, payload = Buffer.alloc(0)) {
    const head = Buffer.alloc(13);
    head.writeUInt32LE(9 + payload.length, 0);
    head.write(kind, 4, 'latin1');
    head.writeBigUInt64LE(BigInt(Math.round(chip ? chip.now : 0)), 5);
    this.events.push(head, payload);
  },

  flush() {
    const bytes = Buffer.concat(this.events);
    this.events = [];
    for (let at = 0; at < bytes.length; ) at += fs.writeSync(1, bytes, at);
  },

  /** Exactly `length` bytes; the parent closing its end is the order to stop. */
  take(length) {
    const bytes = Buffer.alloc(length);
    for (let at = 0; at < length; ) {
      const got = fs.readSync(0, bytes, at, length - at, null);
      if (got === 0) process.exit(0);
      at += got;
    }
    return bytes;
  },

  ask(kind, payload) {
    this.say(kind, payload);
    this.flush();
    const answer = this.take(12);
    return { value: answer.readUInt32LE(0), until: Number(answer.readBigUInt64LE(4)) };
  },
};

let chip;
let host;
let inputs = { value: 0, until: 0 }; // levels, and until when they are known to hold
const plug = { in: false, open: false, reading: true };

function connect() {
  host = new Host(chip.mcu, {
    heard: (bytes) => {
      wire.say('u', bytes);
      chip.stop = true; // the parent may want to answer at once
    },
    found: ({ device, configuration, serial }) =>
      wire.say('c', Buffer.concat([Buffer.from([device.length]), device, configuration, Buffer.from(serial)])),
  });
  Object.assign(host, { open: plug.open, reading: plug.reading });
  if (plug.in) host.plug();
}

const commands = {
  R: (payload) => {
    chip.run(Number(payload.readBigUInt64LE()));
    wire.say('d');
  },
  U: (bytes) => host.send(bytes),
  C: ([inserted]) => {
    plug.in = !!inserted;
    if (inserted) host.plug();
    else host.unplug();
  },
  L: ([open]) => host.line((plug.open = !!open)),
  H: ([reading]) => host.read((plug.reading = !!reading)),
  P: () => chip.powerUp(),
  B: (how) => chip.break(how.toString()),
  S: () => {
    const bytes = Buffer.alloc(4);
    bytes.writeUInt32LE(chip.stackUsed());
    wire.say('d', bytes);
  },
};

let started = false;
chip = new Chip(parse(fs.readFileSync(firmware)), SERIAL, {
  pin: (gpio, state) => wire.say('p', Buffer.from([gpio, state])),
  spi: (bus, mode, byte) => {
    const payload = Buffer.from([bus, mode, byte]);
    inputs.until = 0; // the converter may have got ready, or busy
    return wire.ask('s', payload).value;
  },
  inputs: () => {
    if (chip.now >= inputs.until) inputs = wire.ask('i');
    return inputs.value;
  },
  reset: (why) => {
    wire.say('r', Buffer.from(why));
    if (started) connect();
  },
  complain: (text) => wire.say('!', Buffer.from(text)),
});
started = true;
connect();

for (;;) {
  const length = wire.take(4).readUInt32LE();
  const frame = wire.take(length);
  inputs.until = 0; // the parent may have changed anything
  commands[String.fromCharCode(frame[0])](frame.subarray(1));
  wire.flush();
}
