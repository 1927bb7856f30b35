"""A session, which is one power-on of the logger: channels, rows, marks, tables, timing."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from ringpull.errors import TooLong
from ringpull.files import connected
from ringpull.files.configuration import Configuration, ConfiguredChannel, crank_of
from ringpull.ring.blocks.order import Run
from ringpull.ring.rows.sessions import SessionBlocks
from ringpull.ring.rows.setup import UTC
from ringpull.ring.values import codes, decoded_columns, rest, service
from ringpull.ring.values.codes import UnitCodes
from ringpull.ring.values.service import MarkSpan
from ringpull.ring.values.window import Finder
from shared_math import layout
from shared_math.config import schema

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True)
class Channel:
    """name: as configured. column: its name in decoded tables. unit: "" if it has none. label: name to show to people.

    config: its part of the configuration.
    """

    name: str
    column: str
    kind: str
    unit: str
    label: str
    config: ConfiguredChannel = field(hash=False, compare=False)


@dataclass(frozen=True)
class Converter:
    """The converter of an analog channel.

    bits: width of its counts. step_v: volts per count at the terminal. error_v: half-width of its error in volts; None
    if unknown.
    """

    bits: int
    step_v: float
    error_v: float | None


@dataclass(frozen=True)
class Timing:
    """How well the logger ran in a session; a value is None if the file does not record it.

    late_blocks: number of blocks that late_us_p99 is from; None: from every row. rejected_edges: channel -> edges.
    stall_ms_max: 0 if there was no stall of 16 ms. health: the keys of the last health block (rows, late_us, stall_us,
    heap...).
    """

    late_us_max: int | None
    late_us_p99: int | None
    late_blocks: int | None
    lost_rows: int
    rejected_edges: dict[str, int]
    stall_ms_max: int | None
    heap_kb_least: int | None
    supply_dips: int | None
    health: dict


def indexed(frame: pd.DataFrame) -> pd.DataFrame:
    """A frame that also has its column time_s as a TimedeltaIndex named "time", for resampling and joining."""
    import pandas as pd

    out = frame.set_axis(pd.to_timedelta(frame["time_s"].to_numpy(), unit="s").rename("time"), axis=0)
    out.attrs = dict(frame.attrs)
    return out


MOST_VALUES = 100_000_000  # most values of a session that is judged: a gigabyte with all derived arrays
MOST_ROWS_S = (
    2.0 * schema.TOP["rate_hz"][2]
)  # twice what a logger can be told to record; windows of seconds would hold too many rows


def _refuse_endless(session: Session, rows: int) -> None:
    """Raise TooLong if a session has more rows with a running engine, or a second, than can be judged together."""
    if session.period_s * MOST_ROWS_S < 1.0 - 1e-9:
        raise TooLong(
            f"session {session.id} tells {1.0 / session.period_s:.0f} rows a second, which no logger records",
            "its setup is damaged, or was not written by a logger",
            "decode it, or judge another session",
        )
    if rows * (len(session.channels) + 8) <= MOST_VALUES:
        return
    raise TooLong(
        f"session {session.id} holds {rows * session.period_s / 3600:.1f} hours of running engine, too much to judge"
        " at once",
        "the logger ran through a day of driving without being switched off",
        "look at it with ringpull view, or decode it; switch the logger off between drives",
    )


def _worth_telling(lamp: np.ndarray) -> np.ndarray:
    return (lamp == layout.LAMP_LEAN) | (lamp >= layout.LAMP_FAULT)


def _rate_hz(configured_hz: int, period_us: float) -> float:
    """Rows a second: as configured, for periods are whole microseconds; by the period where a file contradicts that."""
    by_period = 1e6 / period_us
    return float(configured_hz) if abs(configured_hz - by_period) < 0.01 * by_period else round(by_period, 3)


class Session:
    """One power-on of the logger. Times are seconds from the session's row 0, even if that row is overwritten."""

    def __init__(self, blocks: SessionBlocks, fetched_utc: str = "") -> None:
        """fetched_utc: wall clock at row 0 by the PC that fetched it, "" where that is not kept."""
        self._blocks = blocks
        self._fetched_utc = fetched_utc
        setup = blocks.setup
        self.id: int = blocks.id
        self.config: Configuration = setup.config
        self.refused_config = setup.refused  # (code, where, detail) of why `config` is empty, None if it can be used
        self.firmware: str = setup.firmware
        self.board: str = setup.board
        self.faults: list[int] = setup.faults
        self.assumed: str = setup.assumed  # source of its setup, if that is not from its own blocks
        self.period_s: float = setup.period_us / 1e6
        self.rate_hz: float = _rate_hz(setup.config.rate_hz, setup.period_us)

    @cached_property
    def start_utc(self) -> str | None:
        """Wall clock at row 0, to the second; None where nothing tells it. See start_from."""
        return self._blocks.setup.utc or self._connected_utc

    @property
    def start_from(self) -> str:
        """What tells start_utc: "clock", the board's own when the session began; "connection", a PC that set the
        clock while the session was recorded; or ""."""
        return "clock" if self._blocks.setup.utc else "connection" if self.start_utc else ""

    @cached_property
    def _connected_utc(self) -> str | None:
        """Row 0 by the PC that was connected: as kept when it fetched, else by a health block's clock and row."""
        if UTC.fullmatch(self._fetched_utc):
            return self._fetched_utc
        utc, row = self._blocks.health.get("utc"), self._blocks.health.get("row")
        if not isinstance(utc, str) or not UTC.fullmatch(utc) or type(row) is not int or not 0 <= row < 1 << 32:
            return None
        try:
            began = datetime.strptime(utc, connected.FORM) - timedelta(seconds=row * self.period_s)
        except (ValueError, OverflowError):
            return None
        return began.strftime(connected.FORM)

    def __repr__(self) -> str:
        return f"<Session {self.id}: {self.rows} rows, {self.duration_s:.1f} s at {self.rate_hz:g} Hz>"

    @property
    def block_runs(self) -> list[Run]:
        """Where its blocks stand in the files, those without rows too."""
        return self._blocks.runs

    @property
    def rows(self) -> int:
        """The number of rows that can be read."""
        return self._blocks.rows

    @property
    def start_s(self) -> float:
        """The time of the first row that can be read; above 0 if older rows were overwritten."""
        return self._blocks.first * self.period_s

    @property
    def duration_s(self) -> float:
        """The time from the session's row 0 to the end of its last row."""
        return self._blocks.end * self.period_s

    @property
    def lost_rows(self) -> int:
        """The number of rows that the logger could not take or keep, without those in damaged or missing blocks."""
        return sum(hole.lost for hole in self._blocks.holes)

    @cached_property
    def channels(self) -> list[Channel]:
        """The channels with a column in the decoded table: those in the ring file, and after an injector's on-time the
        duty computed from it (kind "duty")."""
        out = []
        decodable = decoded_columns.decodable(self._blocks.setup)
        turning = crank_of(decodable) is not None
        for one in decodable:
            out.append(Channel(one.name, one.column, one.kind, one.unit, one.shown, one))
            if one.kind == "pulse_width" and turning:
                out.append(Channel(one.name + "_duty", one.duty_column, "duty", "%", one.shown + " duty", one))
        return out

    @property
    def converters(self) -> dict[str, Converter]:
        """Analog channel -> its converter."""
        columns = [column for column in self._blocks.setup.columns if column.role == "adc"]
        return {c.name: Converter(c.bits, abs(c.volts_per_count), c.error_v) for c in columns}

    @property
    def marks(self) -> list[MarkSpan]:
        """The marked pulls, in order of time."""
        return self._survey.marks

    @property
    def lost_marks(self) -> int:
        """The number of pulls that were marked in gaps alone, so that no row of them is there."""
        return self._survey.lost_marks

    @property
    def timing(self) -> Timing:
        """How well the logger ran."""
        return Timing(
            late_us_max=self._survey.late_us_max,
            late_us_p99=self._survey.late_us_p99,
            late_blocks=self._survey.late_blocks,
            lost_rows=self.lost_rows,
            rejected_edges=self._survey.rejected,
            stall_ms_max=self._survey.stall_ms_max,
            heap_kb_least=self._survey.heap_kb_least,
            supply_dips=self._survey.dips,
            health=self._blocks.health,
        )

    @cached_property
    def _survey(self) -> service.Survey:
        if "_raw" in self.__dict__:
            return service.of_columns(self._blocks, [self._raw])
        return service.of_blocks(self._blocks)

    @cached_property
    def codes(self) -> list[UnitCodes]:
        """What the car's computers answered about trouble codes, unit by unit; empty where none was asked."""
        return codes.read(self._blocks.codes)

    @cached_property
    def _lamp_told(self) -> list[tuple[int, float, float]]:
        """(state, start_s, end_s) of each time the logger's lamp told of a lean mixture or of a fault."""
        lamp = self._blocks.setup.column("lamp", "lamp")
        if lamp is None:
            return []
        parts: Iterable[tuple[np.ndarray, np.ndarray]]
        if "_raw" in self.__dict__ or not self._blocks.ordered:
            parts = [(self._raw["row"], self._raw["lamp"])]
        else:
            parts = ((row, got[lamp]) for row, got in self._blocks.pieces([lamp]))
        out: list[list[int]] = []  # state, first row, row after the last: a fault may be told for days
        for row, shown in parts:
            worth = _worth_telling(shown)
            rows, states = row[worth].astype(np.int64), shown[worth].astype(np.int64)
            first = np.flatnonzero((np.diff(rows, prepend=-2) > 1) | (np.diff(states, prepend=-1) != 0))
            ends = rows[np.append(first[1:], len(rows)) - 1] + 1 if len(rows) else rows
            for state, begin, end in zip(states[first].tolist(), rows[first].tolist(), ends.tolist(), strict=True):
                if out and out[-1][0] == state and out[-1][2] == begin:
                    out[-1][2] = end
                else:
                    out.append([state, begin, end])
        return [(state, begin * self.period_s, end * self.period_s) for state, begin, end in out]

    @property
    def lean_warnings(self) -> list[tuple[float, float]]:
        """(start_s, end_s) of each time the logger's lamp warned of lean mixture."""
        return [(start_s, end_s) for state, start_s, end_s in self._lamp_told if state == layout.LAMP_LEAN]

    @property
    def lamp_faults(self) -> dict[int, list[tuple[float, float]]]:
        """Number of a fault -> (start_s, end_s) of each time the lamp told it, in the order of their first times."""
        out: dict[int, list[tuple[float, float]]] = {}
        for state, start_s, end_s in self._lamp_told:
            if state >= layout.LAMP_FAULT:
                out.setdefault(state - layout.LAMP_FAULT, []).append((start_s, end_s))
        return out

    def gaps(self) -> list[tuple[float, float, str]]:
        """(start_s, end_s, reason) of every gap: from its first missing row to the next existing row."""
        return [(hole.first * self.period_s, hole.end * self.period_s, hole.reason) for hole in self._blocks.holes]

    def unrecorded(self) -> list[tuple[float, float]]:
        """(start_s, end_s) of the gaps in which rows are lost; between copies of pulls nothing is."""
        holes = [hole for hole in self._blocks.holes if not hole.copies]
        return [(hole.first * self.period_s, hole.end * self.period_s) for hole in holes]

    @cached_property
    def _raw(self) -> dict[str, np.ndarray]:
        return decoded_columns.raw(self._blocks)

    def raw(self) -> pd.DataFrame:
        """Integers as stored: `row` (number in the session), then every column of the setup, unsigned, 16 or 32 bits.

        Missing rows are left out. Do not change the frame in place.
        """
        import pandas as pd

        return pd.DataFrame(self._raw, copy=False)

    @cached_property
    def _table(self) -> dict[str, np.ndarray]:
        return decoded_columns.decoded(self._blocks, self._raw)

    def table(self) -> dict[str, np.ndarray]:
        """frame() as column name -> (rows,) array. Computed once; do not change it in place."""
        return self._table

    @cached_property
    def _frame(self) -> pd.DataFrame:
        import pandas as pd

        made = pd.DataFrame(self._table, copy=False)
        made.attrs["units"] = self.units
        return made

    @property
    def units(self) -> dict[str, str]:
        """Column of frame() -> its unit; "" if it has none."""
        return {"session": "", "time_s": "s", **{one.column: one.unit for one in self.channels}, "mark": ""}

    def frame(self, time_index: bool = False) -> pd.DataFrame:
        """The table in engineering units: session, time_s, a column for each channel (float, NaN where invalid), mark.

        `mark` is the id of the open marked pull, else 0. attrs["units"]: column -> unit. time_index: with the time
        since row 0 as index (pandas.TimedeltaIndex). Computed once; do not change it in place.
        """
        return indexed(self._frame) if time_index else self._frame

    def volts(self, name: str) -> np.ndarray:
        """(rows,) volts at the logger's terminal of an analog channel. Raises KeyError if there is no such channel."""
        from ringpull.ring.values import analog

        return analog.volts(self._blocks.setup, name, self._raw)

    def turns(self, name: str) -> list[tuple[np.ndarray, np.ndarray]]:
        """(times_s, turns since the first) of the pulses of a channel with `per_rev`.

        One pair for every stretch without a standstill or a loss. Missing pulses are counted in the turns. None if the
        recording has no columns of that channel.
        """
        from ringpull.ring.values import pulses

        channel = next((one.config for one in self.channels if one.name == name), None)
        return [] if channel is None else pulses.turns(self._blocks.setup, channel, self._raw)

    @cached_property
    def _finder(self) -> Finder:
        return Finder(self._blocks)

    def between(self, start_s: float, end_s: float) -> dict[str, np.ndarray]:
        """The rows of table() with start_s <= time < end_s; only these and their neighbours are decoded."""
        if not self._blocks.ordered:
            whole = self.table()
            rows = slice(*np.searchsorted(whole["time_s"], (start_s, end_s)).tolist())
            return {name: values[rows] for name, values in whole.items()}
        first, end = (int(np.ceil(round(time_s / self.period_s, 6))) for time_s in (start_s, end_s))
        return self._finder.decoded(first, end)

    def row_near(self, row: int) -> int | None:
        """The number of an existing row near `row`: the first of a block. None without rows, or if they are not in
        order."""
        near = self._finder.nearest(row) if self._blocks.ordered else -1
        return None if near < 0 else near

    def sample(self, count: int) -> dict[str, np.ndarray]:
        """The rows, as in table(), of about `count` blocks spread evenly over the session."""
        return self._finder.sample(count)

    @cached_property
    def awake(self) -> Session:
        """This session for judging and drawing: if it is long, without the hours of standstill (rest.py).

        Raises TooLong if even that does not fit in memory.
        """
        spans = rest.awake(self._blocks)
        if spans is None:
            _refuse_endless(self, self._blocks.rows)
            return self
        _refuse_endless(self, min(self._blocks.rows, sum(end - first for first, end in spans)))
        out = Session(self._blocks, self._fetched_utc)
        out.__dict__["_raw"] = self._finder.raw_of(spans)
        return out

    @property
    def rested_s(self) -> float:
        """The seconds of the session that `awake` leaves out."""
        return 0.0 if self.awake is self else (self.rows - len(self.awake._raw["row"])) * self.period_s

    def tables(self) -> Iterator[dict[str, np.ndarray]]:
        """frame() in pieces of bounded size, each as column name -> (rows,) array, for drives larger than memory."""
        return decoded_columns.pieces(self._blocks)
