"""Any MicroPython board with machine.ADC, Pin.irq, Timer and an SPI card. Pins are in pin_table.py."""

import os
import select
import sys
import time

import machine
import vfs

import errnos
from boards import config_file, light, volume
from drivers import sdcard
from shared_math import layout, ticks
from store import fatfile

_SLOW_HZ = 400000
_FAST_HZ = 24000000
_DRIVE_SLOTS = 131072  # 64 MB
_PULLS_SLOTS = 16384  # 8 MB
_BITS = 12
_FLASH = "/ring"
_I2C_HZ = 400000
_FILTERED_HZ = 20000  # of the output in volts: 1 kilohm and 10 uF leave half a millivolt of it
_I2C_TIMEOUT_US = 10000


def _nothing():
    return 0


class GenericBoard:
    """The board's interface for the firmware; the same methods as in boards/desk.py."""

    name = "generic"
    proves = True  # the button held at power-on asks for a self-test
    irq_options = {}  # of Pin.irq: a port with hard interrupts says so
    read_us = 0  # of a reading of an external converter, where not as long as drivers/mcp33.py needs
    card_folder = "/card"
    drive_slots = _DRIVE_SLOTS
    pulls_slots = _PULLS_SLOTS

    def __init__(self):
        from boards import pin_table  # the memory of it is given back before the recording begins

        self.pins = pin_table.for_port(sys.platform)
        self.light = light.the_one()  # the lamp's pin: its `pattern` is what is shown
        self.timer = None
        self.buzzer_pin = None
        self.irq_pins = []
        self.bus = None
        self.fitted = None
        self.can = None
        self.raw = config_file.noted()  # why the last start failed: raw counts are recorded then; or None
        self.trouble = None  # name of a fault of the inputs, for the lamp
        self.calls = select.poll()  # of the cable
        self.calls.register(sys.stdin, select.POLLIN)
        self.card = None
        self.waking = None  # a card that is being started
        self.meanwhile = None  # called while the card is waited for or opened: what else has to be done
        self.feed = _nothing  # called once a turn of every loop: keeps a watchdog quiet
        if self.pins["spi"] is None:
            self._use_flash()
            return
        while not self._try_mount():
            pass
        self.light.pattern = light.STARTING

    def _use_flash(self):
        """Without a card: rings on half of the board's own littlefs. Its erasing delays interrupts by 45 ms."""
        self.card_folder = _FLASH
        if not fatfile.exists(_FLASH):
            os.mkdir(_FLASH)
        space = os.statvfs(_FLASH)
        slots = space[1] * space[2] // layout.SLOT  # of the whole volume: the same at every start
        self.drive_slots = slots * 3 // 8
        self.pulls_slots = slots // 8

    def _try_mount(self):
        """Whether the card can be used; if not, the lamp shows why."""
        try:
            self.remount()
        except OSError as error:
            self.light.pattern = light.NO_VOLUME if error.errno == errnos.EMEDIUMTYPE else light.NO_CARD
            return False
        return True

    def open_card(self):
        """The card as a block device that must still be started by `wake`."""
        pins = self.pins["spi"]
        spi = machine.SPI(
            pins["id"],
            baudrate=_SLOW_HZ,
            sck=machine.Pin(pins["sck"]),
            mosi=machine.Pin(pins["mosi"]),
            miso=machine.Pin(pins["miso"]),
        )
        select = machine.Pin(pins["cs"], machine.Pin.OUT, value=1)
        return sdcard.SdCard(spi, select, lambda fast: spi.init(baudrate=_FAST_HZ if fast else _SLOW_HZ), self.rest)

    def rest(self, waiting):
        """Called by the card's driver before each access and repeatedly while it waits."""
        if self.meanwhile:
            self.meanwhile()
        if waiting:
            time.sleep_ms(1)

    def medium(self):
        """The medium that holds the rings."""
        if self.pins["spi"] is None:
            from store import segments

            return segments.SegmentCard(self.card_folder)
        return fatfile.FatCard(self.card_folder, self.card)

    def card_ready(self):
        """Whether the card can take a write without waiting for an earlier one."""
        return self.card is None or self.card.ready()

    def remount(self):
        """Start the card again and wait for it: `let_go`, `wake_card`, `mount`. Raises OSError without a card."""
        self.let_go()
        while not self.wake_card():
            pass
        self.mount()

    def mounted(self):
        """Whether a card's volume is available."""
        return self.card is not None

    def let_go(self):
        """Release the card, so that no open file can touch it or another card any more."""
        if self.card:
            self.card.retired = True
            self.card = None
            vfs.umount(self.card_folder)

    def wake_card(self):
        """One short step of starting the card; True once it can be used. Raises OSError if no card answers: call
        again."""
        if self.pins["spi"] is None:
            return True
        if self.card:
            return self.card.wake()
        if self.waking is None:
            self.waking = self.open_card()
        return self.waking.wake()

    def mount(self):
        """Make the started card's volume available. Raises OSError if it has no readable volume."""
        if self.waking:
            card = self.waking
            self.waking = None
            volume.mount(card, self.card_folder)
            self.card = card

    def ticks_us(self):
        """Microseconds, wrapping at 2^30 (the ports' own ticks may wrap elsewhere)."""
        return time.ticks_us() & ticks.MASK

    def entropy(self, count):
        """`count` random bytes for a ring id."""
        return os.urandom(count)

    def utc(self):
        """The clock, or None: a board without battery starts in the past."""
        now = time.gmtime()
        if now[0] < 2025:
            return None
        return "%04d-%02d-%02dT%02d:%02d:%02dZ" % now[:6]

    def called(self):
        """Whether the PC has sent something over the cable."""
        for _ in self.calls.ipoll(0):
            return True
        return False

    def console(self):
        """(source, sink) of the cable's bytes."""
        return sys.stdin.buffer, sys.stdout.buffer

    def set_utc(self, year, month, day, weekday, hour, minute, second):
        """Set the clock; whether there is one. weekday: 0 is Monday."""
        machine.RTC().datetime((year, month, day, weekday, hour, minute, second, 0))
        return True

    def read_config(self):
        """The text of logger.json on the card, else of that on the board's flash, else None."""
        return config_file.text_of(self.card_folder) or config_file.text_of(".")

    def configure(self, config):
        """Take the configuration; called before any input is requested."""
        self.reference_v = config.get("reference_v", self.pins["reference_v"])
        if [one for one in config["channels"] if one.get("input", "a")[0] in "xy"]:
            from boards.fitted import Fitted

            self.fitted = Fitted(config, self.pins, self.i2c, self.ticks_us, self.read_us)

    def converter(self, name):
        """(bits, volts from the lowest to the highest count, skew in microseconds) of an analog input."""
        if self.fitted and name[0] != "a":
            return self.fitted.converter(name)
        return self.own_converter(name)

    def own_converter(self, _name):
        """converter() for the board's own converter."""
        return _BITS, self.reference_v, 0

    def reader(self, channel):
        """A function without arguments that returns the channel's present counts."""
        name = channel["input"]
        if self.fitted and name[0] != "a":
            return self.fitted.reader(name)
        pin = self.pin("analog", name)
        return self.own_reader(pin) if pin is not None else _nothing

    def own_reader(self, pin):
        """reader() for a pin of the board's own converter."""
        read = machine.ADC(machine.Pin(pin)).read_u16
        return lambda: read() >> 4

    def together(self, parts):
        """The sources of the row's columns, (column, kind, source) as in acquire/rows.py; a board may combine some."""
        return parts

    def age(self, channel):
        """A function without arguments: milliseconds since the value held for a slow channel was measured."""
        return self.fitted.age(channel["input"])

    def pin(self, group, name):
        """The number of the pin that an input is wired to; None, which is a fault, if the board has no such input."""
        pin = self.pins[group].get(name)
        if pin is None:
            self.trouble = "input_missing"
        return pin

    def level(self, channel):
        """A function without arguments that reads a digital input: 0 or 1."""
        pin = self.pin("digital", channel["input"])
        if pin is None:
            return _nothing
        level = machine.Pin(pin, machine.Pin.IN).value
        return level if channel["polarity"] == "high" else lambda: 1 - level()

    def tach(self, channel, limit_us):
        """The counter of a pulse input's edges; an edge within `limit_us` of the last accepted one is rejected."""
        from acquire import tach

        counter = tach.Tach(limit_us)
        if self.pin("pulse", channel["input"]) is not None:
            self.on_edges(channel, counter)
        return counter

    def on_edges(self, channel, counter):
        """Call `counter.edge(tick)` from now on at every edge of the channel's polarity."""
        edge = counter.edge
        now = time.ticks_us
        pin = machine.Pin(self.pins["pulse"][channel["input"]], machine.Pin.IN)
        falling = channel["polarity"] == "falling"
        which = machine.Pin.IRQ_FALLING if falling else machine.Pin.IRQ_RISING
        pin.irq(lambda _pin: edge(now() & ticks.MASK), which, **self.irq_options)
        self.irq_pins.append(pin)

    def pulse(self, channel, limit_us):
        """The object that measures how long a pulse input is on; times shorter than `limit_us` are ringing."""
        from acquire import pulse

        counter = pulse.Pulse(limit_us)
        number = self.pin("pulse", channel["input"])
        if number is not None:
            change = counter.change
            now = time.ticks_us
            level = 1 if channel["polarity"] == "high" else 0
            pin = machine.Pin(number, machine.Pin.IN)
            both = machine.Pin.IRQ_RISING | machine.Pin.IRQ_FALLING
            pin.irq(lambda p: change(p.value() == level, now() & ticks.MASK), both, **self.irq_options)
            self.irq_pins.append(pin)
        return counter

    def on_button(self, button):
        """Call `button.change(pressed, tick)` from now on at every edge of the button, which pulls to ground."""
        change = button.change
        now = time.ticks_us
        pin = machine.Pin(self.pins["button"], machine.Pin.IN, machine.Pin.PULL_UP)
        button.level = lambda: not pin.value()
        both = machine.Pin.IRQ_RISING | machine.Pin.IRQ_FALLING
        pin.irq(lambda p: change(not p.value(), now() & ticks.MASK), both, **self.irq_options)
        self.irq_pins.append(pin)

    def start_timer(self, period_us, handler):
        """Call `handler` every `period_us`; returns None, which means that the first call starts the grid."""
        self.timer = machine.Timer(-1)
        self.timer.init(freq=1000000 / period_us, mode=machine.Timer.PERIODIC, callback=handler)

    def stop_timer(self):
        """Stop calling the handler."""
        self.timer.deinit()

    def idle(self):
        """Let time pass until something happens."""
        machine.idle()

    def wait(self, queue, enough):
        """Wait until `enough` rows are in the queue; returns whether they are. Edges alone don't end the wait."""
        idle = machine.idle
        idle()
        while (queue.head - queue.tail) & ticks.MASK < enough:
            idle()
        return True

    def powered(self):
        """Whether the supply is still there; this board has no way to know that it is about to fail."""
        return True

    def screen(self):
        """The screen, or None if none is wired or none answers."""
        pins = self.pins.get("screen")
        if pins is None:
            return None
        from drivers import oled

        return oled.open_on(self.i2c())

    def i2c(self):
        """The bus that the screen and slow converters share; both are used from the main loop alone."""
        if self.bus is None:
            pins = self.pins["screen"]
            sda, scl = machine.Pin(pins["sda"]), machine.Pin(pins["scl"])
            self.bus = machine.I2C(pins["id"], sda=sda, scl=scl, freq=_I2C_HZ, timeout=_I2C_TIMEOUT_US)
        return self.bus

    def loop(self):
        """Once a turn of the main loop while recording."""
        if self.fitted and self.fitted.step():
            self.trouble = "converter_silent"

    def bus_port(self, plan):
        """The controller of the car's bus: drivers/can_frame.py. plan: bus.plan.BusPlan."""
        if self.can is None:
            from boards import fitted

            self.can = fitted.bus_port(plan, self)
        return self.can

    def buzzer(self, on):
        """Turn the buzzer on or off; called only if one is configured."""
        if self.buzzer_pin is None:
            self.buzzer_pin = machine.Pin(self.pins["buzzer"], machine.Pin.OUT, value=0)
        self.buzzer_pin.value(on)

    def output(self, what, value):
        """A known signal for a loop-back wire: `what` is "hz", or "mv" on the pin before the wire's filter; 0 ends it.
        Whether the board has such an output free."""
        number = (self.pins.get("bench") or {}).get(what)
        if number is None or (self.fitted and number in self.pins["converter_spi"].values()):
            return False
        out = machine.PWM(machine.Pin(number))
        if not value:
            out.deinit()
        elif what == "hz":
            out.freq(value)
            out.duty_u16(32768)
        else:
            out.freq(_FILTERED_HZ)
            out.duty_u16(min(65535, int(value * 65.536 / self.pins["reference_v"])))
        return True

    def watch(self):
        """Start the watchdog; from now on `feed` is called at least every 8 s. There is none here, since a watchdog
        that can't be stopped again, as on most ports, would interrupt copying files over USB."""

    def unwatch(self):
        """Stop the watchdog for longer work or for the prompt."""

    def restart(self):
        """Begin again as after power-on: another card may be in."""
        machine.reset()

    reset = restart

    def begin_raw(self, words):
        """Begin again as after power-on, without what logger.json asks for. words: why."""
        config_file.note(words)
        machine.reset()

    def end(self):
        """Never called, since power fails without warning."""
