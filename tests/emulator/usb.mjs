// The far end of the USB cable: a host that finds the device, sets it up and moves bytes.
//
// Works on the controller's dual-port RAM directly: an endpoint is armed while its AVAILABLE bit is set, and
// each packet takes its time on the wire, so a device that is slow to arm or a host that does not read holds the other
// side back as on a real bus. Sources: USB 2.0, chapters 5, 8, 9; USB CDC 1.2 and PSTN 1.2 subclass; RP2040 data sheet,
// 4.1.2.5 "Data buffers" and 4.1.4 "List of Registers".

const AVAILABLE = 1 << 10;
const FULL = 1 << 15;
const LENGTH = 0x3ff;
const PULL_UP = 1 << 16;
const SIE_CTRL = 0x4c;
const SIE_STATUS = 0x50;
const SETUP_RECEIVED = 1 << 17;
const SUSPENDED = 1 << 4;

const IN = 0;
const OUT = 1;
const PACKET = 64;
const BULK = 2;
const CDC_DATA = 0x0a;

const MICROSECOND = 1e3;
const MILLISECOND = 1e6;
/** Sync, PID, token, handshake and turn-round of one bulk transaction, in byte times (USB 2.0, table 5-9). */
const OVERHEAD = 13;
const BYTE_TIME = 8e9 / 12e6;
/** A bus without frames for so long is suspended (USB 2.0, 7.1.7.6). */
const SUSPEND_AFTER = 3 * MILLISECOND;

const GET_DESCRIPTOR = 6;
const [DEVICE, CONFIGURATION, STRING, INTERFACE, ENDPOINT] = [1, 2, 3, 4, 5];

const setup = (type, request, value, index, length) =>
  Buffer.from([type, request, value & 255, value >> 8, index & 255, index >> 8, length & 255, length >> 8]);
const descriptor = (kind, index, length) =>
  setup(0x80, GET_DESCRIPTOR, (kind << 8) | index, kind === STRING ? 0x409 : 0, length);

export class Host {
  /**
   * A host for `mcu`. `heard(bytes)` gets what the serial port says, `found({ device, configuration, serial })` the
   * descriptors once the device is set up.
   */
  constructor(mcu, { heard, found }) {
    this.mcu = mcu;
    this.usb = mcu.usbCtrl;
    this.heard = heard;
    this.found = found;
    this.plugged = false;
    this.ready = false;
    this.open = false;
    this.reading = true;
    this.queue = []; // control transfers waiting
    this.control = null; // the one under way
    this.outgoing = Buffer.alloc(0);
    this.busFree = 0;
    this.alarms = new Map(); // one per endpoint and direction
    this.bulk = { [IN]: 0, [OUT]: 0 };
    this.suspendAlarm = mcu.clock.createAlarm(() => this.status(SUSPENDED));
    this.nextAlarm = mcu.clock.createAlarm(() => this.nextControl());

    this.usb.DPRAMUpdated = (offset, value) => {
      if (offset >= 0x80 && offset < 0x100 && value & AVAILABLE) this.armed((offset - 0x80) >> 3, offset & 4 ? OUT : IN);
    };
    const write = this.usb.writeUint32.bind(this.usb);
    this.usb.writeUint32 = (offset, value) => {
      const was = this.usb.sieCtrl;
      write(offset, value);
      if (offset === SIE_CTRL && value & ~was & PULL_UP) this.pulledUp();
      if (offset === SIE_STATUS && this.usb.rawWriteValue & SUSPENDED) this.unstatus(SUSPENDED);
    };
    this.usb.onResetReceived = () => this.enumerate();
  }

  /** Plugs the cable in; a device that has its pull-up on is reset and set up. */
  plug() {
    this.plugged = true;
    this.suspendAlarm.cancel();
    if (this.usb.sieCtrl & PULL_UP) this.pulledUp();
  }

  /** Pulls the cable: the bus falls still. */
  unplug() {
    Object.assign(this, { plugged: false, ready: false, open: false, queue: [], control: null });
    this.outgoing = Buffer.alloc(0);
    this.suspendAlarm.schedule(SUSPEND_AFTER);
  }

