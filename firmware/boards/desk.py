"""The desk board: the same firmware on a PC, under MicroPython's unix port, in virtual time, fed by signal files.

The PC side has compiled the signals (host/ringpull/dryrun/signals.py): analog inputs as they stand at the converter's
pin behind divider and filter, in 65536ths of its range; edges and button changes as one list in time order. This
board adds converter noise and quantisation, and calls the firmware's handlers when their virtual time has come.
"""

import gc
import json
import os
import select
import struct
import sys
import time
from array import array

import vfs

from acquire import tach
from boards import config_file, desk_card, volume
from boards.desk_clock import DeskClock
from shared_math import ticks
from shared_math.compat import const
from store import fatfile

_FRAMES = const(16)  # analog frames held at once
_EVENTS = const(32)
_FOREVER = const(1 << 60)
_BITS = const(12)
_REFERENCE_V = 3.3
_TELL_US = const(10000000)  # progress is told on standard output
_SCHEDULED = const(8)  # interrupts that a port without hard ones keeps until the write is over; the rest are dropped
_FALLS = const(0x40)  # in an event: the input goes low
_RESET = const(64)  # exit code
_PRESS = const(254)
_RELEASE = const(255)


class Dark:
    """A lamp that nobody sees: what it is to show is in the ring file."""

    pattern = None


