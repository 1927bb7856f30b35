"""One recording on the emulated board, and everything that is known about it: from its card, and from outside."""

from __future__ import annotations

import json
import math
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import board_files
import bus_rig
import chip
import numpy as np
import parts

from ringpull.device import firmware_build

TACH_GPIO = 15
BUTTON_GPIO = 13
LAMP_GPIO = 12
BUZZER_GPIO = 7
SD_CS = 17
CONVERTER_CS = 9
BUSY_US = 1000
LOSE_S = 1.2  # in which answers of the car are lost, once its rates were measured


@dataclass
class Setup:
    """What is to be run. modules: texts that replace modules of the firmware, by their path without .py.

    stall_every_s 0: the card never stalls. seconds: of recording that are measured. on_flash: there is no card, the
    board records on its own flash; flash_us: what programming a page and erasing a sector take. pull_s: length of a
    pull that is marked 0.3 s after the start by two presses of the button. card: (seconds after the start, "out", "in",
    "swap", "refuse" or "stick") in time order; swapped is in another card that was prepared alike. lean_s: from and to,
    after the start, when the first channel's signal is that of a lean mixture. no_card: none is in from power-on.
    bus: a bus controller beside the converter, and a car.
    """

    config: dict
    tach_hz: float
    seconds: float
    stall_every_s: float = 0.0
    stall_s: float = 0.5
    modules: dict[str, str] = field(default_factory=dict)
    files: dict[str, bytes] = field(default_factory=dict)
    on_flash: bool = False
    flash_us: tuple[float, float] = (400, 45000)
    pull_s: float = 0.0
    card: tuple[tuple[float, str], ...] = ()
    lean_s: tuple[float, float] | None = None
    no_card: bool = False
    bus: bus_rig.Story | None = None


RICH, LEAN, FULL_LOAD = 831, 1847, 2268  # counts behind the 0-5 V divider: lambda 0.80, 1.11, and 185 kPa


def counts_of(channel: int, now_s: float) -> int:
    """The signal on a converter's input: a slow swing of its own and three counts of noise that repeats."""
    noise = (int(now_s * 1e6) * 7919 + channel * 104729) % 7 - 3
    return int(1500 + 120 * channel + 600 * math.sin(2 * math.pi * (0.3 + 0.05 * channel) * now_s)) + noise


def tach_edges(hz: float) -> Iterator[tuple[float, int, bool]]:
    """A square wave from 0.2 s on, in time order, whose speed swings slowly by a tenth around `hz`."""
    now_s = 0.2
    while hz:
        yield now_s, TACH_GPIO, True
        period = 1 / (hz * (1 + 0.1 * math.sin(2 * math.pi * 0.4 * now_s)))
        yield now_s + period / 2, TACH_GPIO, False
        now_s += period


def stalls(every_s: float, length_s: float, first_s: float) -> Iterator[tuple[float, float]]:
    """One stall in every so many seconds."""
    while every_s:
        yield first_s, length_s
        first_s += every_s


