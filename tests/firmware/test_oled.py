"""The screen's driver against a model of the controller, by the command table of its data sheet. Under MicroPython."""

import micropython

from drivers import oled

# Command -> bytes that follow it (SSD1306 data sheet, command table)
FOLLOW = {0x20: 1, 0x21: 2, 0x22: 2, 0x81: 1, 0x8D: 1, 0xA8: 1, 0xD3: 1, 0xD5: 1, 0xD9: 1, 0xDA: 1, 0xDB: 1}


class Controller:
    """Display memory of 8 pages of 128 columns, horizontal addressing; on the bus at one address while plugged in."""

    def __init__(self, address=0x3C):
        self.address = address
        self.plugged = True
        self.transfers = 0
        self.longest = 0
        self.fresh()

    def fresh(self):
        """As after power-on: page addressing, off, memory undefined."""
        self.memory = bytearray([0xA5] * 1024)
        self.mode = 2
        self.on = self.pump = self.flipped = self.upside = False
        self.columns = (0, 127)
        self.pages = (0, 7)
        self.column = self.page = 0
        self.lines = None

    def writeto(self, address, data):
        if not self.plugged or address != self.address:
            raise OSError(5)
        self.transfers += 1
        self.longest = max(self.longest, len(data))
        if data[0] == 0x40:
            for byte in data[1:]:
                self.put(byte)
            return
        assert data[0] == 0x00
        at = 1
        while at < len(data):
            code = data[at]
            count = FOLLOW.get(code, 0)
            self.command(code, data[at + 1 : at + 1 + count])
            at += 1 + count
        assert at == len(data)

    def command(self, code, more):
        if code == 0x20:
            self.mode = more[0] & 3
        elif code == 0x21:
            self.columns = (more[0], more[1])
            self.column = more[0]
        elif code == 0x22:
            self.pages = (more[0], more[1])
            self.page = more[0]
        elif code in (0xAE, 0xAF):
            self.on = code == 0xAF
        elif code == 0x8D:
            self.pump = more[0] == 0x14
        elif code in (0xA0, 0xA1):
            self.flipped = code == 0xA1
        elif code in (0xC0, 0xC8):
            self.upside = code == 0xC8
        elif code == 0xA8:
            self.lines = more[0] + 1
        else:
            assert code in FOLLOW or code in (0x2E, 0xA4, 0xA6) or 0x40 <= code <= 0x7F, hex(code)

    def put(self, byte):
        assert self.mode == 0  # horizontal
        self.memory[128 * self.page + self.column] = byte
        self.column += 1
        if self.column > self.columns[1]:
            self.column = self.columns[0]
            self.page += 1
            if self.page > self.pages[1]:
                self.page = self.pages[0]


def shown(frame):
    for turns in range(1, 3000):
        if frame.send():
            return turns
    raise AssertionError("never shown")


def bits(frame):
    return bytes(
        [sum([frame.pixel(x, 8 * page + bit) << bit for bit in range(8)]) for page in range(8) for x in range(128)]
    )


def test_what_is_drawn_stands_in_the_controller():
    bus = Controller()
    frame = oled.open_on(bus)
    assert bus.on and bus.pump and bus.flipped and bus.upside and bus.lines == 64
    for n in range(3):
        frame.fill(0)
        frame.text("turn %d" % n, 10 * n, 17)
        frame.line(0, 0, 127, 63 - n, 1)
        assert shown(frame) == (32 if n == 0 else 33)
        assert bytes(bus.memory) == bits(frame)


def test_no_transfer_is_longer_than_a_piece():
    bus = Controller()
    frame = oled.open_on(bus)
    for _ in range(3):
        shown(frame)
    assert bus.longest == 33


def test_other_address_and_no_screen():
    assert oled.open_on(Controller(0x3D)).address == 0x3D
    assert oled.open_on(Controller(0x51)) is None


def test_a_screen_that_is_pulled_off_and_put_on_again():
    bus = Controller()
    frame = oled.open_on(bus)
    frame.text("before", 0, 0)
    shown(frame)
    bus.plugged = False
    frame.send()
    before = bus.transfers
    for _ in range(400):
        assert not frame.send()
    assert bus.transfers == before
    bus.plugged = True
    bus.fresh()
    frame.text("after", 0, 20)
    shown(frame)
    assert bus.on and bytes(bus.memory) == bits(frame)


def test_a_disturbed_address_is_right_again_with_the_next_picture():
    bus = Controller()
    frame = oled.open_on(bus)
    shown(frame)
    bus.column, bus.page = 77, 3
    frame.text("right again", 0, 30)
    shown(frame)
    assert bytes(bus.memory) == bits(frame)


class Deaf:
    def writeto(self, _address, _data):
        pass


def test_a_piece_allocates_a_slice_at_most():
    import gc

    frame = oled.open_on(Deaf())
    shown(frame)
    gc.collect()
    gc.threshold(-1)
    before = gc.mem_alloc()
    for _ in range(320):
        frame.send()
    assert gc.mem_alloc() - before <= 320 * 64, gc.mem_alloc() - before
    print((gc.mem_alloc() - before) / 320, "bytes a piece")


def test_a_refused_transfer_is_no_error_in_a_locked_heap():
    bus = Controller()
    frame = oled.open_on(bus)
    frame.rest = 5
    micropython.heap_lock()
    try:
        for _ in range(5):
            frame.send()
    finally:
        micropython.heap_unlock()
    assert frame.rest == 0
