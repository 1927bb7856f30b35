/* An MCP3208: eight inputs of 12 bits on SPI. Its data sheet, figure 6-1: start, SGL/DIFF, D2, D1, D0, sample, null, then
   the value from its top bit on. */
const BITS = 12;
const SAMPLED = 6; // clocks from the start bit on

/* counts_of(input, time): asked at the sample clock. `taken`: times at which input 0 was sampled. */
export class Converter {
  constructor(counts_of, now) {
    this.counts_of = counts_of;
    this.now = now;
    this.taken = [];
    this.select();
  }

  select() {
    this.clocks = this.order = this.value = 0;
  }

  exchange(byte) {
    let answer = 0;
    for (let place = 7; place >= 0; place--) answer = (answer << 1) | this._clock((byte >> place) & 1);
    return answer;
  }

  _clock(bit) {
    if (!this.clocks) {
      this.clocks = bit;
      return 1;
    }
    this.clocks++;
    if (this.clocks < SAMPLED) {
      this.order = (this.order << 1) | bit;
      return 1;
    }
    if (this.clocks === SAMPLED) {
      const input = this.order & 7;
      this.value = this.counts_of(input, this.now());
      if (!input) this.taken.push(this.now());
      return 1;
    }
    const place = BITS + 7 - this.clocks;
    return place >= 0 && place < BITS ? (this.value >> place) & 1 : 0;
  }
}