  /** Somebody opens or closes the serial port: SET_CONTROL_LINE_STATE with DTR and RTS. */
  line(open) {
    this.open = open;
    if (this.ready) this.ask(setup(0x21, 0x22, open ? 3 : 0, 0, 0));
    this.read(this.reading); // what the device held back while the port was closed
  }

  /** Whether the host takes what the device has to say; a stopped reader leaves the endpoint armed. */
  read(reading) {
    this.reading = reading;
    if (reading && this.bulk[IN]) this.armed(this.bulk[IN], IN);
  }

  /** Bytes for the serial port. */
  send(bytes) {
    if (!this.plugged) return;
    this.outgoing = Buffer.concat([this.outgoing, bytes]);
    if (this.bulk[OUT]) this.armed(this.bulk[OUT], OUT);
  }

  // The bus.

  status(bit) {
    this.usb.sieStatus |= bit;
    this.usb.sieStatusUpdated();
  }

  unstatus(bit) {
    this.usb.sieStatus &= ~bit;
    this.usb.sieStatusUpdated();
  }

  bufferControl(endpoint, direction) {
    return 0x80 + endpoint * 8 + (direction === OUT ? 4 : 0);
  }

  isArmed(endpoint, direction) {
    return !!(this.mcu.usbDPRAMView.getUint32(this.bufferControl(endpoint, direction), true) & AVAILABLE);
  }

  /** Whether the host has business with an endpoint now. */
  wanted(endpoint, direction) {
    if (!this.plugged) return false;
    if (endpoint === 0) return !!this.control && this.control.stage === this.control[direction];
    if (direction === OUT) {
      // An operating system lets a program write once its requests for opening the port are through.
      const asking = this.control || this.queue.length > 0;
      return this.ready && endpoint === this.bulk[OUT] && this.outgoing.length > 0 && !asking;
    }
    return this.ready && (endpoint !== this.bulk[IN] || (this.open && this.reading));
  }

  /** An endpoint is armed, or the host has found business with it: one packet, after its time on the wire. */
  armed(endpoint, direction) {
    const key = endpoint * 2 + direction;
    if (!this.alarms.has(key)) {
      const alarm = this.mcu.clock.createAlarm(() => {
        alarm.scheduled = false;
        this.transfer(endpoint, direction);
      });
      this.alarms.set(key, alarm);
    }
    const alarm = this.alarms.get(key);
    if (alarm.scheduled || !this.wanted(endpoint, direction) || !this.isArmed(endpoint, direction)) return;
    const control = this.mcu.usbDPRAMView.getUint32(this.bufferControl(endpoint, direction), true);
    const bytes = direction === IN ? control & LENGTH : Math.min(PACKET, this.outgoing.length);
    const now = this.mcu.clock.nanos;
    this.busFree = Math.max(now, this.busFree) + (OVERHEAD + bytes) * BYTE_TIME;
    alarm.schedule(this.busFree - now);
  }

  transfer(endpoint, direction) {
    if (!this.wanted(endpoint, direction) || !this.isArmed(endpoint, direction)) return;
    const { usbDPRAM, usbDPRAMView } = this.mcu;
    const at = this.bufferControl(endpoint, direction);
    const control = usbDPRAMView.getUint32(at, true);
    const room = control & LENGTH;
    const buffer = endpoint === 0 ? 0x100 : usbDPRAMView.getUint32(endpoint * 8 + (direction === OUT ? 4 : 0), true) & 0xffc0;

    let after;
    if (direction === IN) {
      const bytes = Buffer.from(usbDPRAM.subarray(buffer, buffer + room));
      usbDPRAMView.setUint32(at, control & ~(AVAILABLE | FULL), true);
      after = () => (endpoint === 0 ? this.controlIn(bytes) : endpoint === this.bulk[IN] && this.heard(bytes));
    } else {
      const source = endpoint === 0 ? this.control.data : this.outgoing;
      const bytes = source.subarray(0, Math.min(room, source.length));
      usbDPRAM.set(bytes, buffer);
      usbDPRAMView.setUint32(at, ((control & ~(AVAILABLE | LENGTH)) | FULL | bytes.length) >>> 0, true);
      if (endpoint === 0) after = () => this.controlOut();
      else this.outgoing = this.outgoing.subarray(bytes.length);
    }
    this.usb.indicateBufferReady(endpoint, direction === OUT);
    after?.();
  }

