"""The columns of one session for the analysis: plain arrays on a uniform time grid.

Nothing here depends on ring files: `Columns` can be built from any source of arrays.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np

from ringpull.analysis.drive_state import roles, units
from ringpull.files.configuration import Configuration, ConfiguredChannel, crank_of
from ringpull.session import Converter
from shared_math import judging

Array = np.ndarray

MOST_RPM = 30_000.0  # the highest max_rpm that can be configured: what is faster is damage, and would fill the memory
HOLE_S = 60.0  # empty rows made at each end of a long gap: more than any window, delay or settling needs
MOST_BESIDE = 1 << 20  # most empty rows at each end, of all gaps together; with very many gaps each gets fewer
LEAST_BESIDE = 16


@dataclass(frozen=True)
class LoadAxis:
    """The load of a session.

    values: (rows,). unit: their unit, "" if it has none. channel: the configured channel. manifold: whether it is the
    absolute manifold pressure.
    """

    values: Array
    unit: str
    channel: str
    manifold: bool = False


@dataclass
class Columns:
    """One session. Arrays of shape (rows,), float, NaN where invalid; `time_s` is uniform, missing rows are NaN rows.

    lambda_: lambda as measured at the sensor; of several banks the leaner (`banks` holds each).
    rpm: engine speed, without lag. map_kpa: absolute manifold pressure. throttle: per cent open.
    extra: role -> array: coolant, intake, exhaust (degC), fuel_pressure (kPa), battery (V), injector (ms), commanded
    (lambda), trim (%), ethanol (%), knock, boost_target (kPa), ambient (kPa), wheel (km/h), present (1 where the row
    was recorded).
    named: channel name -> array, for every configured channel (targets may refer to any).
    states: (channel, name of a state) -> bool array, True where its voltage signalled the state.
    converters: channel -> its converter. row_s: recorded seconds between rows; 0: from the configured rate.
    """

    time_s: Array
    lambda_: Array
    rpm: Array
    map_kpa: Array | None = None
    throttle: Array | None = None
    extra: dict[str, Array] = field(default_factory=dict)
    config: Configuration = Configuration()
    banks: dict[str, Array] = field(default_factory=dict)
    named: dict[str, Array] = field(default_factory=dict)
    states: dict[tuple[str, str], Array] = field(default_factory=dict)
    converters: dict[str, Converter] = field(default_factory=dict)
    row_s: float = 0.0

    @property
    def period_s(self) -> float:
        """Seconds between rows."""
        if self.row_s:
            return self.row_s
        if self.config.rate_hz:
            return 1.0 / self.config.rate_hz
        return float(np.median(np.diff(self.time_s))) if len(self.time_s) > 1 else 0.005

    def meaning(self, channel: str, state: str) -> str | None:
        """The meaning of a channel's state, one of judging.MEANINGS; None if it isn't configured."""
        configured = (one for c in self.config.channels if c.name == channel for one in c.states if one.name == state)
        found = next(configured, None)
        return judging.meaning({"name": state}) if found is None else found.means

    def __len__(self) -> int:
        return len(self.time_s)

    @cached_property
    def _stretches(self) -> Array:
        """The first rows of stretches that follow time which the grid leaves out."""
        return np.concatenate([[0], np.flatnonzero(np.diff(self.time_s) > 1.5 * self.period_s) + 1])

    def place(self, times_s: Array) -> Array:
        """The fractional rows of some times; beyond the ends if the times are.

        Times that the grid leaves out lie behind the last row of the stretch before, where there is no value.
        """
        first = self._stretches
        if len(first) == 1:
            return (times_s - self.time_s[0]) / self.period_s
        which = np.clip(np.searchsorted(self.time_s[first], times_s, side="right") - 1, 0, None)
        place = first[which] + (times_s - self.time_s[first[which]]) / self.period_s
        end = np.concatenate([first[1:] - 0.5, [np.inf]])
        return np.minimum(place, end[which])

    def left_out_s(self, rows: slice) -> float:
        """Seconds within some rows that the grid leaves out."""
        there = self.time_s[rows]
        if len(there) < 2 or len(self._stretches) == 1:
            return 0.0
        return max(0.0, float(there[-1] - there[0]) - (len(there) - 1) * self.period_s)

    def rows(self, start_s: float, end_s: float) -> slice:
        """The rows with start_s <= time < end_s."""
        low, high = np.searchsorted(self.time_s, (start_s - 1e-9, end_s - 1e-9))
        return slice(int(low), int(high))

    def part(self, start_s: float, end_s: float) -> Columns:
        """A copy with only the rows of a span."""
        rows = self.rows(start_s, end_s)

        def cut(array):
            return None if array is None else array[rows]

        def cut_all(arrays):
            return {name: array[rows] for name, array in arrays.items()}

        return replace(
            self,
            time_s=self.time_s[rows],
            lambda_=self.lambda_[rows],
            rpm=self.rpm[rows],
            map_kpa=cut(self.map_kpa),
            throttle=cut(self.throttle),
            extra=cut_all(self.extra),
            banks=cut_all(self.banks),
            named=cut_all(self.named),
            states=cut_all(self.states),
        )

    def of_bank(self, name: str) -> Columns:
        """This session with only one of its banks."""
        others = set(self.banks) - {name}
        channels = tuple(c for c in self.config.channels if c.name not in others)
        bank = self.banks[name]
        return replace(self, lambda_=bank, banks={name: bank}, config=replace(self.config, channels=channels))

    def load(self) -> LoadAxis | None:
        """The load axis: the channel that the target names, else pressure, else throttle.

        Of several targets the first that names a channel counts. If that channel is missing, the target has no load,
        but a map can still use pressure or throttle.
        """
        named = self.load_of(next((target.load for target in self.config.targets if target.load), None))
        return self.load_of(None) if named is None else named

    @property
    def load_unit(self) -> str:
        """The unit of the load axis; "" without one."""
        axis = self.load()
        return "" if axis is None else axis.unit

    def load_of(self, name: str | None) -> LoadAxis | None:
        """The load axis of a target that names this channel; without a name pressure, else throttle.

        None if the named channel is missing, since another load would have other units and another target.
        """
        pressure, throttle = (roles.channel_for(role, self.config.channels) for role in ("map", "throttle"))
        manifold = None
        if self.map_kpa is not None:
            manifold = LoadAxis(self.map_kpa, "kPa", "map" if pressure is None else pressure.name, manifold=True)
        if manifold is not None and name == manifold.channel:
            return manifold
        if name is not None and name in self.named:
            unit = next((c.unit for c in self.config.channels if c.name == name), "%")
            return LoadAxis(self.named[name], unit, name)
        if name == "map" or (name is None and manifold is not None):
            return manifold
        if name in (None, "throttle") and self.throttle is not None:
            return LoadAxis(self.throttle, "%", "throttle" if throttle is None else throttle.name)
        return None


def leaner(banks: list[Array]) -> Array:
    """The leaner of several banks in each row; NaN only where all are NaN."""
    if len(banks) == 1:
        return banks[0]
    return np.fmax.reduce(banks)


def on_grid(columns: Columns) -> Columns:
    """The columns with a row for every period, NaN where none was recorded; unchanged if none is missing.

    In a gap longer than twice HOLE_S (less if there are many) only the rows near its ends are made: judging needs no
    more, and it saves memory.
    """
    if not len(columns):
        return columns
    period_s = columns.period_s
    number = np.round((columns.time_s - columns.time_s[0]) / period_s).astype(np.int64)
    if number[-1] == len(number) - 1:
        return columns
    missing = np.diff(number) - 1
    beside = int(
        np.clip(MOST_BESIDE // max(1, np.count_nonzero(missing > LEAST_BESIDE)), LEAST_BESIDE, HOLE_S / period_s)
    )
    cut = np.maximum(missing - 2 * beside, 0)  # rows of each gap that are not made
    at = number - np.concatenate([[0], np.cumsum(cut)])
    rows = int(at[-1]) + 1
    long = np.flatnonzero(cut)
    skipped = np.zeros(rows, np.int64)
    skipped[at[long] + beside + 1] = cut[long]
    grid = np.arange(rows) + np.cumsum(skipped)

    def spread(array, fill=np.nan):
        if array is None:
            return None
        out = np.full(rows, fill, dtype=bool if array.dtype == bool else float)
        out[at] = array
        return out

    extra = {name: spread(array) for name, array in columns.extra.items()}
    extra["present"] = np.zeros(rows)
    extra["present"][at] = 1.0
    return replace(
        columns,
        time_s=columns.time_s[0] + grid * period_s,
        lambda_=spread(columns.lambda_),
        rpm=spread(columns.rpm),
        map_kpa=spread(columns.map_kpa),
        throttle=spread(columns.throttle),
        extra=extra,
        banks={name: spread(array) for name, array in columns.banks.items()},
        named={name: spread(array) for name, array in columns.named.items()},
        states={name: spread(array, False) for name, array in columns.states.items()},
    )


def from_session(session) -> Columns:
    """The columns of a `drive.Session`, from its table (engineering units, NaN where invalid) and configuration.

    Of a long session the hours of standstill are left out.
    """
    session = session.awake
    states = signalled_states(session)
    made = from_table(session.table(), session.config, states, session.period_s)
    return replace(made, converters=session.converters)


def from_table(
    table: dict[str, Array],
    config: Configuration,
    states: dict[tuple[str, str], Array] | None = None,
    row_s: float = 0.0,
) -> Columns:
    """The columns from a decoded table: `time_s` and the channels' columns by their decoded names, (rows,) each."""
    configured = config.channels

    def column(channel: ConfiguredChannel | None) -> Array | None:
        return (
            None if channel is None or channel.column not in table else np.asarray(table[channel.column], dtype=float)
        )

    def role(name: str) -> Array | None:
        channel = roles.channel_for(name, configured)
        values = column(channel)
        if values is None or channel is None:
            return None
        factor, offset = units.UNITS.get(name, {}).get(channel.unit, (1.0, 0.0))
        return values * factor + offset

    time_s = np.asarray(table["time_s"], dtype=float)
    nothing = np.full(len(time_s), np.nan)
    named = {c.name: values for c in configured if (values := column(c)) is not None}
    banks = {c.name: named[c.name] for c in roles.lambda_channels(configured) if c.name in named}
    rpm = column(crank_of(configured))
    if rpm is not None:
        rpm = np.where(np.abs(rpm) <= MOST_RPM, rpm, np.nan)
    others = {name: role(name) for name in roles.NAMES if name not in ("map", "throttle")}
    columns = Columns(
        time_s=time_s,
        lambda_=leaner(list(banks.values())) if banks else nothing,
        rpm=nothing if rpm is None else rpm,
        map_kpa=role("map"),
        throttle=role("throttle"),
        extra={name: values for name, values in others.items() if values is not None},
        config=config,
        banks=banks,
        named=named,
        states=states or {},
        row_s=row_s,
    )
    return on_grid(columns)


def signalled_states(session) -> dict[tuple[str, str], Array]:
    """(channel, state) -> bool array over the rows, True where the channel was in that configured state."""
    out: dict[tuple[str, str], Array] = {}
    for channel in session.config.channels:
        if not channel.states:
            continue
        volts = session.volts(channel.name)
        for state in channel.states:
            low, high = state.volts
            out[channel.name, state.name] = (volts >= low) & (volts <= high)
    return out
