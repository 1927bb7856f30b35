"""Bus controllers on SPI, modelled register by register from their public data sheets; plain Python for both runtimes.

MCP2518FD class: DS20006027 and DS20005678. MCP2515 class: DS20001801. Both from memory where no copy was at hand.

A model is a part of the Bus of tests/emulated/parts.py: `select(on)` and `exchange(byte)`. `came(id, data)` puts a
frame on the bus before it; `wire(id, data)` is called with each frame that it sends and gives "ack", "none" (nobody
acknowledges), "lost" (arbitration) or, of the MCP2515, "busy": it waits until `go_on` is called. Ids of 29 bits have
bit 29 set. A frame that is to be sent in any mode but normal is an error of whoever asks for it, and fails.
"""

EXTENDED = 1 << 29
_LOADS = (0x40, 0x42, 0x44)  # of the MCP2515: fill the first, second, third buffer


def never(_frame_id, _data):
    return "none"


class Controller:
    """What both have: modes, error counters, and what the bus does with a frame."""

    def __init__(self, crystal_mhz, kbit):
        self.crystal_mhz = crystal_mhz
        self.bus_kbit = kbit  # of the bus itself
        self.wire = never
        self.sent = []  # (id, data)
        self.tec = self.rec = 0
        self.off = False
        self.overflows = 0
        self.handler = None  # called when the interrupt pin falls
        self.accesses = 0
        self.selected = False

    def select(self, on):
        self.selected = on
        self.seen = 0
        if on:
            self.accesses += 1
            self.begin()
        else:
            self.ended()

    def begin(self):
        self.order = None

    def ended(self):
        pass

    def put_on_bus(self, frame_id, data):
        """The result of sending a frame once."""
        assert self.sending(), "a frame is to be sent in a mode that only listens"
        result = self.wire(frame_id, bytes(data)) if self.kbit() == self.bus_kbit else "none"
        if result == "busy":
            return result
        self.sent.append((frame_id, bytes(data)))
        if result == "none":
            self.tec += 8
            self.off = self.off or self.tec > 255
        elif result == "ack" and self.tec:
            self.tec -= 1
        return result

    def tell(self, before):
        """Call the handler where the interrupt pin has fallen."""
        if before and not self.pin() and self.handler:
            self.handler(None)