  // Control transfers (USB 2.0, 8.5.3): setup, data, status.

  /** Queues a request; `done(bytes)` gets the answer. */
  ask(packet, done = () => {}, data = Buffer.alloc(0)) {
    this.queue.push({ packet, done, data });
    if (!this.control) this.nextAlarm.schedule(50 * MICROSECOND);
  }

  nextControl() {
    const next = this.queue.shift();
    if (!next || !this.plugged) return;
    const reads = !!(next.packet[0] & 0x80);
    const stage = reads || next.data.length > 0 ? 'data' : 'status';
    // Which direction moves in which stage: data goes the way the request says, status the other way.
    const [inward, outward] = reads ? ['data', 'status'] : ['status', 'data'];
    this.control = { ...next, stage, [IN]: inward, [OUT]: outward, answer: [] };
    this.usb.sendSetupPacket(next.packet);
  }

  controlIn(bytes) {
    const control = this.control;
    if (control.stage === 'status') return this.finish();
    control.answer.push(bytes);
    const length = control.answer.reduce((sum, part) => sum + part.length, 0);
    if (bytes.length < PACKET || length >= control.packet.readUInt16LE(6)) {
      control.stage = 'status';
      control.data = Buffer.alloc(0);
      this.armed(0, OUT);
    }
  }

  controlOut() {
    if (this.control.stage === 'status') return this.finish();
    this.control.stage = 'status';
    this.armed(0, IN);
  }

  finish() {
    const { done, answer } = this.control;
    this.control = null;
    done(Buffer.concat(answer));
    // The device must have seen the status stage before the next request comes.
    if (this.queue.length > 0) this.nextAlarm.schedule(50 * MICROSECOND);
    else if (this.bulk[OUT]) this.armed(this.bulk[OUT], OUT);
  }

  // Finding the device (USB 2.0, 9.1.2; CDC PSTN, 6.3).

  pulledUp() {
    if (this.plugged && !this.ready) this.usb.resetDevice();
  }

  enumerate() {
    Object.assign(this, { ready: false, queue: [], control: null });
    const found = {};
    this.ask(descriptor(DEVICE, 0, 64));
    this.ask(setup(0x00, 5, 7, 0, 0)); // SET_ADDRESS
    this.ask(descriptor(DEVICE, 0, 18), (bytes) => {
      found.device = bytes;
      this.ask(descriptor(STRING, bytes[16], 255), (text) => (found.serial = text.subarray(2).toString('utf16le')));
    });
    this.ask(descriptor(CONFIGURATION, 0, 9), (head) => {
      this.ask(descriptor(CONFIGURATION, 0, head.readUInt16LE(2)), (bytes) => {
        found.configuration = bytes;
        this.bulk = bulkEndpoints(bytes);
        this.ask(setup(0x00, 9, bytes[5], 0, 0), () => { // SET_CONFIGURATION
          this.ready = true;
          // 115200 baud, 8N1: means nothing here, but operating systems send it.
          const coding = Buffer.from([0x00, 0xc2, 0x01, 0x00, 0, 0, 8]);
          this.ask(setup(0x21, 0x20, 0, 0, coding.length), () => this.found(found), coding);
          if (this.open) this.line(true);
        });
      });
    });
  }
}

/** The bulk endpoints of the CDC data interface. */
function bulkEndpoints(configuration) {
  const bulk = { [IN]: 0, [OUT]: 0 };
  let data = false;
  for (let at = 0; at < configuration.length; at += configuration[at]) {
    if (configuration[at + 1] === INTERFACE) data = configuration[at + 5] === CDC_DATA;
    if (data && configuration[at + 1] === ENDPOINT && (configuration[at + 3] & 3) === BULK) {
      const address = configuration[at + 2];
      bulk[address & 0x80 ? IN : OUT] = address & 15;
    }
  }
  return bulk;
}
