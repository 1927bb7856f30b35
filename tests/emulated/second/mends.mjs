/* What rp2040js 1.4.1 lacks: the converter's round robin and its pace; a time of one SPI byte.
   Registers: RP2040 data sheet, 4.9.6 (ADC). */
const CONVERSION_NS = 2000, CLOCK_MHZ = 48, CLOCKS = 96;
const FIFO_ON = 1, FIFO_SHIFT = 2, FIFO_OVER = 1 << 11, START_MANY = 8, FIFO_REG = 0xc;
const INPUTS = 5;

/* Conversions ask counts_of(input) at their beginning, and go round all inputs that were asked for. */
export function mend_adc(mcu, counts_of) {
  const adc = mcu.adc;
  Object.defineProperty(adc, "activeChannel", {
    get() {
      return (this.cs >> 12) & 7;
    },
    set(input) {
      this.cs = (this.cs & ~(7 << 12)) | ((input & 7) << 12);
    },
  });
  adc.onADCRead = (input) => {
    adc.currentChannel = input;
    adc.channelValues[input] = counts_of(input);
    adc.sampleAlarm.schedule(CONVERSION_NS);
  };
  adc.completeADCRead = function (value) {
    this.busy = false;
    this.result = value;
    if (this.fcs & FIFO_ON) {
      if (this.fifo.full) this.fcs |= FIFO_OVER;
      else {
        this.fifo.push(this.fcs & FIFO_SHIFT ? (value & 0xfff) >> 4 : value & 0xfff);
        this.updateDMA();
        this.checkInterrupts();
      }
    }
    const round = (this.cs >> 16) & 0x1f;
    if (round) {
      let input = this.activeChannel;
      do input = (input + 1) % INPUTS;
      while (!(round & (1 << input)));
      this.activeChannel = input;
    }
    if (!(this.cs & START_MANY)) return;
    const extra = this.divider - CLOCKS;
    if (extra > 0) this.multiShotAlarm.schedule((extra / CLOCK_MHZ) * 1000);
    else this.startADCRead();
  };
  const read = adc.readUint32.bind(adc);
  adc.readUint32 = (offset) => {
    if (offset === FIFO_REG && adc.fifo.empty) mcu.dma.clearDREQ(adc.dreq); // else a DMA goes on reading nothing
    return read(offset);
  };
}

/* A bus whose bytes take their time. parts: [[gpio of its chip select, part with exchange()]]. */
export function attach_bus(mcu, clock, number, parts) {
  const spi = mcu.spi[number];
  let answer = 0xff;
  const done = clock.createAlarm(() => spi.completeTransmit(answer));
  spi.onTransmit = (value) => {
    answer = 0xff;
    for (const [gpio, part] of parts) if (mcu.gpio[gpio].value === 0) answer &= part.exchange(value & 255);
    done.schedule((8 / (spi.clockFrequency || 1e6)) * 1e9);
  };
  for (const [gpio, part] of parts) mcu.gpio[gpio].addListener((state) => state === 0 && part.select());
}