class Mcp2518fdModel(Controller):
    """32 frames of 20 bytes, 32 filters, a time stamp for each frame. now_us: function."""

    def __init__(self, crystal_mhz, kbit, now_us):
        Controller.__init__(self, crystal_mhz, kbit)
        self.now_us = now_us
        self.reset()

    def reset(self):
        self.registers = bytearray(0x300)
        self.memory = bytearray(0x800)
        self.oscillator = 0
        self.mode = 4
        self.fifo = []  # places of frames in memory
        self.next = 0

    def kbit(self):
        timing = self.registers[4:8]
        clocks = (timing[3] + 1) * (timing[2] + 1 + timing[1] + 1 + 1)
        mhz = 40 if self.crystal_mhz == 4 and self.oscillator & 1 else self.crystal_mhz
        return 1000 * mhz / clocks

    def sending(self):
        return self.mode == 6

    def pin(self):
        enabled = self.registers[0x1E] & 2
        return 0 if enabled and self.fifo else 1

    def exchange(self, byte):
        self.seen += 1
        if self.seen == 1:
            self.order = byte >> 4
            self.address = (byte & 0x0F) << 8
            return 0xFF
        if self.seen == 2:
            self.address |= byte
            if self.order == 0 and self.address == 0:
                self.reset()
            return 0xFF
        at = self.address
        self.address += 1
        if self.order == 3:
            return self.read(at)
        if self.order == 2:
            self.write(at, byte)
        return 0xFF

    def read(self, at):
        registers = self.registers
        if 0x400 <= at < 0xC00:
            return self.memory[at - 0x400]
        if 0xE00 <= at < 0xE04:
            return (self.oscillator, 4, 0, 0)[at - 0xE00]
        if at == 2:
            return self.mode << 5 | registers[2] & 0x1F
        if 0x10 <= at < 0x14:
            return self.stamp() >> 8 * (at - 0x10) & 0xFF
        if at == 0x34:
            return min(self.rec, 255)
        if at == 0x35:
            return min(self.tec, 255)
        if at == 0x36:
            return 0x20 if self.off else 0
        if at == 0x54:
            return registers[0x54] | 1
        if at in (0x58, 0x59):
            return 0  # frames to be sent begin at the memory's beginning
        if at == 0x60:
            return registers[0x60] & 8 | (1 if self.fifo else 0)
        if at in (0x64, 0x65):
            return (self.fifo[0] if self.fifo else 64) >> 8 * (at - 0x64) & 0xFF
        return registers[at] if at < 0x300 else 0

    def stamp(self):
        registers = self.registers
        if not registers[0x16] & 1:
            return 0
        prescale = (registers[0x14] | (registers[0x15] & 3) << 8) + 1
        mhz = 40 if self.crystal_mhz == 4 else self.crystal_mhz
        return self.now_us() * mhz // prescale & 0xFFFFFFFF

    def write(self, at, byte):
        registers = self.registers
        if 0x400 <= at < 0xC00:
            self.memory[at - 0x400] = byte
            return
        if at == 0xE00:
            self.oscillator = byte
            return
        if 4 <= at < 0x0C or 0x14 <= at < 0x18 or at in (0x50, 0x53, 0x5C, 0x5F):
            assert self.mode == 4, "a register that only configuration mode may change"
        if 0x1F0 <= at < 0x2F0:
            assert not registers[0x1D0 + (at - 0x1F0) // 8] & 0x80, "an active filter is changed"
        if at == 3:
            self.mode = byte & 7
        elif at == 0x51:
            if byte & 2:
                assert byte & 1
                self.transmit()
            return
        elif at == 0x5D:
            before = self.pin()
            if byte & 1 and self.fifo:
                self.fifo.pop(0)
            self.tell(before)
            return
        elif at == 0x60:
            registers[0x60] = byte & 8
            return
        if at < 0x300:
            registers[at] = byte

    def transmit(self):
        head = self.memory[:16]
        low = head[0] | (head[1] & 7) << 8
        frame_id = low
        if head[4] & 0x10:
            frame_id = low << 18 | head[1] >> 3 | head[2] << 5 | (head[3] & 0x1F) << 13 | EXTENDED
        one_shot = self.registers[2] & 1 and not self.registers[0x52] & 0x60
        assert one_shot, "it would be sent again and again"
        result = self.put_on_bus(frame_id, head[8 : 8 + (head[4] & 0x0F)])
        self.registers[0x54] = {"ack": 0, "none": 0x20, "lost": 0x40}[result]

    def came(self, frame_id, data):
        if self.mode not in (3, 6) or self.kbit() != self.bus_kbit or not self.passes(frame_id):
            return
        if len(self.fifo) == (self.registers[0x5F] & 0x1F) + 1:
            self.registers[0x60] |= 8
            self.overflows += 1
            return
        before = self.pin()
        place = 64 + 20 * self.next
        self.next = (self.next + 1) % 32
        number = frame_id & EXTENDED - 1
        low, high, extended = number, 0, 0
        if frame_id & EXTENDED:
            low, high, extended = number >> 18, number & 0x3FFFF, 0x10
        word = low | high << 11
        stamp = self.stamp()
        entry = [word & 0xFF, word >> 8 & 0xFF, word >> 16 & 0xFF, word >> 24, extended | len(data), 0, 0, 0]
        entry += [stamp & 0xFF, stamp >> 8 & 0xFF, stamp >> 16 & 0xFF, stamp >> 24 & 0xFF]
        entry += list(data) + [0xEE] * (8 - len(data))
        self.memory[place : place + 20] = bytes(entry)
        self.fifo.append(place)
        self.tell(before)

    def passes(self, frame_id):
        registers = self.registers
        for n in range(32):
            if not registers[0x1D0 + n] & 0x80:
                continue
            one, mask = [
                registers[at] | registers[at + 1] << 8 | registers[at + 2] << 16 | registers[at + 3] << 24
                for at in (0x1F0 + 8 * n, 0x1F4 + 8 * n)
            ]
            number = frame_id & EXTENDED - 1
            if frame_id & EXTENDED:
                word = number >> 18 | (number & 0x3FFFF) << 11 | 1 << 30
            else:
                word = number
                mask &= 0x400007FF  # eighteen bits are not there to be compared
            if (word ^ one) & mask & 0x5FFFFFFF == 0:
                return True
        return False


class Mcp2515Model(Controller):
    """Two buffers, the second taking what finds the first one full."""

    def __init__(self, crystal_mhz, kbit, _now_us=None):
        Controller.__init__(self, crystal_mhz, kbit)
        self.reset()

    def reset(self):
        self.registers = bytearray(0x80)
        self.mode = 4
        self.taking = -1  # the buffer that is being read
        self.full = [False, False]

    def kbit(self):
        third, second, first = self.registers[0x28:0x2B]
        quanta = 1 + (second & 7) + 1 + (second >> 3 & 7) + 1 + (third & 7) + 1
        return 1000 * self.crystal_mhz / (2 * ((first & 0x3F) + 1) * quanta)

    def sending(self):
        return self.mode == 0

    def pin(self):
        return 0 if self.registers[0x2B] & (self.full[0] | self.full[1] << 1) else 1

    def begin(self):
        self.order = None
        self.taking = -1

    def ended(self):
        if self.taking >= 0:
            before = self.pin()
            self.full[self.taking] = False
            self.tell(before)
            self.taking = -1

    def exchange(self, byte):
        self.seen += 1
        if self.seen == 1:
            self.order = byte
            if byte == 0xC0:
                self.reset()
            elif byte in (0x90, 0x94):
                self.taking = 1 if byte == 0x94 else 0
                self.address = 0x71 if byte == 0x94 else 0x61
            elif byte in _LOADS:
                self.address = 0x31 + 0x10 * _LOADS.index(byte)
                assert not self.registers[self.address - 1] & 8, "a buffer that waits to be sent is filled"
            elif byte >> 3 == 0x10:
                for n in range(3):
                    if byte >> n & 1:
                        self.transmit(0x30 + 0x10 * n)
            return 0xFF
        if self.order == 0xA0:
            waiting = [self.registers[0x30 + 0x10 * n] >> 3 & 1 for n in range(3)]
            return self.full[0] | self.full[1] << 1 | waiting[0] << 2 | waiting[1] << 4 | waiting[2] << 6
        if self.order in (0x90, 0x94) or self.order in _LOADS:
            self.address += 1
            if self.order in _LOADS:
                self.registers[self.address - 1] = byte
                return 0xFF
            return self.registers[self.address - 1]
        if self.seen == 2:
            self.address = byte
            return 0xFF
        if self.order == 0x03:
            self.address += 1
            return self.read(self.address - 1)
        if self.order == 0x02:
            self.write(self.address, byte)
            self.address += 1
        elif self.order == 0x05:
            if self.seen == 3:
                self.mask = byte
            else:
                self.registers[self.address] = self.registers[self.address] & ~self.mask | byte & self.mask
        return 0xFF

    def read(self, at):
        if at == 0x0E:
            return self.mode << 5
        if at == 0x1C:
            return min(self.tec, 255)
        if at == 0x1D:
            return min(self.rec, 255)
        if at == 0x2D:
            return self.registers[at] | (0x20 if self.off else 0)
        return self.registers[at]

    def write(self, at, byte):
        if 0x28 <= at < 0x2B or at in (0x60, 0x70):
            assert self.mode == 4, "a register that only configuration mode may change"
        self.registers[at] = byte
        if at == 0x0F:
            self.mode = byte >> 5

    def go_on(self):
        """The bus is free: what waits is sent."""
        for at in (0x50, 0x40, 0x30):
            if self.registers[at] & 8:
                self.transmit(at)

    def transmit(self, at):
        one = self.registers[at + 1 : at + 14]
        frame_id = one[0] << 3 | one[1] >> 5
        if one[1] & 8:
            frame_id = frame_id << 18 | (one[1] & 3) << 16 | one[2] << 8 | one[3] | EXTENDED
        assert self.registers[0x0F] & 8, "it would be sent again and again"
        result = self.put_on_bus(frame_id, one[5 : 5 + (one[4] & 0x0F)])
        self.registers[at] = {"ack": 0, "none": 0x10, "lost": 0x20, "busy": 8}[result]

    def came(self, frame_id, data):
        if self.mode not in (0, 3) or self.kbit() != self.bus_kbit:
            return
        buffer = 0 if not self.full[0] else 1
        if self.full[buffer]:
            self.registers[0x2D] |= 0x80
            self.overflows += 1
            return
        before = self.pin()
        number = frame_id & EXTENDED - 1
        if frame_id & EXTENDED:
            head = [number >> 21, (number >> 18 & 7) << 5 | 8 | number >> 16 & 3, number >> 8 & 0xFF, number & 0xFF]
        else:
            head = [number >> 3, (number & 7) << 5, 0, 0]
        at = 0x71 if buffer else 0x61
        entry = bytes(head + [len(data)]) + bytes(data) + bytes([0xEE] * (8 - len(data)))
        self.registers[at : at + len(entry)] = entry
        self.full[buffer] = True
        self.tell(before)
