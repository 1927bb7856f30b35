"""Signal files (plain CSV, volts at the logger's terminals) compiled for the desk board.

Analog inputs become the voltage at the converter's pin, behind divider and filter, sampled every millisecond (slower
at low rates) in 65536ths of the converter's range. Edges and button changes become one list in time order.
"""

from __future__ import annotations

import codecs
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from ringpull.errors import BadSignal
from ringpull.files.configuration import Configuration, ConfiguredChannel
from shared_math import channels, converters
from shared_math.config import checker

FINEST_FRAME_US = 1000
BITS = 12
REFERENCE_V = 3.3
FILTER_F = 470e-9  # across the divider's lower resistor, hardware/README.md
NOISE_COUNTS = 2.0  # standard deviation of the converter's noise
NOISE_LENGTH = 1 << 10
PAD_FRAMES = 1024
PRESS, RELEASE = 254, 255
LONGEST_BEYOND_US = 60_000_000  # edges or presses so long after twice the volts' time are of another time
STRANGER = 250
FALLS = 0x40  # bit of an event: the input goes low
LONGEST_S = 25 * 3600  # longer than any drive; times in a wrong unit would need all of the memory


@dataclass
class Compiled:
    """analog: channel names in frame order; frames: uint16 (frames, names); events: uint64, time_us << 8 | which.

    unused: columns that no channel uses. silent: channels without a column or without an edge.
    """

    analog: list[str]
    pulses: list[str]
    frames: np.ndarray
    events: np.ndarray
    frame_us: int
    end_us: int
    unused: list[str]
    silent: list[str]

    @property
    def longest_press_s(self) -> float:
        """How long the button is held at most."""
        which = self.events & np.uint64(0xFF)
        of_button = self.events[(which == PRESS) | (which == RELEASE)]
        down = (of_button & np.uint64(0xFF)) == PRESS
        times_us = np.append((of_button >> np.uint64(8)).astype(float), self.end_us)
        return float(np.diff(times_us)[down].max(initial=0.0)) / 1e6


