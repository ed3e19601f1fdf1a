// The microcontroller: the firmware's flash image in an emulated RP2040, with a run loop and resets of its own.

import { RP2040 } from 'rp2040js';
import * as rom from './rom.mjs';

const FLASH = 0x10000000;
const VECTORS = 0x10000100;
const SRAM = 0x20000000;
const VTOR = 0xd08;
const AIRCR = 0xd0c;
const GPIO_IN = 0x04;
const WATCHDOG = 0x40058;
const HARD_FAULT = 3;
const BRANCH_TO_SELF = 0xe7fe;
const PAINT = 0xa5;

export class Chip {
  /**
   * A chip with `elf` in its flash. `outside` is what surrounds it:
   * `pin(gpio, state)`, `spi(bus, mode, byte) → byte`, `inputs() → levels`, `reset(why)`, `complain(text)`.
   */
  constructor(elf, serial, outside) {
    Object.assign(this, { elf, serial, outside, base: 0 });
    this.powerUp();
  }

  /** Device time in nanoseconds since the first power-up; resets do not set it back. */
  get now() {
    return this.base + this.clock.nanos;
  }

  powerUp() {
    this.build();
    this.mcu.sram.fill(PAINT);
    this.outside.reset('power');
  }

  /** What the watchdog does: everything starts anew but the contents of RAM and the reason. */
  bite(reason) {
    const { sram } = this.mcu;
    const { scratchData } = this.mcu.peripherals[WATCHDOG];
    this.build();
    this.mcu.sram.set(sram);
    Object.assign(this.mcu.peripherals[WATCHDOG], { reason, scratchData });
    this.outside.reset('watchdog');
  }

  build() {
    this.base = this.clock ? this.now : 0;
    const mcu = new RP2040();
    Object.assign(this, { mcu, clock: mcu.clock });
    this.bitten = 0;
    const { outside } = this;
    mcu.logger = {
      debug() {},
      info() {},
      // The emulator has no bus faults; it says this instead.
      warn: (from, text) => /invalid memory|undefined address/.test(text) && outside.complain(`${from}: ${text}`),
      error: (from, text) => outside.complain(`${from}: ${text}`),
    };

    for (const { address, bytes } of this.elf.segments) mcu.flash.set(bytes, address - FLASH);
    rom.install(mcu, this.serial);
    mcu.core.VTOR = VECTORS;
    mcu.core.reset();

    // The emulator would enter a handler from WFI even with interrupts masked: pend only, the run loop wakes.
    const { core } = mcu;
    core.setInterrupt = (irq, level) => {
      if (!level) core.pendingInterrupts &= ~(1 << irq);
      else if (!(core.pendingInterrupts & (1 << irq))) {
        core.pendingInterrupts |= 1 << irq;
        core.interruptsUpdated = true;
      }
    };

    mcu.gpio.forEach((pin, gpio) => pin.addListener((state) => outside.pin(gpio, state)));
    const readSio = mcu.sio.readUint32.bind(mcu.sio);
    mcu.sio.readUint32 = (offset) => {
      if (offset === GPIO_IN) {
        const levels = outside.inputs();
        mcu.gpio.forEach((pin, gpio) => (pin.rawInputValue = !!((levels >>> gpio) & 1)));
      }
      return readSio(offset);
    };

    mcu.spi.forEach((spi, bus) => {
      let byte = 0;
      const done = this.clock.createAlarm(() => {
        const mode = ((spi.control0 >> 6) & 1) * 2 + ((spi.control0 >> 7) & 1);
        spi.completeTransmit(outside.spi(bus, mode, byte));
      });
      spi.onTransmit = (value) => {
        byte = value;
        done.schedule(8e9 / spi.clockFrequency);
      };
    });

    const watchdog = mcu.peripherals[WATCHDOG];
    watchdog.onWatchdogTrigger = () => {
      watchdog.alarm.enable = false; // or it would fire again in the same tick
      this.bitten = watchdog.reason;
    };
    const writePpb = mcu.ppb.writeUint32.bind(mcu.ppb);
    mcu.ppb.writeUint32 = (offset, value) => {
      if (offset === AIRCR) this.bitten ||= 2;
      else writePpb(offset, value);
    };
  }

  /** Runs until device time `until`, nanoseconds, or until somebody sets `stop`. */
  run(until) {
    this.stop = false;
    while (this.now < until && !this.stop) {
      const { clock, mcu } = this;
      const { core } = mcu;
      if (!core.waiting) {
        clock.tick((core.executeInstruction() * 1e9) / mcu.clkSys);
      } else if (core.pendingInterrupts & core.enabledInterrupts) {
        core.waiting = false;
      } else {
        const end = until - this.base;
        clock.tick(Math.min(clock.nextAlarm?.nanos ?? end, end) - clock.nanos);
      }
      if (this.bitten) this.bite(this.bitten);
    }
  }

  /** Breaks the firmware where it stands. */
  break(how) {
    const { core } = this.mcu;
    core.waiting = false;
    if (how === 'panic') {
      core.PC = this.elf.find(/9panicking9panic_fmt/) & ~1;
    } else if (how === 'fault') {
      core.exceptionEntry(HARD_FAULT);
    } else {
      const trap = SRAM + this.mcu.sram.length - 4;
      this.mcu.writeUint16(trap, BRANCH_TO_SELF);
      core.PC = trap;
    }
  }

  /** Deepest the stack has been since power-up, bytes: RAM was painted, and the stack grows down from the top. */
  stackUsed() {
    const { mcu } = this;
    const top = mcu.readUint32(VECTORS) - SRAM;
    const statics = this.elf.find(/^__sheap$/) - SRAM;
    const touched = mcu.sram.subarray(statics, top).findIndex((byte) => byte !== PAINT);
    return top - statics - touched;
  }
}
