/* PIO by the clock: the emulator steps it once an instruction of the processor; here it makes up for the time that has
   passed whenever somebody looks at it or a pin changes. Loops that only count x down are taken in one go. */
const CYCLE_NS = 8;
const SOON_NS = 200;
const AHEAD = 8; // cycles that are worth a look for a loop

export class PacedPio {
  constructor(pio, clock, dma) {
    this.pio = pio;
    this.clock = clock;
    this.done = this._cycles();
    this.alarm = clock.createAlarm(() => this.catch_up());
    pio.run = () => {};
    const read = pio.readUint32.bind(pio), write = pio.writeUint32.bind(pio);
    pio.readUint32 = (offset) => {
      this.catch_up();
      return read(offset);
    };
    pio.writeUint32 = (offset, value) => {
      this.catch_up();
      const stopped = pio.stopped;
      write(offset, value);
      if (stopped && !pio.stopped) this.done = this._cycles();
    };
    for (const machine of pio.machines) {
      const take = machine.readFIFO.bind(machine);
      machine.readFIFO = () => {
        if (machine.rxFIFO.empty) dma.clearDREQ(machine.dreqRx); // else a DMA goes on reading nothing
        return take();
      };
    }
  }

  _cycles() {
    return Math.floor(this.clock.nanosCounter / CYCLE_NS + 1e-6);
  }

  /* A pin has changed: what it starts is to be seen soon. */
  look_soon() {
    if (!this.pio.stopped) this.alarm.schedule(SOON_NS);
  }

  catch_up() {
    const now = this._cycles();
    const count = now - this.done;
    if (count <= 0) return;
    this.done = now;
    if (this.pio.stopped) return;
    for (const machine of this.pio.machines) if (machine.enabled) this._run(machine, count);
  }

  _run(machine, count) {
    while (count > 0) {
      const { pc, x } = machine, held = machine.rxFIFO.itemCount;
      machine.step();
      if (!--count) return;
      machine.step();
      count--;
      const same = machine.pc === pc && machine.rxFIFO.itemCount === held && !machine.waiting;
      if (count <= AHEAD || !same || machine.x !== (x - 1) >>> 0) continue;
      const rounds = Math.min(Math.floor(count / 2), machine.x > 4 ? machine.x - 4 : 0);
      machine.x = (machine.x - rounds) >>> 0;
      count -= 2 * rounds;
    }
  }
}
