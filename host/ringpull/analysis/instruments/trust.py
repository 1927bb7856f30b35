"""Replacements for contradicted instruments, and the contradictions that leave the verdict in doubt."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from ringpull.analysis.drive_state import roles
from ringpull.analysis.drive_state.columns import Columns, leaner
from ringpull.analysis.instruments.examine import examine
from ringpull.analysis.instruments.glance import Glance
from ringpull.analysis.instruments.records import Check, Instrument, Span, State

NATURAL_KPA = 115.0  # a target that goes no higher belongs to an engine without boost
FULL_THROTTLE_KPA = 100.0  # least manifold pressure assumed with the throttle wide open


@dataclass(frozen=True)
class StandIn:
    """The replacement of a contradicted instrument.

    by: "pressure", "throttle", "full throttle" (the target is that of full throttle without boost) or "other bank".
    """

    channel: str
    by: str
    label: str = ""

    @property
    def called(self) -> str:
        """The instrument's name to show."""
        return self.label or self.channel


@dataclass(frozen=True)
class Trust:
    """columns: the columns without contradicted readings. doubted: contradicted instruments that the verdict relies on
    and that nothing replaces completely."""

    columns: Columns
    instruments: tuple[Instrument, ...] = ()
    doubted: tuple[Instrument, ...] = ()
    stand_ins: tuple[StandIn, ...] = ()


def trust(columns: Columns) -> Trust:
    """Examine the instruments of a session's columns, and replace contradicted ones as far as possible."""
    found = examine(columns)
    wrong = [one for one in found if one.state is State.CONTRADICTED]
    against = {one.role: one for one in wrong if one.role not in ("lambda", "reference")}
    banks = [one for one in wrong if one.role == "lambda"]
    # One known value that is off leaves every analog channel in doubt
    out, doubted, stand_ins = columns, [*banks, *(one for one in wrong if one.role == "reference")], []
    for bank in banks:
        out = without_bank(out, bank)
    if banks and len(banks) < len(columns.banks):
        stand_ins += [StandIn(bank.channel, "other bank", bank.label) for bank in banks]
    pressure, throttle = against.get("map"), against.get("throttle")
    if "rpm" in against:
        doubted.append(against["rpm"])
    if throttle is not None:
        out = without_column(out, throttle, "throttle")
        stands = pressure is None and _known(columns.map_kpa) and not target_by(columns, throttle.channel)
        stand_ins += [StandIn(throttle.channel, "pressure")] if stands else []
        doubted += [] if stands else [throttle]
    if pressure is not None:
        out, by, enough = _without_pressure(out, pressure, throttle is None and _known(columns.throttle))
        stand_ins += [StandIn(pressure.channel, by)] if by else []
        doubted += [] if enough else [pressure]
    return Trust(out, tuple(found), tuple(doubted), tuple(stand_ins))


def of_session(found: Trust, session: int) -> Trust:
    """The trust with the session's id in its instruments."""

    def numbered(instruments: tuple[Instrument, ...]) -> tuple[Instrument, ...]:
        return tuple(replace(one, session=session) for one in instruments)

    return replace(found, instruments=numbered(found.instruments), doubted=numbered(found.doubted))


def _known(values: np.ndarray | None) -> bool:
    return values is not None and bool(np.isfinite(values).any())


def spans_of(instrument: Instrument) -> tuple[Span, ...]:
    """The spans of readings that look valid but are not; empty if the contradiction is not limited to spans.

    An output at an end of its range is recognised elsewhere.
    """
    return tuple(span for finding in instrument.against if finding.check is not Check.DEAD for span in finding.spans)


def _blanked(columns: Columns, values: np.ndarray, spans: tuple[Span, ...]) -> np.ndarray:
    out = values.copy()
    for start_s, end_s in spans:
        out[columns.rows(start_s, end_s)] = np.nan
    return out


def without_bank(columns: Columns, bank: Instrument) -> Columns:
    """The columns without a lambda sensor's invalid readings.

    Readings with a wrong scale are kept, since lean ones among them must be looked at.
    """
    spans = spans_of(bank)
    if not spans:
        return columns
    values = _blanked(columns, columns.banks[bank.channel], spans)
    banks = {**columns.banks, bank.channel: values}
    return replace(
        columns, banks=banks, named={**columns.named, bank.channel: values}, lambda_=leaner(list(banks.values()))
    )


def without_column(columns: Columns, instrument: Instrument, field: str) -> Columns:
    """The columns without pressure or throttle. field: the field's name."""
    named = {name: values for name, values in columns.named.items() if name != instrument.channel}
    return replace(columns, named=named, **{field: None})


def target_by(columns: Columns, channel: str) -> bool:
    """Whether the target depends on this channel; a target that names none depends on pressure."""
    pressure = roles.channel_for("map", columns.config.channels)
    usual = None if pressure is None else pressure.name
    if not columns.config.targets:
        return channel == usual
    for entry in columns.config.targets:
        if entry.loads and (entry.load or usual) in (channel, _alias(channel, usual)):
            return True
        if entry.when is not None and entry.when.channel == channel:
            return True
    return False


def _alias(channel: str, usual: str | None) -> str:
    return "map" if channel == usual else channel


def _most_kpa(columns: Columns) -> float:
    """The highest load of the targets by pressure; infinite for a usual target."""
    config = columns.config
    if not config.targets:
        return 0.0 if (config.preset or "").endswith("natural") else float("inf")
    return max([0.0, *(float(value) for entry in config.targets for value in entry.loads)])


def _without_pressure(columns: Columns, pressure: Instrument, throttle: bool) -> tuple[Columns, str, bool]:
    """(columns, the replacement of pressure or "", whether it is enough). throttle: whether there is a sound one.

    At full throttle the manifold has at least the pressure of the surrounding air: without boost that gives the target,
    with boost the target is no leaner than that.
    """
    spans = spans_of(pressure)
    by_pressure = target_by(columns, pressure.channel)
    if spans and columns.map_kpa is not None:
        values = _blanked(columns, columns.map_kpa, spans)
        left = replace(columns, map_kpa=values, named={**columns.named, pressure.channel: values})
        return left, "throttle" if throttle else "", False
    out = without_column(columns, pressure, "map_kpa")
    if not by_pressure:
        return out, "throttle" if throttle else "", throttle
    if not throttle:
        return _pinned(out, pressure.channel), "", False
    glance = Glance.of(columns)
    with np.errstate(invalid="ignore"):
        wide = columns.throttle >= glance.throttle_full  # type: ignore[operator]
    held = np.where(wide, FULL_THROTTLE_KPA, np.nan)
    configured = any(entry.loads for entry in columns.config.targets)
    if configured:
        out = _pinned(replace(out, named={**out.named, pressure.channel: held}), pressure.channel)
    return out, "full throttle", _most_kpa(columns) <= NATURAL_KPA


def _pinned(columns: Columns, channel: str) -> Columns:
    """The columns with the pressure channel named in targets that use it without naming it, so that no other load
    replaces it."""
    targets = tuple(
        replace(entry, load=channel) if entry.loads and not entry.load else entry for entry in columns.config.targets
    )
    return replace(columns, config=replace(columns.config, targets=targets))
