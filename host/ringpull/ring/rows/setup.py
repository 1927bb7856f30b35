"""Setups: the description of a session's rows, from JSON text in one or several blocks."""

from __future__ import annotations

import json
import re
import sys
from dataclasses import dataclass, field
from typing import TypeGuard

import numpy as np

from ringpull.files import configuration
from ringpull.files.configuration import Configuration
from shared_math import config as shared_config
from shared_math import layout

MOST_COLUMNS = 512
Problem = tuple[str, str, str]  # (code, where, detail) of a mistake, as shared_math.config.check gives it
ROW = "row"  # the name of the row numbers beside the columns
UTC = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ", re.ASCII)
UNREADABLE = ("unreadable", "", "")  # a configuration that passes the check, yet makes no records
HALF_PAIR = re.compile(rb"\\u[dD][89a-fA-F]")  # an escape that may be half of a surrogate pair


@dataclass(frozen=True)
class Column:
    """A column of the rows, from the setup text.

    bits: its width. volts_per_count, volts_at_zero: for role "adc", at the logger's terminal; for role "bus" the same
    figures in the channel's unit. error_v: half-width of its converter's error, if given. stale_ms: for role "held",
    the age from which there is no value.
    """

    name: str
    role: str
    bits: int
    volts_per_count: float = 0.0
    volts_at_zero: float = 0.0
    error_v: float | None = None
    stale_ms: float | None = None

    @property
    def top(self) -> int:
        """The number at which counters in the column wrap: one more than its largest number."""
        return 1 << self.bits


@dataclass(frozen=True)
class Setup:
    """columns: in order. config: empty if it can't be used. looked_up: channel -> (value of each count, which of them
    are computed). assumed: the source of this setup, if not the session's own setup blocks. refused: why the
    configuration can't be used, None if it can."""

    columns: list[Column]
    period_us: float
    config: Configuration
    utc: str | None
    firmware: str
    board: str
    faults: list[int]
    assumed: str = ""
    refused: Problem | None = None
    looked_up: dict[str, tuple[np.ndarray, np.ndarray]] = field(default_factory=dict, compare=False, repr=False)

    @property
    def bits(self) -> list[int]:
        return [column.bits for column in self.columns]

    @property
    def names(self) -> list[str]:
        return [column.name for column in self.columns]

    def column(self, name: str, role: str) -> int | None:
        """The number of the column with this name and role, or None."""
        for at, column in enumerate(self.columns):
            if column.name == name and column.role == role:
                return at
        return None

    def described(self, name: str, role: str) -> Column:
        """The column with this name and role. Raises KeyError if there is none."""
        at = self.column(name, role)
        if at is None:
            raise KeyError(f"no channel {name!r} of this role in the ring file")
        return self.columns[at]


def text_of(blocks: np.ndarray) -> bytes:
    """The joined text of a group's parts, (parts, 512) uint8, in order."""
    out = b""
    for block in blocks:
        length = min(int(block[layout.AT_LENGTH]) | int(block[layout.AT_LENGTH + 1]) << 8, layout.PAYLOAD)
        out += block[layout.AT_PAYLOAD : layout.AT_PAYLOAD + length].tobytes()
    return out


def json_object(text: bytes) -> dict | None:
    """The object in UTF-8 JSON; None if it is anything else. Unpaired surrogates, which can't be encoded, become
    question marks."""
    try:
        out = json.loads(text.decode("utf-8"))
        if HALF_PAIR.search(text):
            out = json.loads(json.dumps(out, ensure_ascii=False).encode("utf-8", "replace"))
    except (ValueError, RecursionError):
        return None
    return out if isinstance(out, dict) else None


def parse(text: bytes) -> Setup:
    """The setup in a text. Raises ValueError with a sentence if the text does not describe rows."""
    head = json_object(text)
    if head is None:
        raise ValueError("the setup text is not a JSON object")
    listed = head.get("columns")
    period_us = head.get("period_us")
    if not isinstance(listed, list) or not 0 < len(listed) <= MOST_COLUMNS:
        raise ValueError("the setup text names no columns")
    if not _is_number(period_us) or not 1 <= period_us <= 1e9:
        raise ValueError("the setup text has no period")
    names = {ROW}
    columns = [_column(told) for told in listed]
    for column in columns:
        if column.name in names:
            raise ValueError(
                f"two columns of the setup text are called {column.name}, or one has the row numbers' name"
            )
        names.add(column.name)
    utc = head.get("utc")
    config, refused = read_config(head.get("config"))
    faults = head.get("faults")
    return Setup(
        columns=columns,
        period_us=period_us,
        config=config,
        utc=utc if isinstance(utc, str) and UTC.fullmatch(utc) else None,
        firmware=str(head.get("firmware", "")),
        board=str(head.get("board", "")),
        faults=[one for one in faults if isinstance(one, int)] if isinstance(faults, list) else [],
        refused=refused,
    )


def _column(told: object) -> Column:
    if not isinstance(told, dict) or not isinstance(told.get("n"), str) or not isinstance(told.get("r"), str):
        raise ValueError("a column of the setup text has no name or role")
    name, role, bits = told["n"], told["r"], told.get("b")
    if not isinstance(bits, int) or isinstance(bits, bool) or not 1 <= bits <= layout.MAX_BITS:
        raise ValueError(f"column {name} of the setup text has no usable width")
    if role == "held":
        stale_ms = told.get("m")
        return Column(name, role, bits, stale_ms=stale_ms if _is_number(stale_ms) and stale_ms > 0 else None)
    if role not in ("adc", "bus"):
        return Column(name, role, bits)
    for key in ("s", "o"):
        if not _is_number(told.get(key)):
            raise ValueError(f"column {name} of the setup text lacks {key!r}")
    error_v = told.get("e")
    if not isinstance(error_v, (int, float)) or not _is_number(error_v) or not 0 < error_v < 1e6:
        error_v = None
    return Column(name, role, bits, told["s"], told["o"], None if error_v is None else float(error_v))


def _is_number(value: object) -> TypeGuard[int | float]:
    """Whether a value is a finite number that a float can hold."""
    return isinstance(value, (int, float)) and not isinstance(value, bool) and abs(value) <= sys.float_info.max


def usable_config(config: object) -> Configuration:
    """The configuration with defaults; an empty one if this version can't use it, so that only raw columns remain."""
    return read_config(config)[0]


def read_config(config: object) -> tuple[Configuration, Problem | None]:
    """(as usable_config, the first mistake for which it can't be used or None)."""
    try:
        refused = next((problem for problem in shared_config.check(config) if problem[0] != "unknown_key"), None)
        if refused is None:
            return configuration.of(shared_config.defaults(config)), None
    except (ValueError, TypeError, KeyError, AttributeError, IndexError):
        refused = UNREADABLE
    code, where, detail = refused
    return Configuration(), (code, _printable(where), _printable(detail))


def _printable(text: str) -> str:
    """A text from a recording without control characters that a terminal would act on."""
    return "".join(one if one.isprintable() else " " for one in text)
