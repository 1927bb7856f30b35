"""The newest row of a logger that records, in engineering units."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from ringpull.cable.link import Link
from ringpull.files.configuration import ConfiguredChannel, Target, crank_of, holding
from ringpull.ring.rows import setup as setups
from ringpull.ring.values import analog, decoded_columns, on_time
from ringpull.ring.values.analog import or_nan
from shared_math import cable, layout, transfer
from shared_math import channels as shared_channels
from shared_math import speed as shared_speed

CELL = np.dtype("<i4")


@dataclass(frozen=True)
class Now:
    """time_s: since the session's first row. values: column of a decoded table -> value, NaN where there is none.
    states: channel -> name of the state that its volts tell. target: lambda that is wanted now, or None. mark: the
    mark column. lamp: what the lamp shows, as layout.LAMP_*. fault: number of a fault that the driver is told, or 0.
    lost: rows lost since the session began."""

    time_s: float
    values: dict[str, float]
    states: dict[str, str]
    target: float | None
    mark: int
    lamp: int
    fault: int
    lost: int

    @property
    def lean(self) -> bool:
        """Whether lamp and buzzer warn of lean mixture."""
        return self.lamp == layout.LAMP_LEAN

    @property
    def open_pull(self) -> int:
        """Id of the marked pull that is open, or 0."""
        return layout.mark_pull(self.mark) if layout.mark_open(self.mark) else 0


class Newest:
    """Asks for the newest row of one session again and again. A new session needs a new one."""

    def __init__(self, link: Link) -> None:
        """Raises what the link raises, ValueError where the setup text does not describe rows."""
        state = link.state()
        self.link = link
        self.session: int = state["session"]
        self.setup = setups.parse(link.setup_text(state["parts"]))
        self.channels = decoded_columns.decodable(self.setup)
        self.crank = crank_of(self.channels)
        self._before: dict[str, np.ndarray] | None = None
        self._hz: dict[str, float] = {}

    def ask(self) -> Now | None:
        """The newest row; None before the first."""
        words, payload = self.link.ask(cable.NOW)
        cells = np.frombuffer(payload, CELL)
        if len(cells) != 1 + len(self.setup.columns):
            return None
        raw: dict[str, np.ndarray] = {"row": cells[:1].astype(np.int64)}
        for column, count in zip(self.setup.columns, cells[1:]):
            raw[column.name] = np.array([count], np.uint32)
        values = self._values(raw)
        states = self._states(raw)
        self._before = raw
        return Now(
            time_s=float(raw["row"][0]) * self.setup.period_us / 1e6,
            values=values,
            states=states,
            target=self._target(values, states),
            mark=int(raw["mark"][0]) if "mark" in raw else 0,
            lamp=int(raw["lamp"][0]) if "lamp" in raw else layout.LAMP_OFF,
            fault=int(words[2]),
            lost=int(words[1]),
        )

    def _values(self, raw: dict[str, np.ndarray]) -> dict[str, float]:
        out: dict[str, float] = {}
        ordered = sorted(self.channels, key=lambda one: one.kind == "pulse_width")  # these need the engine's speed
        for channel in ordered:
            column, kind = channel.column, channel.kind
            if kind in shared_channels.ANALOG_KINDS:
                out[column] = float(analog.value(self.setup, channel, raw)[0])
            elif kind == "pulse_width":
                rpm = None
                if self.crank:
                    rpm = np.array([out[self.crank.column]])
                on = on_time.on_ms(self.setup, channel, raw, rpm)
                out[column] = float(on[0])
                if rpm is not None:
                    out[channel.duty_column] = float(on_time.duty_pct(self.setup, channel, on, rpm)[0])
            elif kind in shared_channels.PULSE_KINDS:
                out[column] = self._pulses(channel, raw)
            elif kind in shared_channels.BUS_KINDS:
                out[column] = float(analog.from_bus(self.setup, channel, raw)[0])
            else:
                out[column] = float(raw[channel.name][0])
        return out

    def _pulses(self, channel: ConfiguredChannel, raw: dict[str, np.ndarray]) -> float:
        """The mean rate since the row before; while no edge comes, no faster than that allows."""
        name = channel.name
        count_column = self.setup.described(name, "count")
        age_top = self.setup.described(name + ".age", "age").top
        age = int(raw[name + ".age"][0])
        hz = math.nan
        if age >= age_top - 1:
            hz = 0.0
        elif self._before is not None:
            before = self._before
            age_before = int(before[name + ".age"][0])
            edges = (int(raw[name][0]) - int(before[name][0])) % count_column.top
            rows = int(raw["row"][0] - before["row"][0])
            passed_us = rows * self.setup.period_us - age + age_before
            if edges and age_before < age_top - 1 and passed_us > 0:
                hz = edges * 1e6 / passed_us
            elif not edges:
                hz = min(self._hz.get(name, math.nan), 1e6 / max(age, 1))
        self._hz[name] = hz
        if channel.kind == "frequency":
            return or_nan(transfer.frequency_value(channel.written, hz))
        if channel.per_metre:
            return float(shared_speed.speed_kmh(hz, channel.per_metre, 1e6))
        return float(shared_speed.rpm(hz, channel.per_rev, 1e6))

    def _states(self, raw: dict[str, np.ndarray]) -> dict[str, str]:
        out = {}
        for channel in self.channels:
            if channel.states:
                volts = float(analog.volts(self.setup, channel.name, raw)[0])
                state = transfer.state_of(channel.written, volts)
                if state is not None:
                    out[channel.name] = state
        return out

    def _target(self, values: dict[str, float], states: dict[str, str]) -> float | None:
        known: dict[str, float | str] = {}
        for channel in self.channels:
            value = values[channel.column]
            if value == value:
                known[channel.name] = value
        known |= states
        entry = holding(self.setup.config.targets, known)
        if entry is None:
            return None
        rpm = known.get(self.crank.name) if self.crank else None
        return entry.lambda_at(self._load(entry, known), rpm if isinstance(rpm, float) else None)

    def _load(self, entry: Target, known: dict[str, float | str]) -> float | None:
        """The load of a target's axis; None where its channel has another unit."""
        channel = next((one for one in self.channels if one.name == entry.load), None)
        if channel is None or channel.unit != entry.unit:
            return None
        value = known.get(channel.name)
        return value if isinstance(value, float) else None
