/* A PC on the board's USB: frames every millisecond, bytes in packets of 64 as a full-speed host gives them, and OUT
   transfers held back until there is something to send (the package's own host floods the board with empty ones). */
import { USBCDC } from "rp2040js";

const FRAME_NS = 1e6, PACKET = 64, PACKETS = 16; // in a frame
const APART_NS = 60e3;
const SOF_RD = 0x48, SOF_INTERRUPT = 1 << 17, FRAME_MASK = 0x7ff;

export class UsbHost {
  constructor(alarm, now) {
    this.now = now;
    this.on_bytes = () => {};
    this.queue = Buffer.alloc(0);
    this.frame = 0;
    this.left = PACKETS; // that may still be sent in this frame
    this.armed = null; // [endpoint, bytes] that the board is ready to take
    this.next_packet = alarm(() => this._give());
    this.next_frame = alarm(() => this._frame());
    this.next_frame.schedule(FRAME_NS);
  }

  attach(mcu) {
    const usb = (this.usb = mcu.usbCtrl);
    const cdc = new USBCDC(usb);
    const read_endpoint = usb.onEndpointRead;
    this.armed = null;
    cdc.onSerialData = (data) => this.on_bytes(Buffer.from(data));
    usb.onEndpointRead = (endpoint, size) => {
      if (endpoint !== cdc.outEndpoint || endpoint <= 0) return read_endpoint(endpoint, size);
      this.armed = [endpoint, size];
      this._give();
    };
    const read = usb.readUint32.bind(usb);
    usb.readUint32 = (offset) => {
      if (offset !== SOF_RD) return read(offset);
      usb.intRaw &= ~SOF_INTERRUPT;
      usb.checkInterrupts();
      return this.frame;
    };
  }

  send(bytes) {
    this.queue = Buffer.concat([this.queue, bytes]);
    this._give();
  }

  _frame() {
    this.frame = (this.frame + 1) & FRAME_MASK;
    if (this.usb.intEnable & SOF_INTERRUPT) {
      this.usb.intRaw |= SOF_INTERRUPT;
      this.usb.checkInterrupts();
    }
    this.left = PACKETS;
    this._give();
    this.next_frame.schedule(FRAME_NS);
  }

  _give() {
    if (this.armed && this.queue.length && this.left > 0) {
      const [endpoint, size] = this.armed;
      const packet = Uint8Array.from(this.queue.subarray(0, Math.min(PACKET, size)));
      this.armed = null;
      this.left--;
      this.queue = this.queue.subarray(packet.length);
      this.usb.endpointReadDone(endpoint, packet, 50);
    }
    if (this.queue.length) this.next_packet.schedule(APART_NS);
  }
}
