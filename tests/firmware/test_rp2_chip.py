"""RP2040 and RP2350: which one it is, and that drivers touch the registers of that one alone. Runs under MicroPython.

No emulator of an RP2350 is at hand: the addresses here are written a second time from its data sheet's address map.
"""

import struct
import sys
from array import array

import boards

RP2040_SAYS = "RPI_PICO with RP2040"
RP2350_SAYS = "RPI_PICO2 with RP2350"
ADC, ADC_END = {"rp2": 0x4004C000, "rp2350": 0x400A0000}, 0x28
DREQ = {"rp2": 36, "rp2350": 48}
TIMERAWL = {"rp2": 0x40054028, "rp2350": 0x400B0028}
SPIS = {"rp2": (0x4003C000, 0x40040000), "rp2350": (0x40080000, 0x40088000)}
PINS_HIGH_LOW = {"rp2": (0xD0000014, 0xD0000018), "rp2350": (0xD0000018, 0xD0000020)}
WATCHDOG_CTRL_CLEAR = {"rp2": 0x4005B000, "rp2350": 0x400DB000}


class Registers:
    """mem32: remembers what was written where."""

    def __init__(self):
        self.written = {}

    def __getitem__(self, address):
        return self.written.get(address, 0)

    def __setitem__(self, address, value):
        self.written[address] = value


class Dma:
    """rp2.DMA: remembers how it was set up."""

    made = []

    def __init__(self):
        self.channel = len(Dma.made)
        self.control = self.settings = None
        Dma.made.append(self)

    def pack_ctrl(self, **control):
        self.control = control
        return 0

    def config(self, **settings):
        self.settings = settings


class Machine:
    def __init__(self):
        self.mem32 = Registers()

    @staticmethod
    def Pin(number, *_):
        return number

    @staticmethod
    def ADC(pin):
        return pin


class Rp2:
    DMA = Dma


def converter(name):
    """(Converter of that chip, its machine) with drivers loaded anew."""
    for module in [one for one in sys.modules if one.startswith("drivers")]:
        sys.modules.pop(module)
    machine = Machine()
    sys.modules["machine"], sys.modules["rp2"] = machine, Rp2
    Dma.made = []
    from drivers import rp2_adc, rp2_chip

    return rp2_adc.Converter(rp2_chip.of(name), 200), machine


def test_the_board_is_known_by_what_its_port_says():
    assert boards.name_of("rp2", RP2040_SAYS) == "rp2"
    assert boards.name_of("rp2", RP2350_SAYS) == "rp2350"
    assert boards.name_of("rp2", "a later chip") == "generic"
    assert boards.name_of("esp32", "Generic ESP32 module with ESP32") == "esp32"
    assert boards.name_of("stm32", "a board") == "generic"
    assert boards.name_of("linux", "linux [GCC] version") == "desk"


def test_the_converter_is_set_up_at_the_chips_own_address():
    for name in ("rp2", "rp2350"):
        made, machine = converter(name)
        assert machine.mem32.written
        assert all(ADC[name] <= address < ADC[name] + ADC_END for address in machine.mem32.written)
        filling = Dma.made[0]
        assert filling.control["treq_sel"] == DREQ[name]
        assert filling.settings["read"] == ADC[name] + 0x0C
        machine.mem32[ADC[name] + 0x08] = 0
        assert not made.overflown()
        machine.mem32[ADC[name] + 0x08] = 1 << 11
        assert made.overflown()


def test_timer_and_watchdog_are_the_chips_own():
    from drivers import rp2_chip

    for name in ("rp2", "rp2350"):
        chip = rp2_chip.of(name)
        assert chip.timer_raw == TIMERAWL[name] and chip.watchdog_clear == WATCHDOG_CTRL_CLEAR[name]
        assert chip.spis == SPIS[name] and (chip.pins_high, chip.pins_low) == PINS_HIGH_LOW[name]


def test_stamps_start_on_the_timer_that_is_given():
    from drivers import viper_edges

    control, timer = array("I", [0]), array("I", [0x7FFFFFF1])
    assert viper_edges.go(control, 4, timer) == 0x3FFFFFF1 and control[0] == 4


def test_edges_keep_their_times_at_150_mhz():
    """An RP2350 runs at 150 MHz: an edge 3 ms before the row has an age of 3000 us."""
    from drivers import viper_edges

    ring, left = bytearray(4 * 32), array("I", [0])
    edges = viper_edges.EdgeRing(ring, left, 100, 150, 4, 0)
    struct.pack_into("<I", ring, 0, 7000 * 150 // 2)  # steps of two cycles: 7 ms after the start
    left[0] = 0xFFFFFFFF  # one word fewer to come
    row = array("i", [0] * 3)
    edges.put(row, 0, 10000)
    assert list(row) == [1, 3000, 0]
