"""A blocked hose, and one that comes off where no throttle is logged: pressure that is late, or high at idle."""

from dataclasses import replace

import numpy as np
import pytest
from bench import random_drives as rd
from scipy.signal import lfilter
from truth.drives import make_drive

from ringpull.analysis.instruments import pressure_checks
from ringpull.analysis.instruments.examine import examine
from ringpull.analysis.instruments.glance import Glance
from ringpull.analysis.instruments.records import Cause, Check, State
from ringpull.wording import instruments as words

SEEDS = (3000, 3001, 3002)


def slowed(columns, tau_s):
    """The columns with pressure through a lag of the first order."""
    keep = np.exp(-columns.period_s / tau_s)
    slow = lfilter([1 - keep], [1, -keep], columns.map_kpa, zi=[columns.map_kpa[0] * keep])[0]
    return replace(columns, map_kpa=slow)


def of_map(columns):
    (found,) = (one for one in examine(columns) if one.role == "map")
    return found


@pytest.mark.parametrize("seed", SEEDS)
def test_pressure_that_is_late_is_contradicted_and_a_prompt_one_is_not(seed):
    columns = rd.columns_of(make_drive(seed))
    assert of_map(columns).state is State.SOUND
    assert pressure_checks.prompt(Glance.of(slowed(columns, 0.3))).state is State.SOUND
    found = of_map(slowed(columns, 1.3))
    late = next(one for one in found.findings if one.check is Check.PROMPT)
    # half of a fall to 35 kPa takes 0.69 lags and more, the end of the fall lying lower
    assert late.state is State.CONTRADICTED and late.cause is Cause.HOSE and 0.6 < late.figures["seconds"] < 1.4
    assert "to fall by half" in str(words.evidence(found)) and "blocked" in words.cause(found)


def test_values_from_the_cars_bus_come_too_seldom_to_tell():
    columns = slowed(rd.columns_of(make_drive(SEEDS[0])), 1.3)
    channels = tuple(replace(one, kind="obd") if one.name == "map" else one for one in columns.config.channels)
    asked = replace(columns, config=replace(columns.config, channels=channels))
    assert pressure_checks.prompt(Glance.of(asked)).state is State.NOT_TESTED


def idling(*levels_kpa, rpm_at=None):
    """Pressure alone: idles of 5 s at these, 10 s at speed between them. rpm_at: number of an idle -> its speed."""
    columns = rd.columns_of(make_drive(SEEDS[0]))
    step = round(15.0 / columns.period_s)
    rows = len(levels_kpa) * step
    idle = (np.arange(rows) % step) * columns.period_s < 5.0
    slow = np.repeat([(rpm_at or {}).get(n, 900.0) for n in range(len(levels_kpa))], step)
    rpm = np.where(idle, slow, 4000.0)
    kpa = np.where(idle, np.repeat(levels_kpa, step), 100.0)
    time_s = np.arange(rows) * columns.period_s
    nothing = {name: None for name in ("throttle",)}
    return replace(columns, time_s=time_s, rpm=rpm, map_kpa=kpa, lambda_=np.ones(rows), extra={}, **nothing)


def test_an_engine_that_had_a_vacuum_at_idle_has_one_later():
    assert pressure_checks.at_idle(Glance.of(idling(35, 38, 40))).state is State.SOUND
    assert pressure_checks.at_idle(Glance.of(idling(98, 99, 98))).state is State.NOT_TESTED  # no vacuum at all
    lugging = idling(35, 38, 97, 98, rpm_at={2: 1500.0, 3: 1700.0})  # full load uphill, as real cars do
    assert pressure_checks.at_idle(Glance.of(lugging)).state is State.SOUND
    assert pressure_checks.at_idle(Glance.of(idling(35, 98, 97, 40))).state is State.SOUND  # a hose stays off
    assert pressure_checks.at_idle(Glance.of(idling(35, 38, 99))).state is State.SOUND  # too short to tell
    off = pressure_checks.at_idle(Glance.of(idling(35, 38, 99, 98)))
    assert off.state is State.CONTRADICTED and off.cause is Cause.HOSE
    (span,) = off.spans
    assert 19.5 < span[0] < 20.5 and span[1] > 60.0
    assert (off.figures["low"], off.figures["high"]) == pytest.approx((36.5, 98.5), abs=0.6)
