"""Examines all instruments of a session, in an order in which one can be used to test the next."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

import numpy as np

from ringpull.analysis.drive_state import roles, target, units
from ringpull.analysis.drive_state.columns import Columns
from ringpull.analysis.instruments import (
    boost_check,
    known_check,
    lambda_checks,
    pressure_checks,
    signal_checks,
    speed_checks,
    stuck,
    throttle_checks,
    wire_check,
)
from ringpull.analysis.instruments.glance import Glance
from ringpull.analysis.instruments.records import Check, Finding, Instrument, State, not_tested
from ringpull.files.configuration import ConfiguredChannel, crank_of


def passed(findings: Iterable[Finding]) -> bool:
    """Whether no finding so far contradicts a channel."""
    return all(one.state is not State.CONTRADICTED for one in findings)


def examine(columns: Columns) -> list[Instrument]:
    """The instruments that an answer relies on, each with its findings.

    They are the lambda sensors, engine speed, manifold pressure, throttle, fuel pressure, supply, wheel speed and
    known values that are configured and were logged.
    """
    if len(columns) < 2:
        return []
    glance = Glance.of(columns)
    pressure, throttle = _pressure_and_throttle(glance)
    trusted_load = passed(pressure) and passed(throttle)
    glance = _tested_with(columns, passed(pressure), passed(throttle))
    speed = [speed_checks.breaks(glance), speed_checks.idle(glance), speed_checks.agrees(glance)]
    configured = columns.config.channels
    sensors = _sensors(glance, trusted_load)
    if columns.map_kpa is not None and passed(pressure):
        pressure.append(boost_check.boost(glance, _tell_of_boost(sensors) and passed(speed)))
        if not passed(pressure):
            glance = _tested_with(columns, False, passed(throttle))
            sensors = _sensors(glance, False)
    out = sensors
    out += _of_role(configured, "rpm", speed if np.isfinite(columns.rpm).any() else [])
    out += _of_role(configured, "map", pressure)
    out += _of_role(configured, "throttle", throttle)
    out += _of_role(configured, "fuel_pressure", _fuel_pressure(columns))
    out += _of_role(configured, "battery", [speed_checks.supply(glance)] if "battery" in columns.extra else [])
    out += _of_role(configured, "wheel", [speed_checks.gear(glance)] if "wheel" in columns.extra else [])
    for channel in configured:
        if channel.expect and channel.name in columns.named:
            out.append(Instrument(channel.name, "reference", None, (known_check.known(glance, channel),)))
    return out


def _tested_with(columns: Columns, pressure: bool, throttle: bool) -> Glance:
    """What lambda is tested with: only load channels that are not contradicted. pressure, throttle: whether they are
    not."""
    return Glance.of(
        replace(
            columns,
            map_kpa=columns.map_kpa if pressure else None,
            throttle=columns.throttle if throttle else None,
        )
    )


def _sensors(glance: Glance, trusted_load: bool) -> list[Instrument]:
    """The lambda sensors, with their findings."""
    columns = glance.columns
    channels = roles.lambda_channels(columns.config.channels)
    return [_lambda(glance, one, trusted_load) for one in channels if one.name in columns.banks]


def _tell_of_boost(sensors: list[Instrument]) -> bool:
    """Whether lambda can tell how much air there was. A pressure that reads too low with boost makes it look too rich,
    and lambda that is too rich tells of less air: that is no reason against it."""
    against = [finding.check for one in sensors for finding in one.against]
    return bool(sensors) and all(check is Check.RICH for check in against)


def _of_role(configured: Sequence[ConfiguredChannel], role: str, findings: list[Finding]) -> list[Instrument]:
    channel = crank_of(configured) if role == "rpm" else roles.channel_for(role, configured)
    return [Instrument(channel.name, role, None, tuple(findings))] if channel is not None and findings else []


def _pressure_and_throttle(glance: Glance) -> tuple[list[Finding], list[Finding]]:
    """The findings of both; each is tested with the other if that has passed its own checks."""
    columns = glance.columns
    pressure: list[Finding] = []
    throttle: list[Finding] = []
    turning = np.nan_to_num(columns.rpm) > 0
    recorded = turning & (columns.extra["present"] > 0.5) if "present" in columns.extra else turning
    if columns.map_kpa is not None:
        usable = np.isfinite(columns.map_kpa) & turning
        pressure = [pressure_checks.ambient(glance), pressure_checks.limits(glance), pressure_checks.swings(glance)]
        pressure.append(pressure_checks.at_idle(glance))
        pressure += [
            pressure_checks.top(glance, _range(columns, "map")[1]),
            signal_checks.coarse(columns.map_kpa),
        ]
        low = pressure_checks.below_range(columns.map_kpa, recorded, _range(columns, "map"))
        pressure.append(signal_checks.breaks(columns.map_kpa, recorded & ~low, columns.period_s))
        pressure.append(signal_checks.flat_top(columns.map_kpa, usable, columns.period_s, _range(columns, "map")[1]))
    if columns.throttle is not None:
        throttle = [throttle_checks.swings(glance), throttle_checks.closes(glance, False)]
        throttle.append(signal_checks.breaks(columns.throttle, recorded, columns.period_s))
        throttle.append(throttle_checks.opens(glance, columns.map_kpa is not None and passed(pressure)))
        if columns.map_kpa is not None and passed(throttle):
            pressure += [pressure_checks.follows(glance), pressure_checks.prompt(glance)]
        if columns.map_kpa is not None and passed(pressure) and passed(throttle):
            throttle[1] = throttle_checks.closes(glance, True)
    return pressure, throttle


def _fuel_pressure(columns: Columns) -> list[Finding]:
    values = columns.extra.get("fuel_pressure")
    if values is None:
        return []
    recorded = np.nan_to_num(columns.rpm) > 0
    if "present" in columns.extra:
        recorded &= columns.extra["present"] > 0.5
    broken = signal_checks.breaks(values, recorded, columns.period_s)
    # A whole signal is no evidence: one that is stuck does not break off either
    return [pressure_checks.fuel_moves(values), *([broken] if broken.state is State.CONTRADICTED else [])]


def _range(columns: Columns, role: str) -> tuple[float, float]:
    """Both ends of a channel's configured range in the unit of the analysis; infinite if it isn't configured."""
    channel = roles.channel_for(role, columns.config.channels)
    if channel is None or not channel.values:
        return -float("inf"), float("inf")
    factor, offset = units.UNITS.get(role, {}).get(channel.unit, (1.0, 0.0))
    return min(channel.values) * factor + offset, max(channel.values) * factor + offset


def _lambda(glance: Glance, channel: ConfiguredChannel, trusted_load: bool) -> Instrument:
    columns, name = glance.columns, channel.name
    cruised = lambda_checks.cruise(glance, name, trusted_load)
    usual = target.targets(columns)[1].usual
    # A boosted engine is richer than the target that is guessed for one without boost
    asked = trusted_load and not (usual is not None and usual.guessed)
    rich = lambda_checks.rich(glance, name, cruised) if asked else not_tested(Check.RICH)
    moves = lambda_checks.moves(glance, name)
    findings = [
        wire_check.agrees(glance, channel),
        moves,
        stuck.stuck(glance, name) if passed([moves]) else not_tested(Check.STUCK),
        lambda_checks.answers_cuts(glance, name),
        lambda_checks.dead(glance, name),
        lambda_checks.in_air(glance, name),
        lambda_checks.breaks(glance, name),
        lambda_checks.quick(glance, name),
        cruised,
        rich,
        lambda_checks.steps(glance, name),
        signal_checks.flat_top(
            columns.banks[name], np.nan_to_num(columns.rpm) > 0, columns.period_s, max(channel.values, default=np.inf)
        ),
        signal_checks.coarse(columns.banks[name]),
    ]
    others = [one for one in columns.banks if one != name]
    for other in others:
        findings += [lambda_checks.banks_agree(glance, name, other), lambda_checks.twins(glance, name, other)]
    bank = str(channel.bank) if channel.bank is not None else name if others else None
    return Instrument(name, "lambda", bank, tuple(findings), label=roles.called(columns.config, name))
