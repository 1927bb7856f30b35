/* The flash chip behind SSI and the QSPI pins: reads, erases and programs with the time that they take.
   Orders as in the data sheet of a W25Q16JV; registers: RP2040 data sheet, 4.10 (SSI) and 2.19.6.2 (QSPI pins). */
const SSI = 0x18000, QSPI_PINS = 0x40018;
const SSIENR = 0x08, TXFLR = 0x20, RXFLR = 0x24, SR = 0x28, DR0 = 0x60;
const SS_STATUS = 0x08, SS_CTRL = 0x0c;
const ERASES = { 0x20: [4096, 1], 0x52: [32768, 4], 0xd8: [65536, 4] }; // order -> bytes, times of a sector's erase
const PAGE = 256;
const JEDEC_ID = [0xef, 0x40, 0x15];
const SECTOR_US = 45000, PAGE_US = 400; // typical

class FlashChip {
  constructor(memory, now) {
    this.memory = memory;
    this.now = now;
    this.selected = this.writable = false;
    this.bytes = [];
    this.busy_until = 0;
    this.erased = this.programmed = 0;
  }

  select(on) {
    if (on && !this.selected) this.bytes = [];
    if (!on && this.selected && this.bytes.length) this._end();
    this.selected = on;
  }

  /* The byte that comes back while `byte` goes out. */
  exchange(byte) {
    const place = this.bytes.push(byte) - 1;
    const order = this.bytes[0];
    if (order === 0x05 && place >= 1) return (this.now() < this.busy_until ? 1 : 0) | (this.writable ? 2 : 0);
    if (order === 0x35 && place >= 1) return 2;
    if (order === 0x9f && place >= 1) return JEDEC_ID[place - 1] || 0;
    if (order === 0x4b && place >= 5) return (0x11 * (place - 4)) & 255; // unique id
    if (order === 0x03 && place >= 4) return this.memory[(this._address() + place - 4) & 0xffffff];
    return 0;
  }

  _address() {
    return (this.bytes[1] << 16) | (this.bytes[2] << 8) | this.bytes[3];
  }

  _end() {
    const order = this.bytes[0];
    if (order === 0x06) this.writable = true;
    else if (order === 0x04) this.writable = false;
    else if (!this.writable) return;
    else if (ERASES[order]) this._erase(...ERASES[order]);
    else if (order === 0x02) this._program();
  }

  _erase(bytes, times) {
    const start = this._address() & ~(bytes - 1);
    this.memory.fill(0xff, start, start + bytes);
    this._busy(SECTOR_US * times);
    this.erased++;
  }

  _program() {
    const page = this._address() & ~(PAGE - 1), first = this._address() & (PAGE - 1);
    this.bytes.slice(4).forEach((byte, n) => (this.memory[page + ((first + n) & (PAGE - 1))] &= byte));
    this._busy(PAGE_US);
    this.programmed++;
  }

  _busy(us) {
    this.busy_until = this.now() + us * 1e-6;
    this.writable = false;
  }
}

/* Put a flash chip behind the registers of `mcu`, whose memory is mcu.flash. */
export function attach_flash(mcu, now) {
  const chip = new FlashChip(mcu.flash, now);
  const ssi = mcu.peripherals[SSI], pins = mcu.peripherals[QSPI_PINS];
  const read = ssi.readUint32.bind(ssi), write = ssi.writeUint32.bind(ssi);
  let got = [];
  ssi.readUint32 = (offset) => {
    if (offset === RXFLR) return got.length;
    if (offset === TXFLR) return 0;
    if (offset === SR) return 0x6 | (got.length ? 8 : 0); // nothing waits to be sent
    if (offset === DR0) return got.length ? got.shift() : 0;
    return read(offset);
  };
  ssi.writeUint32 = (offset, value) => {
    if (offset === DR0) return void got.push(chip.selected ? chip.exchange(value & 255) : 0);
    if (offset === SSIENR && !(value & 1)) got = [];
    write(offset, value);
  };
  const held = new Map();
  let select = 0x1f;
  const low = () => ((select >> 8) & 3) === 2; // the output is forced low
  pins.readUint32 = (offset) => {
    if (offset === SS_CTRL) return select;
    if (offset === SS_STATUS) return low() ? 0 : (1 << 17) | (1 << 9); // high: BOOTSEL is not pressed
    return held.get(offset) || 0;
  };
  pins.writeUint32 = (offset, value) => {
    if (offset !== SS_CTRL) return void held.set(offset, value >>> 0);
    select = value >>> 0;
    chip.select(low());
  };
  return chip;
}
