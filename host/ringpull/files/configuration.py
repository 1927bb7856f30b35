"""A checked configuration as records, made once where its text is read; the defaults of what it leaves open."""

from __future__ import annotations

from collections.abc import Container, Iterable
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any

from shared_math import bus, channels, judging, mixture, speed
from shared_math import target as shared_target
from shared_math.config import check_bus, schema

Pair = tuple[float, float]
Numbers = tuple[float, ...]

# Assumed where the configuration does not tell. Common practice, no source
CYLINDERS = 4
DISPLACEMENT_CC = 2000.0
STOICH_AFR = 14.7  # by which controllers compute an air-fuel ratio from lambda

CHANNEL = {key for form in (*schema.KINDS.values(), *check_bus.KINDS.values()) for key in form}


@dataclass(frozen=True)
class Engine:
    """cylinders, displacement_cc: None where it is not configured."""

    cylinders: int | None = None
    displacement_cc: float | None = None
    strokes: int = speed.STROKES

    @property
    def assumed_cylinders(self) -> int:
        """As configured, else the usual number."""
        return CYLINDERS if self.cylinders is None else self.cylinders

    @property
    def assumed_cc(self) -> float:
        """Displacement as configured, else a usual one."""
        return DISPLACEMENT_CC if self.displacement_cc is None else self.displacement_cc


@dataclass(frozen=True)
class Vehicle:
    """gears: engine rpm per km/h, first gear first. exhaust_l: from the exhaust valves to the lambda sensor. None:
    not configured."""

    name: str = ""
    mass_kg: float | None = None
    cda_m2: float | None = None
    crr: float | None = None
    gears: Numbers = ()
    exhaust_l: float | None = None


@dataclass(frozen=True)
class Fuel:
    """written: as in the configuration, for the function that both sides share."""

    name: str = schema.FUEL_NAME
    written: dict = field(default_factory=lambda: {"name": schema.FUEL_NAME}, hash=False)

    @property
    def stoich_afr(self) -> float:
        """Mass of dry air that burns a unit mass of it."""
        return mixture.fuel(self.written)["stoich_afr"]


@dataclass(frozen=True)
class When:
    """A target's condition: the value of a channel, its least and most, or the name of its state."""

    channel: str
    wanted: float | str | Pair

    @property
    def limits(self) -> Numbers:
        """The values at which it begins or ceases to hold; none of a state."""
        if isinstance(self.wanted, str):
            return ()
        return self.wanted if isinstance(self.wanted, tuple) else (self.wanted,)


@dataclass(frozen=True)
class Target:
    """One target. load: the channel of its load axis; None: none is named. loads: its points, () for a target of one
    number. unit: theirs. speeds: points in rpm, () if it does not depend on speed. written: as in the configuration,
    for the functions that both sides share."""

    load: str | None = None
    loads: Numbers = ()
    unit: str = ""
    speeds: Numbers = ()
    when: When | None = None
    written: dict = field(default_factory=dict, hash=False)

    def lambda_at(self, load: float | None, rpm: float | None) -> float | None:
        """The target lambda there; None where it depends on what isn't known."""
        return shared_target.lambda_target(self.written, load, rpm)


@dataclass(frozen=True)
class State:
    """A state that a controller signals by its output. volts: from, to. means: one of judging.MEANINGS or None."""

    name: str
    volts: Pair
    means: str | None = None


@dataclass(frozen=True)
class Calibration:
    """A two-point calibration. u_volts: standard uncertainty of both volts, () if none was told. date: None if none was
    noted."""

    volts: Pair
    u_volts: Numbers = ()
    date: str | None = None


@dataclass(frozen=True)
class ConfiguredChannel:
    """A channel.

    column: its name in decoded tables. unit: of its values, "" if it has none. input: "" if it comes over the bus.
    label: None if none is configured. volts, values: its points. divider_ohm: to the terminal and to ground. pid: of an
    obd channel, -1 if there is no such parameter. cold: channel of a thermocouple's cold junction. expect:
    limits of a known value, () without. checks: the lambda channel whose signal wire it measures too. polarity: the
    edge or level that counts. frame_id: of a can channel. per_rev, per_metre: pulses, 0 where they count something
    else. written: as in the configuration, for the functions that both sides share.
    """

    name: str
    kind: str
    column: str
    unit: str = ""
    input: str = ""
    label: str | None = None
    checked: str | None = None
    bank: int | None = None
    volts: Numbers = ()
    values: Numbers = ()
    afr: bool = False
    stoich: float = STOICH_AFR
    accuracy: float | None = None
    tau_ms: float | None = None
    front: str = channels.PLAIN
    divider_ohm: Pair = channels.DIVIDER_5V
    calibration: Calibration | None = None
    states: tuple[State, ...] = ()
    cold: str | None = None
    expect: Numbers = ()
    checks: str | None = None
    polarity: str = ""
    per_rev: float = 0.0
    per_metre: float = 0.0
    per_cycle: float = 1
    pid: int | None = None
    frame_id: int | str | None = None
    written: dict = field(default_factory=dict, hash=False, repr=False)

    @property
    def shown(self) -> str:
        """Its name for people."""
        return self.name.replace("_", " ") if self.label is None else self.label

    @property
    def duty_column(self) -> str:
        """The column of the duty computed from an injector's on-time."""
        return channels.duty_name(self.written)

    @property
    def per_lambda(self) -> float:
        """What its values rise by for 1 of lambda."""
        return self.stoich if self.afr else 1.0

    @property
    def lambda_range(self) -> Pair | None:
        """(least, most) lambda that it can show; None where it has no points."""
        return (min(self.values) / self.per_lambda, max(self.values) / self.per_lambda) if self.values else None

    @property
    def counts_crank(self) -> bool:
        """Whether its pulses are the crank's."""
        return self.kind == "pulses" and self.per_rev > 0