class Run:
    """Boots the board with a prepared card and runs it until it has recorded for the time asked."""

    def __init__(self, uf2: Path, setup: Setup, folder: Path) -> None:
        self.setup = setup
        self.folder = folder
        files = firmware_build.compiled("armv6m")
        for name, text in setup.modules.items():
            source, target = folder / "module.py", folder / "module.mpy"
            source.write_text(text)
            firmware_build.compile_one(source, name + ".mpy", "armv6m", target)
            files[name + ".mpy"] = target.read_bytes()
        files["boot.py"] = board_files.BOOT
        files.update(setup.files)
        if setup.on_flash:
            files["ring/logger.json"] = json.dumps(setup.config).encode()
        self.began_s = 1e9
        signal = counts_of if setup.lean_s is None else self._under_load
        self.chip = chip.Chip(uf2, files, signal, tach_edges(setup.tach_hz), setup.flash_us)
        mcu = self.chip.mcu
        image = bytearray() if setup.on_flash else board_files.card_image(folder, setup.config)
        self.card = parts.SdCard(mcu.clock, image, BUSY_US)
        self.other: bytearray | None = None  # the card that waits, then the one that was taken out
        if any(what == "swap" for _, what in setup.card):
            (folder / "other").mkdir()
            self.other = board_files.card_image(folder / "other", setup.config)
        if not setup.on_flash:
            parts.Bus(mcu, 0).attach(self.card, SD_CS)
        self.converter = parts.SpiConverter(mcu.clock, lambda channel, _single, now_s: counts_of(channel + 4, now_s))
        shared = bus_rig.SharedBus(mcu, 1)
        self.bus = bus_rig.BusRig(self.chip, shared, self.converter, CONVERTER_CS, setup.bus) if setup.bus else None
        if self.bus is None:
            shared.attach(self.converter, CONVERTER_CS)
        self.chip.set_pin(BUTTON_GPIO, True)
        self.card.there = not setup.no_card
        self.alarms: list = []
        self.lamp: list[tuple[float, bool]] = []
        self.buzzer: list[tuple[float, bool]] = []
        for gpio, seen in ((LAMP_GPIO, self.lamp), (BUZZER_GPIO, self.buzzer)):
            mcu.gpio[gpio].add_listener(lambda new, _old, seen=seen: seen.append((self.chip.now_s, new.name == "HIGH")))

    def _under_load(self, channel: int, now_s: float) -> int:
        """A car under full load whose mixture is lean for a while."""
        if channel == 1:
            return FULL_LOAD
        if channel:
            return counts_of(channel, now_s)
        from_s, to_s = self.setup.lean_s
        return LEAN if from_s < now_s - self.began_s < to_s else RICH

    def _happens(self, after_s: float, what: str) -> None:
        """The card goes, comes, refuses or sticks so long after now."""
        acts = {
            "out": self.card.pull_out,
            "in": self.card.push_in,
            "swap": self._swap,
            "refuse": lambda: setattr(self.card, "refusing", True),
            "stick": lambda: setattr(self.card, "stuck", True),
        }
        alarm = self.chip.clock.create_alarm(acts[what])
        alarm.schedule(after_s * 1e9)
        self.alarms.append(alarm)

    def _swap(self) -> None:
        self.card.image, self.other = self.other, self.card.image
        self.card.push_in()

    def boot(self, longest_s: float = 8.0) -> None:
        """Run until recording is under way: 0.4 s after the setup stands on the card. RuntimeError with the board's
        words."""
        while self.chip.now_s < longest_s and b"Error" not in self.chip.said:
            self.chip.run(self.chip.now_s + 0.1)
            if self._recording():
                self.chip.run(self.chip.now_s + 0.4)
                self.began_s = self.chip.now_s
                return
        raise RuntimeError(
            f"nothing on the card after {self.chip.now_s:.1f} s\n{self.chip.said.decode(errors='replace')}"
        )

    def until_asked(self, requests: int, longest_s: float = 16.0) -> None:
        """Run on until the car has got so many requests for values. RuntimeError where it has not by then."""
        while len(self.bus.car.asked) < requests:
            if self.chip.now_s > longest_s:
                raise RuntimeError(f"{len(self.bus.car.asked)} requests after {self.chip.now_s:.1f} s")
            self.chip.run(self.chip.now_s + 0.1)

    def _recording(self) -> bool:
        if not self.setup.on_flash:
            return bool(self.card.writes)
        return bool(self.chip.flash.programmed) and any("/ring/drive/" in name for name in self.chip.flash_files())

    def instants(self) -> list[float]:
        """Times of the conversions of the board's first analog channel."""
        first = int(self.setup.config["channels"][0]["input"][1:])
        return [now_s for now_s, channel, _ in self.chip.conversions if channel == first]

    def record(self) -> None:
        """The time that is measured: from the end of boot on."""
        setup = self.setup
        self.card.stalls = stalls(setup.stall_every_s, setup.stall_s, self.chip.now_s + 0.3)
        self.card.next_stall = next(self.card.stalls, None)
        busy_s, now_s, edges, writes = self.chip.busy_s, self.chip.now_s, self.chip.edges_given, len(self.card.writes)
        erased = self.chip.flash.erased
        self.began_s = now_s
        for after_s, what in setup.card:
            self._happens(after_s, what)
        if self.bus:
            self.bus.measure(setup.seconds)
        if setup.pull_s:
            self._press(now_s + 0.3, 0.1)
            self._press(now_s + 0.3 + setup.pull_s, 0.1)
        self.chip.run(now_s + setup.seconds)
        self.measured_s = self.chip.now_s - now_s
        self.cpu = (self.chip.busy_s - busy_s) / self.measured_s
        self.edges = self.chip.edges_given - edges
        self.writes = len(self.card.writes) - writes
        self.erased = self.chip.flash.erased - erased
        if self.bus:
            self.bus.lose(LOSE_S)
            self.chip.run(self.chip.now_s + LOSE_S)

    def _press(self, at_s: float, length_s: float) -> None:
        """The button down at `at_s` and up again."""
        self.chip.run(at_s)
        self.chip.set_pin(BUTTON_GPIO, False)
        self.chip.run(at_s + length_s)
        self.chip.set_pin(BUTTON_GPIO, True)

    def finish(self) -> None:
        """A long press of the button: the firmware writes what it holds and its health; then the card is read."""
        self.card.next_stall = None
        self._press(self.chip.now_s, 1.7)
        self.chip.run(self.chip.now_s + 0.6)

    def drive(self):
        """The drive on the card or the flash, as the PC reads it."""
        import ringpull

        if self.setup.on_flash:
            for name, data in self.chip.flash_files().items():
                if name.startswith("/ring/"):
                    target = self.folder / name.strip("/")
                    target.parent.mkdir(parents=True, exist_ok=True)
                    target.write_bytes(data)
            return ringpull.read(self.folder / "ring")
        return ringpull.read(board_files.read_card(self.folder, bytes(self.card.image)))

    def sessions(self) -> list:
        """The newest session of each card, the one that was taken out first."""
        import ringpull

        last = [self.drive().sessions[-1]]
        if self.other is not None:
            (self.folder / "first").mkdir()
            (self.folder / "first" / "taken.img").write_bytes(self.other)
            out = board_files.copied(self.folder / "first", self.folder / "first" / "taken.img", "card")
            last.insert(0, ringpull.read(out).sessions[-1])
        return last

    def pulls_file(self):
        """The card's pulls.rpl alone, as the PC reads it; drive() comes first."""
        import ringpull

        return ringpull.read(self.folder / "card" / "pulls.rpl")