class DeskBoard:
    """What every board offers: see the public methods. The job is told by the file that RINGPULL_DESK names."""

    name = "desk"
    proves = False  # see boards/desk_bench.py
    card_folder = "/card"

    def __init__(self):
        with open(os.getenv("RINGPULL_DESK")) as f:
            job = json.load(f)
        self.job = job
        self.now = 0  # microseconds since power-on
        self.restarted = -1
        self.tick_base = job["tick_base"]
        self.end_us = job["end_us"]
        self.drive_slots = job["drive_slots"]
        self.pulls_slots = job["pulls_slots"]
        self.tell_at = _TELL_US
        self.period_us = 0
        self.timer_at = _FOREVER
        self.handler = None
        self.button = None
        self.held_down = False
        self.tachs = {}
        self.pulses = {}
        self.on_at = {}  # event -> whether it puts that pulse input on
        self.fitted = None
        self.trouble = None
        self.cable = open(job["console"], "r+b") if job.get("console") else None
        if self.cable:
            __import__("cable.talk")  # compiling it takes more memory than is left later; a board has it compiled
        self.clock = DeskClock(job["utc"], job.get("paced", 0))
        self.raw = config_file.noted()  # why the last start failed, or None
        self.light = Dark()
        self.meanwhile = None  # called while the card is waited for or opened
        self.socket = None
        self.car = None  # the bus controller
        self.waking = None
        self.disk = desk_card.DeskCard(job["image"], job["sectors"], self)
        if job["format"]:
            vfs.VfsFat.mkfs(self.disk)  # pyright: ignore[reportArgumentType]
        if job.get("format_also"):
            vfs.VfsFat.mkfs(desk_card.FileDisk(job["format_also"], job["sectors"]))  # pyright: ignore[reportArgumentType]
        volume.mount(self.disk, self.card_folder)
        if job["config"]:
            desk_card.copy_file(job["config"], self.card_folder + "/logger.json")
        self._open_signals()

    # ---- what the firmware calls -------------------------------------------------------------------------------

    def ticks_us(self):
        """Microseconds, wrapping at 2^30."""
        return (self.tick_base + self.now) & ticks.MASK

    def entropy(self, count):
        """So many bytes for a ring id: on the desk the same for the same job."""
        number = self.job["seed"]
        out = bytearray(count)
        for n in range(count):
            number = (number * 1103515245 + 12345) & 0x3FFFFFFF
            out[n] = (number >> 16) & 0xFF
        return bytes(out)

    def utc(self):
        """Wall clock as it was set, else at power-on, or None."""
        return self.clock.utc(self.now)

    def read_config(self):
        """The text of the card's logger.json, or None."""
        return config_file.text_of(self.card_folder)

    def medium(self):
        """Where the rings are kept."""
        return fatfile.FatCard(self.card_folder, self.disk)

    def card_ready(self):
        """Whether the card takes a write without waiting for an earlier one."""
        return self.disk.ready()

    def remount(self):
        """Take the card anew and wait for it: `let_go`, `wake_card`, `mount`. OSError without a card."""
        self.let_go()
        while not self.wake_card():
            pass
        self.mount()

    def mounted(self):
        """Whether a card's volume is available."""
        return self.disk is not None

    def let_go(self):
        """Leave the card alone: what held files of it must not touch it, or another one, any more."""
        if self.disk:
            self.disk.retired = True
            self.disk = None
            vfs.umount(self.card_folder)

    def wake_card(self):
        """One short step of starting the card, mounted or not; True when it can be used. OSError where none answers:
        call it again."""
        if self.disk:
            return self.disk.wake()
        if self.waking is None:
            path = self.socket.path if self.socket else self.job["image"]
            self.waking = desk_card.DeskCard(path, self.job["sectors"], self, self.socket)
        return self.waking.wake()

    def mount(self):
        """Make the started card's volume available. OSError where it has none that can be read."""
        disk = self.waking
        self.waking = None
        volume.mount(disk, self.card_folder)
        self.disk = disk

    def configure(self, config):
        """The configuration in force, before any input is asked for."""
        self.reference_v = config.get("reference_v", _REFERENCE_V)
        if [one for one in config["channels"] if one.get("input", "a")[0] in "xy"]:
            from boards.desk_converters import DeskConverters

            self.fitted = DeskConverters(config["converters"], self)

    def converter(self, name):
        """(bits, volts from the lowest to the highest count, skew in microseconds) of an analog input."""
        if self.fitted and name[0] != "a":
            return self.fitted.converter(name, self.reference_v)
        return _BITS, self.reference_v, 0

    def reader(self, channel):
        """A function without arguments that gives the channel's counts: measured now, or the last that was held."""
        if self.fitted and channel["input"][0] != "a":
            return self.fitted.reader(channel)
        return self.sampler(channel, _BITS, 0, 0)

    def together(self, parts):
        """What fills the row's columns: see boards/generic.py."""
        return parts

    def age(self, channel):
        """A function without arguments: milliseconds since the value held for a slow channel was measured."""
        return self.fitted.age(channel)

    def loop(self):
        """Once a turn of the main loop while recording."""
        if self.fitted:
            self.fitted.loop()

    def sampler(self, channel, bits, quiet, zero):
        """Reads the channel's signal in `bits`; quiet: halvings of the noise; zero: what stands for 0 V in 16 bits."""
        names = self.job["analog"]
        shift = 16 - bits
        top = (1 << bits) - 1
        half = (1 << shift) >> 1 if zero else 0  # signed converters round, others cut off
        convert = self._convert
        if channel["name"] not in names:
            return lambda: convert(zero + half, shift, top, quiet)
        at = names.index(channel["name"])

        def read():
            if self.now != self.sought:
                self._seek()
            frames = self.frames
            here = self.frame_at + at
            value = frames[here]
            if self.part:
                value += (frames[here + self.width] - value) * self.part // self.frame_us
            return convert(value + half, shift, top, quiet)

        return read

    def level(self, channel):
        """A function without arguments that reads a digital input: 0 or 1."""
        read = self.sampler(channel, _BITS, 0, 0)
        half = 1 << (_BITS - 1)
        high = 1 if channel["polarity"] == "high" else 0
        return lambda: high if read() > half else 1 - high

    def tach(self, channel, limit_us):
        """What counts the edges of a pulse input; an edge within `limit_us` of the last accepted one is refused."""
        counter = tach.Tach(limit_us)
        self.on_edges(channel, counter)
        return counter

    def on_edges(self, channel, counter):
        """From now on `counter.edge(tick)` is called at every rising edge of the channel's input."""
        names = self.job["pulses"]
        if channel["name"] in names:
            self.tachs[names.index(channel["name"])] = counter

    def pulse(self, channel, limit_us):
        """What measures how long a pulse input is on; what is shorter than `limit_us` is ringing."""
        from acquire import pulse

        counter = pulse.Pulse(limit_us)
        names = self.job["pulses"]
        if channel["name"] in names:
            at = names.index(channel["name"])
            self.pulses[at] = self.pulses[at | _FALLS] = counter
            self.on_at[at] = channel["polarity"] == "high"
            self.on_at[at | _FALLS] = channel["polarity"] == "low"
        return counter

    def on_button(self, button):
        """From now on `button.change(pressed, tick)` is called at every edge of the button."""
        self.button = button
        button.level = lambda: self.held_down

    def called(self):
        """Whether somebody speaks on the cable."""
        if self.cable is None:
            return False
        poll = select.poll()
        poll.register(self.cable, select.POLLIN)
        return bool(poll.poll(0))

    def console(self):
        """(source, sink) of the cable's bytes."""
        return self.cable, self.cable

    def set_utc(self, *date):
        """Set the clock; whether there is one."""
        return self.clock.set_to(date, self.now)

    def start_timer(self, period_us, handler):
        """Call `handler` at a grid of `period_us`; returns the tick of the first call."""
        self.period_us = period_us
        self.handler = handler
        self.timer_at = self.now
        if self.job["card"] and not self.socket:
            self.socket = desk_card.Socket(self.job["card"], self.job["image"])
            self.disk.socket = self.socket
        return self.ticks_us()

    def stop_timer(self):
        """No more calls."""
        self.timer_at = _FOREVER

    def idle(self):
        """Let time pass until something happens: here, to the next grid tick."""
        tick_at = self.timer_at
        if tick_at == _FOREVER:
            tick_at = self.now + 10000
        if tick_at > self.end_us:
            tick_at = self.end_us + 1
        time.sleep_ms(self.clock.ahead_ms(tick_at))
        if self.car:
            self.car.advance(tick_at)
        while self.event_us <= tick_at:
            self._event()
        self.now = tick_at
        if self.socket:
            self.socket.turn(tick_at)
        if tick_at >= self.tell_at:
            print(tick_at // 1000000)
            self.tell_at += _TELL_US
        if tick_at == self.timer_at:
            self._tick()

    def wait(self, queue, enough):
        """Let time pass until something happens, for 0 rows until nothing; whether `enough` rows wait then."""
        if enough or not self.clock.ahead_ms(self.timer_at):
            self.idle()
        return (queue.head - queue.tail) & ticks.MASK >= enough

    def powered(self):
        """Whether the supply is still there. On the desk it fails, with warning, when the signals end."""
        return self.now <= self.end_us

    def screen(self):
        """The screen to draw on, or None: a desk has none."""

    def bus_port(self, _plan):
        """The controller of the car's bus: drivers/can_frame.py."""
        from boards import desk_bus

        self.car = self.car or desk_bus.DeskBus(self, self.job.get("bus"))
        return self.car

    def buzzer(self, _on):
        """There is none on a desk."""

    def watch(self):
        """There is no watchdog on a desk."""

    feed = unwatch = watch

    def restart(self):
        """Begin again with the same card: the desk cannot reset itself."""
        if self.now == self.restarted:
            raise RuntimeError("no recording lasts")
        self.restarted = self.now
        self._forget()
        while True:
            try:
                self.remount()
                return
            except OSError:
                pass

    def _forget(self):
        """Let go of what the recording held: on a small heap the next one, or the copies of `end`, need its room."""
        self.handler = None
        self.tachs = {}
        self.pulses = {}
        gc.collect()

    def begin_raw(self, words):
        """Begin again as after power-on, without what logger.json asks for: the PC starts it anew. words: why."""
        config_file.note(words)
        sys.exit(_RESET)

    def end(self):
        """Power is gone: hand the card's files to the PC as they stand on the volume."""
        self._forget()
        path = self.socket.path if self.socket else self.job["image"]
        self.let_go()
        self.socket = None
        self.waking = desk_card.DeskCard(path, self.job["sectors"], self)  # whatever became of it, the PC reads it
        self.mount()
        desk_card.copy_files(self.card_folder, self.job["out"])
        vfs.umount(self.card_folder)

    # ---- signals -----------------------------------------------------------------------------------------------

    def _open_signals(self):
        job = self.job
        self.width = len(job["analog"])
        self.frame_us = job["frame_us"]
        self.frames = array("H", bytes(2 * self.width * _FRAMES)) if self.width else None
        self.analog_file = open(job["analog_file"], "rb")
        self.first_frame = -_FRAMES
        self.sought = -1
        self.frame_at = 0
        self.part = 0
        self.events_file = open(job["events_file"], "rb")
        self.events = bytearray(8 * _EVENTS)
        self.event_at = self.events_held = 0
        self.event_us = 0
        self._next_event()
        with open(job["noise_file"], "rb") as f:
            self.noise = array("h", f.read())
        self.noise_mask = len(self.noise) - 1
        self.random = self.write_random = job["seed"] & 0x3FFFFFFF

    def _seek(self):
        """Make the frame at or before now the current one."""
        self.sought = self.now
        frame = self.now // self.frame_us
        self.part = self.now - frame * self.frame_us
        if not self.first_frame <= frame < self.first_frame + _FRAMES - 1:
            frame_bytes = 2 * self.width
            self.analog_file.seek(frame * frame_bytes)
            self.analog_file.readinto(self.frames)  # the file is padded, so always whole
            self.first_frame = frame
        self.frame_at = (frame - self.first_frame) * self.width

    def _convert(self, value, shift, top, quiet):
        self.random = (self.random * 1103515245 + 12345) & 0x3FFFFFFF
        counts = (value + (self.noise[(self.random >> 12) & self.noise_mask] >> quiet)) >> shift
        if counts < 0:
            return 0
        return counts if counts < top else top

    def _tick(self):
        self.timer_at += self.period_us
        self.handler(None)

    # ---- a slow card -------------------------------------------------------------------------------------------

    def wrote(self, card):
        """While recording, every write takes a random time if the job asks for it: the job's `slow` is null or
        {"most_us": longest write, "hard": whether the port runs its interrupts meanwhile, or after it}."""
        slow = self.job["slow"]
        if not slow or self.timer_at == _FOREVER:
            return
        if slow["hard"]:
            card.busy_until = self._write_ends()
        else:
            self._write_soft()

    def passes(self, us):
        """Let so much time pass while the main loop does something else than waiting for rows: interrupts run on."""
        end = min(self.now + us, self.end_us + 1)  # the power that fails does not wait for the card
        if self.car:
            self.car.advance(end)
        while True:
            at = min(self.timer_at, self.event_us)
            if at > end:
                break
            if at == self.event_us:
                self._event()
            else:
                self.now = at
                self._tick()
        self.now = max(end, self.now)
        if self.socket:
            self.socket.turn(self.now)

    def _write_ends(self):
        self.write_random = (self.write_random * 1103515245 + 12345) & 0x3FFFFFFF
        return min(self.now + (self.write_random >> 10) * self.job["slow"]["most_us"] // 0xFFFFF, self.end_us + 1)

    def _write_soft(self):
        end = self._write_ends()
        kept = []  # never more than a port keeps: a longer list would not fit into a small heap
        levels = {}  # of each input as its last change left it: what a handler that runs later finds at the pin
        while True:
            at = min(self.timer_at, self.event_us)
            if at > end:
                break
            which = -1
            if at == self.event_us:
                which = self.event_input
                if which == _PRESS or which == _RELEASE:
                    self.held_down = which == _PRESS
                else:
                    levels[which & ~_FALLS] = which
                self._next_event()
            else:
                self.timer_at += self.period_us
            if len(kept) < _SCHEDULED:
                kept.append(which)
        self.now = end
        for which in kept:
            if which < 0:
                self.handler(None)
            elif which == _PRESS or which == _RELEASE:
                self.button.change(self.held_down, self.ticks_us())
            else:
                self._deliver(levels[which & ~_FALLS])

    def _next_event(self):
        if self.event_at >= self.events_held:
            self.events_held = self.events_file.readinto(self.events) // 8
            self.event_at = 0
            if not self.events_held:
                self.event_us = _FOREVER
                return
        word = struct.unpack_from("<Q", self.events, 8 * self.event_at)[0]
        self.event_at += 1
        self.event_us = word >> 8
        self.event_input = word & 0xFF

    def _event(self):
        self.now = self.event_us
        self._deliver(self.event_input)
        self._next_event()

    def _deliver(self, which):
        if which == _PRESS or which == _RELEASE:
            self.held_down = which == _PRESS
            self.button.change(self.held_down, self.ticks_us())
        elif which in self.tachs:
            self.tachs[which].edge(self.ticks_us())
        elif which in self.pulses:
            self.pulses[which].change(self.on_at[which], self.ticks_us())