def compile_signals(config: Configuration, volts: Path, edges: Path | None, buttons: Path | None) -> Compiled:
    """Read and check the three files. Raises BadSignal with file, column and cause."""
    table = _read(volts, text=())
    time_s = _times(volts, table)
    names = [name for name in table if name != "t_s"]
    used = [n for n in names if n in config.by_name and config.by_name[n].kind in (*channels.ANALOG_KINDS, "digital")]
    lacking = [one.name for one in config.channels if _without(one, used)]
    _refuse_misspelt(volts, [name for name in names if name not in used], lacking)
    pulses = [channel for channel in config.channels if channel.kind in channels.PULSE_KINDS]
    events = [_edge_events(edges, pulses)] if edges else []
    if buttons:
        events.append(_button_events(buttons))
    merged = np.sort(np.concatenate(events), kind="stable") if events else np.zeros(0, np.uint64)
    end_us = round(float(time_s[-1]) * 1e6)
    if len(merged):
        last_us = int(merged[-1] >> np.uint64(8))
        if last_us > 2 * end_us + LONGEST_BEYOND_US:
            raise BadSignal(
                f"edges or presses go on to {last_us / 1e6:.0f} s, but the volts end at {end_us / 1e6:.0f} s",
                "their times are in milliseconds, or the files are of two drives",
                "write all times in seconds from the same instant",
            )
        end_us = max(end_us, last_us)
    frame_us = max(FINEST_FRAME_US, 100_000 // config.rate_hz)  # ten frames a row, but at most one a millisecond
    grid_s = np.arange(end_us // frame_us + PAD_FRAMES) * (frame_us / 1e6)
    frames = np.empty((len(grid_s), len(used)), np.uint16)
    for at, name in enumerate(used):
        terminal_v = np.interp(grid_s, time_s, _numbers(volts, name, table[name]))
        channel = config.by_name[name]
        part = converters.part_of(config.written, channel.input)
        reference_v = REFERENCE_V if config.reference_v is None else config.reference_v
        frames[:, at] = _at_the_pin(channel, part, reference_v, terminal_v, frame_us)
    counted = {int(which) & ~FALLS for which in np.unique(merged & np.uint64(0xFF))}
    silent = [one.name for at, one in enumerate(pulses) if at not in counted]
    return Compiled(
        analog=used,
        pulses=[one.name for one in pulses],
        frames=frames,
        events=merged,
        frame_us=frame_us,
        end_us=end_us,
        unused=[name for name in names if name not in used],
        silent=lacking + silent,
    )


def _refuse_misspelt(path: Path, unused: list[str], lacking: list[str]) -> None:
    """Raise BadSignal if a column that no channel uses is nearly named as a channel without a column."""
    for column in unused:
        meant = checker.meant(column, lacking)
        if meant is not None:
            raise BadSignal(
                f"{path.name} has no column {meant!r}, which the configuration needs, but has one named {column!r}",
                f"did you mean {meant!r}? The column would be ignored, and the channel read 0 V",
                "give the column the channel's name, or remove it",
            )


def _without(channel: ConfiguredChannel, used: list[str]) -> bool:
    """Whether an analog or digital channel has no column."""
    return channel.kind not in (*channels.PULSE_KINDS, *channels.BUS_KINDS) and channel.name not in used


def _at_the_pin(
    channel: ConfiguredChannel, part: str | None, reference_v: float, volts: np.ndarray, frame_us: int
) -> np.ndarray:
    """Volts at a terminal (or between two) sampled every frame_us, in 65536ths of the converter's range.

    Applies divider, filter and range. part: the external converter; None for the board's own.
    """
    top, bottom = channel.divider_ohm
    source_ohm = top * bottom / (top + bottom)
    pin = _low_pass(volts * (bottom / (top + bottom)), source_ohm * FILTER_F, frame_us)
    span_v = converters.scale(part, reference_v)[1] if part else reference_v
    zero = 0x8000 if part and converters.signed(part) else 0
    return np.clip(np.rint(pin * (0x10000 / span_v)) + zero, 0, 0xFFFF).astype(np.uint16)


def _low_pass(x: np.ndarray, tau_s: float, frame_us: int) -> np.ndarray:
    """First-order filter, exact for an input that is linear between samples, started in steady state."""
    import pandas as pd

    d = frame_us / 1e6 / tau_s if tau_s > 1e-6 else 50.0
    keep = np.exp(-d)
    new = 1 - (1 - keep) / d  # weight of the present sample
    old = (1 - keep) / d - keep  # weight of the previous sample
    before = np.concatenate([x[:1], x[:-1]])
    drive = (new * x + old * before) / (1 - keep)
    return pd.Series(drive).ewm(alpha=1 - keep, adjust=False).mean().to_numpy()


def _edge_events(path: Path, pulses: list[ConfiguredChannel]) -> np.ndarray:
    """The edges as events. Without a column `level` (1 rising, 0 falling) every line is an edge that counts."""
    table = _read(path, text=("input",))
    time_s = _times(path, table, may_be_empty=True)
    which = np.full(len(time_s), STRANGER, np.uint64)
    wanted = np.ones(len(time_s), bool)
    inputs = np.asarray(_column(path, table, "input"), dtype=object)
    rising = _levels(path, table) if "level" in table else None
    for at, channel in enumerate(pulses):
        mine = inputs == channel.name
        which[mine] = at
        if channel.kind == "pulse_width":
            if rising is None:
                raise BadSignal(
                    f"{path.name} has no column 'level', and channel {channel.name!r} measures how long its input "
                    "is on",
                    "only rising edges were recorded",
                    "add the column: 1 where the input rises, 0 where it falls",
                )
            which[mine & ~rising] |= np.uint64(FALLS)
        elif rising is not None:
            wanted[mine] = rising[mine] == (channel.polarity == "rising")
    strangers = sorted({str(n) for n in inputs[which == STRANGER]})
    if strangers:
        raise BadSignal(
            f"{path.name} names the input {strangers[0]!r}, which is not a pulse channel of the configuration",
            f"pulse channels are: {', '.join(one.name for one in pulses) or 'none'}",
            "write the channel's name in the column 'input', or add a channel of kind 'pulses' to the configuration",
        )
    return _events(time_s[wanted], which[wanted])


def _levels(path: Path, table: dict[str, Any]) -> np.ndarray:
    level = _numbers(path, "level", table["level"])
    if not np.isin(level, (0, 1)).all():
        raise BadSignal(
            f"column 'level' of {path.name} holds values other than 1 and 0",
            "volts or text were written there",
            "write 1 where the input rises, 0 where it falls",
        )
    return level == 1


def _button_events(path: Path) -> np.ndarray:
    table = _read(path, text=("event",))
    time_s = _times(path, table, may_be_empty=True)
    names = np.asarray(_column(path, table, "event"), dtype=object)
    known = {"press": PRESS, "release": RELEASE}
    for name in names:
        if name not in known:
            raise BadSignal(
                f"{path.name} holds the event {name!r}",
                "the column 'event' may hold only 'press' and 'release'",
                "correct that line",
            )
    return _events(time_s, np.array([known[n] for n in names], np.uint64))


def _events(time_s: np.ndarray, which: np.ndarray) -> np.ndarray:
    return (np.rint(time_s * 1e6).astype(np.uint64) << np.uint64(8)) | which


def _is_text(path: Path) -> bool:
    """Whether a file begins as text: valid UTF-8 without control characters other than tabs and line ends."""
    with path.open("rb") as file:
        head = file.read(4096)
    try:
        words = codecs.getincrementaldecoder("utf-8")().decode(head)
    except UnicodeDecodeError:
        return False
    return all(letter >= " " or letter in "\t\r\n" for letter in words)


def _read(path: Path, text: tuple[str, ...]) -> dict[str, Any]:
    """The columns of a CSV by name, as read."""
    import pyarrow as pa
    from pyarrow import csv

    if path.is_file() and not _is_text(path):
        raise BadSignal(
            f"{path.name} is not a text file",
            "a picture, an archive or a ring file was given instead of a CSV",
            "open it in a text editor: a header line, then numbers separated by commas",
        )
    if path.is_file():
        with path.open(encoding="utf-8-sig") as file:
            header = file.readline()
        if "," not in header and (";" in header or "\t" in header):
            raise BadSignal(
                f"{path.name} has {'semicolons' if ';' in header else 'tabs'} between its fields",
                "a spreadsheet wrote it in the format of its country",
                "write it with commas between the fields and with decimal points",
            )
    try:
        types = {name: pa.string() for name in text}
        table = csv.read_csv(path, convert_options=csv.ConvertOptions(column_types=types))
    except FileNotFoundError:
        raise BadSignal(f"{path} is not there", "a wrong name or folder", "check the path") from None
    except (pa.ArrowInvalid, OSError) as error:
        first = str(error).splitlines()[0].removeprefix("CSV parse error: ")
        raise BadSignal(
            f"{path.name} can't be read as CSV: {first}",
            "it is empty, is not a CSV file, or lines have different numbers of fields",
            "open it in a text editor: a header line, then numbers separated by commas",
        ) from None
    names = [name.strip() for name in table.column_names]
    twice = sorted({name for name in names if names.count(name) > 1})
    if twice:
        raise BadSignal(
            f"{path.name} has two columns named {twice[0]!r}",
            "a column was copied and its name not changed",
            "give each column its own name, or remove one",
        )
    return {name: table.column(at).to_numpy() for at, name in enumerate(names)}


def _column(path: Path, table: dict[str, Any], name: str) -> Any:
    if name not in table:
        raise BadSignal(
            f"{path.name} has no column {name!r}",
            f"its columns are: {', '.join(table) or 'none'}",
            f"add the column {name!r} to the header line",
        )
    return table[name]


def _numbers(path: Path, name: str, column: Any) -> np.ndarray:
    try:
        numbers = np.asarray(column, dtype=float)
    except (TypeError, ValueError):
        numbers = None
    if numbers is None or not np.all(np.isfinite(numbers)):
        raise BadSignal(
            f"column {name!r} of {path.name} holds a field that is not a number",
            "text, an empty field or a decimal comma",
            "make every field below the header a number with a decimal point",
        )
    return numbers


def _times(path: Path, table: dict[str, Any], may_be_empty: bool = False) -> np.ndarray:
    time_s = _numbers(path, "t_s", _column(path, table, "t_s"))
    if not len(time_s) and may_be_empty:
        return time_s
    if not len(time_s):
        raise BadSignal(f"{path.name} has no line below its header", "the recording is empty", "add the signals")
    if time_s[0] < 0 or np.any(np.diff(time_s) < 0):
        raise BadSignal(
            f"the times in {path.name} do not rise from 0",
            "lines are out of order, or a time is below zero",
            "sort the lines by t_s; power comes on at t_s = 0",
        )
    if time_s[-1] > LONGEST_S:
        raise BadSignal(
            f"{path.name} reaches {time_s[-1]:g} s, but a dry run can take at most {LONGEST_S} s",
            "its times are in milli- or microseconds, or are times of day",
            "write t_s in seconds from power-on, or cut the recording into drives",
        )
    return time_s