STEP_S, STEP_OFF_S = 0.05, 0.020  # steps of every pattern are multiples of it; so late an edge may be


def lamp_off(edges: list[tuple[float, bool]], since_s: float) -> tuple[int, int]:
    """(edges of the lamp's pin, those not within 20 ms after a step's place) from that time on."""
    times = np.array([now_s for now_s, _ in edges if now_s >= since_s])
    return len(times), int(np.count_nonzero(times % STEP_S > STEP_OFF_S))


def jitter_us(instants: list[float], period_s: float) -> np.ndarray:
    """How far each sample lies from the even grid that fits them best, the worst first."""
    times = np.array(instants)
    rows = np.round((times - times[0]) / period_s)
    off = times - rows * period_s
    return np.sort(np.abs(off - np.median(off)))[::-1] * 1e6


def edges_kept(raw, period_us: float, hz: float) -> dict[str, float]:
    """The rows' edge counts and ages against the edges that were given.

    edges_lost: edges given between the first and the last row less those counted. edge_error_us: the worst difference
    of a row's last edge to the given one with that number, where none is lost before it.
    """
    given = []
    for now_s, _, level in tach_edges(hz):
        if now_s > 60:
            break
        if level:
            given.append(now_s * 1e6)
    times = np.array(given)
    counts = raw["engine_speed"].to_numpy().astype(int)
    edges = raw["row"].to_numpy() * period_us - raw["engine_speed.age"].to_numpy()  # from the first row's instant
    # Which given edge is the first row's last one? The one for which the rows after it fit best
    first = slice(0, 40)
    best, ahead = min(
        (np.ptp(times[counts[first] - counts[0] + n] - edges[first]), n) for n in range(len(times) - counts[-1] - 50)
    )
    start_us = np.median(times[counts[first] - counts[0] + ahead] - edges[first])
    last = int(np.argmin(np.abs(times - (edges[-1] + start_us))))
    off = times[counts - counts[0] + ahead] - edges - start_us
    rejected = raw["engine_speed.rejected"].to_numpy()
    return {
        "edges": last - ahead,
        "edges_lost": (last - ahead) - int(counts[-1] - counts[0]),
        "edges_rejected": int(rejected[-1] - rejected[0]),
        "edge_error_us": float(np.abs(off).max()),
        "fit_us": float(best),
    }


def temporary() -> tempfile.TemporaryDirectory:
    return tempfile.TemporaryDirectory(prefix="ringpull-emulated-")
