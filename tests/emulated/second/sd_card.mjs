/* An SD card on SPI over a file of sectors: awake after CMD0 and ACMD41, and every way in which cards fail.
   SD Physical Layer Simplified Specification, chapter 7 (SPI mode). */
import fs from "node:fs";

const SECTOR = 512;
const WAKE_S = 0.05; // from CMD0 until ACMD41 says ready
const TAKEN = 0xe5, REFUSED = 0xed; // data response: accepted; write error
const TOKEN = 0xfe;
const UNITS = 1024; // sectors in one unit of C_SIZE

/* Sectors of a file; read only what is asked for, written in place. */
export class Disk {
  constructor(path) {
    this.file = fs.openSync(path, "r+");
    this.sectors = Math.floor(fs.fstatSync(this.file).size / SECTOR);
  }

  read(number) {
    const data = Buffer.alloc(SECTOR);
    fs.readSync(this.file, data, 0, SECTOR, number * SECTOR);
    return data;
  }

  write(number, data) {
    fs.writeSync(this.file, data, 0, SECTOR, number * SECTOR);
  }
}

/* now(): seconds since power-on. busy_s(time): how long the card is busy after a write that it took. */
export class SdCard {
  constructor(disk, now, busy_s) {
    this.disk = disk;
    this.now = now;
    this.busy_s = busy_s;
    this.there = disk !== null;
    this.refusing = false; // says so after every write
    this.stuck = false; // holds its line low
    this.writes = []; // time of each write that was taken
    this.refused = []; // of each that was not
    this.reads = 0;
    this._asleep();
  }

  take_out() {
    this.there = false;
    this._asleep();
  }

  /* Put a card in: this one again, healthy, or the one on `disk`. */
  put_in(disk) {
    if (disk) this.disk = disk;
    this.there = true;
    this.refusing = this.stuck = false;
    this._asleep();
  }

  select() {
    this.state = "command";
    this.command = [];
    this.out = [];
    this.data = [];
  }

  /* The byte that the card sends while it gets `byte`. */
  exchange(byte) {
    if (!this.there) return 0xff;
    if (this.stuck) return 0x00;
    const answer = this.out.length ? this.out.shift() : this.now() < this.busy_until ? 0x00 : 0xff;
    if (this.state === "command") this._take_command(byte);
    else if (this.state === "token" && byte === TOKEN && !this.out.length) this._to("data");
    else if (this.state === "data" && this.data.push(byte) === SECTOR + 2) this._take_data();
    return answer;
  }

  _asleep() {
    this.awake = this.for_acmd = false;
    this.busy_until = this.wake_at = 0;
    this.select();
  }

  _to(state) {
    this.state = state;
    this.data = [];
  }

  _take_command(byte) {
    if (!this.command.length && (byte & 0xc0) !== 0x40) return;
    if (this.command.push(byte) < 6) return;
    const [first, a, b, c, d] = this.command;
    this.command = [];
    this._obey(first & 63, ((a << 24) | (b << 16) | (c << 8) | d) >>> 0);
  }

  _take_data() {
    this.state = "command";
    if (this.refusing) {
      this.refused.push(this.now());
      this.out.push(REFUSED);
      return;
    }
    this.disk.write(this.sector, Buffer.from(this.data.slice(0, SECTOR)));
    this.writes.push(this.now());
    this.busy_until = this.now() + this.busy_s(this.now());
    this.out.push(TAKEN);
  }

  _obey(command, argument) {
    const out = this.out;
    const idle = this.awake ? 0 : 1;
    out.push(0xff);
    if (command === 0) {
      this.awake = false;
      this.wake_at = this.now() + WAKE_S;
      out.push(1);
    } else if (command === 8) out.push(1, 0, 0, 1, argument & 255);
    else if (command === 55) out.push(idle);
    else if (command === 41) {
      this.awake ||= this.now() >= this.wake_at;
      out.push(this.awake ? 0 : 1);
    } else if (!this.awake) out.push(5); // illegal while idle
    else if (command === 58) out.push(0, 0xc0, 0xff, 0x80, 0); // OCR: powered up, addressed by sectors
    else if (command === 9) out.push(0, 0xff, TOKEN, ...this._register());
    else if (command === 13) out.push(0, 0);
    else if (command === 16) out.push(0);
    else if (command === 17) {
      this.reads++;
      out.push(0, 0xff, 0xff, TOKEN, ...this.disk.read(argument), 0, 0);
    } else if (command === 24) {
      this.sector = argument;
      out.push(0);
      this._to("token");
    } else out.push(4); // unknown
  }

  /* CSD version 2, with its CRC bytes left zero. */
  _register() {
    const size = Math.floor(this.disk.sectors / UNITS) - 1;
    const words = [(size >> 16) & 63, (size >> 8) & 255, size & 255];
    return [0x40, 14, 0, 0x32, 0x5b, 0x59, 0, ...words, 0x7f, 128, 10, 64, 0, 1, 0, 0];
  }
}
