/* An RPI_PICO on rp2040js as hardware/ wires it: card and converter on SPI, lamp, buzzer, button, tach, flash. */
import { RP2040 } from "rp2040js";
import { SimulationClock } from "./node_modules/rp2040js/dist/esm/clock/simulation-clock.js";
import { Converter } from "./converter.mjs";
import { attach_flash } from "./flash.mjs";
import { attach_bus, mend_adc } from "./mends.mjs";
import { PacedPio } from "./paced_pio.mjs";
import { SdCard } from "./sd_card.mjs";
import { UsbHost } from "./usb_host.mjs";

const CYCLE_NS = 8; // 125 MHz
const FLASH_BASE = 0x10000000;
const TIMER = 0x40054, WATCHDOG = 0x40058;
const LAMP = 12, BUZZER = 7, BUTTON = 13, TACH = 15, CARD_CS = 17, CONVERTER_CS = 9;
const TURNS = 6; // free: the firmware's own main.py leaves it alone
const ON_CHIP = 4; // inputs a0 to a3; the converter's come behind them
const STEPS = 20000; // instructions between two looks at whether to stop
const RESET = Symbol("reset");

/* parts: bootrom (words), flash (bytes from power-on), disk (of the card, or null), counts_of(input, time), busy_s(time),
   usb (whether a host is on the cable), slow (cycles of the processor in place of one). */
export class Board {
  constructor(parts) {
    this.parts = parts;
    this.clock = new SimulationClock();
    this.kept = new Set(); // alarms that outlive a reset of the chip
    this.lamp = []; // [time, level] of every edge
    this.buzzer = [];
    this.turns = []; // times
    this.resets = [];
    this.errors = [];
    this.said = []; // bytes on UART 0
    this.cycles = 0;
    this.edges_given = 0;
    this.levels = { [BUTTON]: true, [TACH]: false };
    const now = () => this.now;
    this.card = new SdCard(parts.disk, now, parts.busy_s);
    this.converter = new Converter((input, time) => parts.counts_of(input + ON_CHIP, time), now);
    this.usb = parts.usb ? new UsbHost((callback) => this.alarm(callback), now) : null;
    this.end = this.alarm(() => (this.stopped = true));
    this.edge = this.alarm(() => this._edge());
    this._power_on(parts.flash, null);
  }

  /* Seconds since power-on. */
  get now() {
    return this.clock.nanosCounter * 1e-9;
  }

  alarm(callback) {
    const alarm = this.clock.createAlarm(callback);
    this.kept.add(alarm);
    return alarm;
  }

  /* Do something at that time. */
  at(time, act) {
    this.alarm(act).schedule(Math.max(0, time * 1e9 - this.clock.nanosCounter));
  }

  /* Rising and falling edges of the tach: a generator of [time, level]. */
  set_edges(edges) {
    this.edges = edges;
    this._next_edge();
  }

  press(from, to) {
    this.at(from, () => this.set_pin(BUTTON, false));
    this.at(to, () => this.set_pin(BUTTON, true));
  }

  set_pin(gpio, level) {
    for (const pio of this.pios) pio.catch_up();
    this.levels[gpio] = level;
    this.mcu.gpio[gpio].setInputValue(level);
    for (const pio of this.pios) pio.look_soon();
  }

  /* Run to that time, or until `done()` (asked rarely) says so. */
  run(until, done = () => false) {
    if (until <= this.now) return;
    this.stopped = false;
    this.end.schedule(until * 1e9 - this.clock.nanosCounter);
    while (!this.stopped && !done()) {
      try {
        this._some_steps();
      } catch (error) {
        if (error !== RESET) throw error;
        this._reset();
      }
    }
    this.end.cancel();
  }

  _some_steps() {
    const { clock } = this, { core } = this.mcu, slow = this.parts.slow || 1;
    for (let n = 0; n < STEPS && !this.stopped; n++) {
      if (core.waiting) {
        if (clock.nextAlarm) clock.tick(clock.nextAlarm.nanos - clock.nanosCounter);
        continue;
      }
      const cycles = core.executeInstruction() * slow;
      this.cycles += cycles;
      const then = clock.nanosCounter + cycles * CYCLE_NS;
      if (clock.nextAlarm !== null && clock.nextAlarm.nanos <= then) clock.tick(cycles * CYCLE_NS);
      else clock.nanosCounter = then;
    }
  }

  _next_edge() {
    const { value, done } = this.edges.next();
    this.coming = done ? null : value;
    if (this.coming) this.edge.schedule(Math.max(0, this.coming[0] * 1e9 - this.clock.nanosCounter));
  }

  _edge() {
    this.set_pin(TACH, this.coming[1]);
    if (this.coming[1]) this.edges_given++;
    this._next_edge();
  }

  /* A reset leaves the flash alone, and what is outside the chip. */
  _reset() {
    this.resets.push(this.now);
    const flash = this.mcu.flash.slice();
    const alarms = [];
    for (let alarm = this.clock.nextAlarm; alarm; alarm = alarm.next) if (this.kept.has(alarm)) alarms.push(alarm);
    this.clock.nextAlarm = null;
    for (const alarm of alarms) this.clock.linkAlarm(alarm.nanos - this.clock.nanosCounter, alarm);
    this.card.select();
    this._power_on(flash, this.clock.nanosCounter);
  }

  _power_on(flash, timer_from) {
    const { clock, parts } = this, now = () => this.now;
    const mcu = (this.mcu = new RP2040(clock));
    const quiet = () => {};
    const error = (part, words) => this.errors.length < 50 && this.errors.push([this.now, part, words]);
    mcu.logger = { debug: quiet, info: quiet, warn: quiet, error };
    mcu.loadBootrom(parts.bootrom);
    mcu.flash.set(flash);
    this.flash = attach_flash(mcu, now);
    if (timer_from !== null) this._start_timer_at(timer_from);
    mend_adc(mcu, (input) => parts.counts_of(input, this.now));
    this.pios = mcu.pio.map((pio) => new PacedPio(pio, clock, mcu.dma));
    attach_bus(mcu, clock, 0, [[CARD_CS, this.card]]);
    attach_bus(mcu, clock, 1, [[CONVERTER_CS, this.converter]]);
    for (const [gpio, seen] of [[LAMP, this.lamp], [BUZZER, this.buzzer]])
      mcu.gpio[gpio].addListener((state) => seen.push([this.now, state === 1]));
    mcu.gpio[TURNS].addListener(() => this.turns.push(this.now));
    mcu.uart[0].onByte = (byte) => this.said.push(byte);
    for (const gpio in this.levels) mcu.gpio[gpio].setInputValue(this.levels[gpio]);
    const watchdog = mcu.peripherals[WATCHDOG];
    if (this.reason) watchdog.reason = this.reason;
    watchdog.onWatchdogTrigger = () => {
      this.reason = watchdog.reason;
      throw RESET;
    };
    if (this.usb) this.usb.attach(mcu);
    mcu.core.PC = FLASH_BASE;
  }

  /* The chip's microseconds count from its reset, the emulator's clock from power-on. */
  _start_timer_at(nanos) {
    const bound = (owner, key) => (typeof owner[key] === "function" ? owner[key].bind(owner) : owner[key]);
    const get = (clock, key) => (key === "nanos" ? clock.nanosCounter - nanos : bound(clock, key));
    this.mcu.peripherals[TIMER].clock = new Proxy(this.clock, { get });
  }
}