@dataclass(frozen=True)
class Configuration:
    """rate_hz: 0 without a configuration. reference_v, bus_kbit, fuel: None where it is not configured. targets: the
    first whose condition holds counts. preset: name of a usual target that replaces them. written: the whole as it was
    recorded or read from a file, defaults filled; {} without a configuration that this version can use."""

    board: str = schema.BOARD
    rate_hz: int = 0
    engine: Engine = Engine()
    fuel: Fuel | None = None
    targets: tuple[Target, ...] = ()
    preset: str | None = None
    channels: tuple[ConfiguredChannel, ...] = ()
    vehicle: Vehicle = Vehicle()
    reference_v: float | None = None
    bus_kbit: int | None = None
    screen: bool = False
    customer: str = ""
    operator: str = ""
    conditions: str = ""
    note: str = ""
    written: dict = field(default_factory=dict, hash=False, repr=False)

    @property
    def assumed_fuel(self) -> Fuel:
        """As configured, else petrol."""
        return self.fuel or Fuel()

    @property
    def with_target(self) -> bool:
        """Whether anybody said what lambda is wanted."""
        return bool(self.targets) or self.preset is not None

    @cached_property
    def by_name(self) -> dict[str, ConfiguredChannel]:
        """Name -> channel."""
        return {one.name: one for one in self.channels}

    def judged_by(self, target: dict | list[dict]) -> Configuration:
        """This one with another target: in the same form, or {"preset": name of a usual one}."""
        if isinstance(target, dict) and "preset" in target:
            return replace(self, targets=(), preset=target["preset"])
        return replace(self, targets=targets_of(target), preset=None)


def crank_of(listed: Iterable[ConfiguredChannel]) -> ConfiguredChannel | None:
    """The first channel that counts the crank, or None."""
    return next((one for one in listed if one.counts_crank), None)


def holding(targets: Iterable[Target], known: dict[str, float | str]) -> Target | None:
    """The first target whose condition holds at these values or states of channels, or None."""
    return next((one for one in targets if shared_target.holding([one.written], known) is not None), None)


def of(written: dict) -> Configuration:
    """The records of a checked configuration. Keys that its form does not have are left aside."""
    fuel = written.get("fuel")
    return Configuration(
        **_plain(Configuration, written, schema.TOP)
        | {
            "engine": Engine(**_plain(Engine, written.get("engine", {}), schema.ENGINE)),
            "fuel": Fuel(fuel["name"], fuel) if fuel else None,
            "targets": targets_of(written.get("target")),
            "channels": channels_of(written.get("channels", [])),
            "vehicle": Vehicle(**_plain(Vehicle, written.get("vehicle", {}), schema.VEHICLE)),
            "bus_kbit": written.get("bus", {}).get("kbit"),
            "written": written,
        }
    )


def targets_of(written: dict | list[dict] | None) -> tuple[Target, ...]:
    """The records of a configuration's `target`."""
    listed = written if isinstance(written, list) else [written] if written else []
    return tuple(_target(one) for one in listed)


def channels_of(written: list[dict]) -> tuple[ConfiguredChannel, ...]:
    """The records of a configuration's `channels`."""
    return tuple(_channel(one) for one in written)


def _plain(record: type, written: dict, form: Container[str]) -> dict[str, Any]:
    """What a part of a configuration gives to the fields of the same name."""
    known = {key: value for key, value in written.items() if key in form and key in record.__dataclass_fields__}
    return {key: tuple(value) if isinstance(value, list) else value for key, value in known.items()}


def _target(written: dict) -> Target:
    unit, when = next((unit for key, unit in schema.LOAD_UNIT.items() if key in written), ""), written.get("when")
    loads, speeds = tuple(shared_target.load_axis(written) or ()), tuple(written.get("rpm", ()))
    return Target(written.get("load"), loads, unit, speeds, _when(**when) if when else None, written)


def _when(channel: str, **condition: Any) -> When:
    wanted = condition["is"]
    return When(channel, tuple(wanted) if isinstance(wanted, list) else wanted)


def _channel(written: dict) -> ConfiguredChannel:
    states = (State(one["name"], tuple(one["volts"]), judging.meaning(one)) for one in written.get("states", ()))
    made = written.get("calibration")
    return ConfiguredChannel(
        **_plain(ConfiguredChannel, written, CHANNEL)
        | {
            "column": channels.column_name(written),
            "unit": channels.unit_of(written),
            "afr": written.get("scale") == "afr",
            "divider_ohm": channels.divider_of(written),
            "calibration": Calibration(**_plain(Calibration, made, schema.CALIBRATION)) if made else None,
            "states": tuple(states),
            "pid": bus.pid_of(written) if written["kind"] == "obd" else None,
            "frame_id": written.get("id"),
            "written": written,
        }
    )
