"""What moved with a lean event, and events that are not lean."""

import warnings

import numpy as np
import pytest
from analysis_scenes import Hole, said_hints, scene

from ringpull.analysis.judge import hints, other_events, session
from ringpull.wording.events import other

HOLE = Hole(2, 4500, 5000, 0.08)


def hints_of(**channels):
    made = scene(hole=HOLE)
    columns = made.columns
    start, end = made.spans[1]
    inside = (columns.rpm > 4480) & (columns.rpm < 5020) & (columns.time_s > start) & (columns.time_s < end)
    random = np.random.default_rng(1)
    for role, (level, step, noise) in channels.items():
        base = level + (columns.map_kpa - 100.0 if role == "fuel_pressure" else 0.0)
        columns.extra[role] = base + step * inside + random.normal(0, noise, len(columns))
    ready = session.prepare(columns, identified=False)
    events = session.judge_span(ready, start, end).lean_events
    assert len(events) == 1
    return said_hints(events[0].hints)


@pytest.mark.parametrize(
    "role, level, step, noise, word",
    [
        ("fuel_pressure", 350.0, -40.0, 4.0, "fuel pressure"),
        ("battery", 13.9, -1.2, 0.05, "supply voltage"),
        ("exhaust", 850.0, 45.0, 3.0, "exhaust gas"),
        ("intake", 35.0, 8.0, 0.5, "intake air"),
        ("knock", 0.4, 0.6, 0.05, "knock channel"),
        ("trim", 1.0, -6.0, 0.5, "fuel trim"),
    ],
)
def test_what_moved_is_named_as_a_possibility(role, level, step, noise, word):
    hints = hints_of(**{role: (level, step, noise)})
    kind = "possible consequence" if role in ("exhaust", "knock") else "possible cause"
    assert len(hints) == 1 and word in hints[0] and hints[0].startswith(kind)


def test_what_stays_is_not_named():
    assert hints_of(fuel_pressure=(350.0, 0.0, 4.0), battery=(13.9, 0.0, 0.05), exhaust=(850.0, 0.0, 3.0)) == []


@pytest.mark.parametrize("rpm_from, seed", [(5600, 1), (3000, 2)])
def test_fuel_pressure_that_fades_along_the_pull_is_named_against_its_base(rpm_from, seed):
    made = scene(hole=Hole(2, rpm_from, 6900, 0.08), seed=seed)
    columns = made.columns
    start, end = made.spans[1]
    here = (columns.time_s >= start) & (columns.time_s < end)
    random = np.random.default_rng(1)
    faded = 80.0 * np.clip((columns.rpm - rpm_from + 1100) / 2300, 0, 1) * here
    columns.extra["fuel_pressure"] = 250.0 + columns.map_kpa - faded + random.normal(0, 4, len(columns))
    (event,) = session.judge_span(session.prepare(columns, identified=False), start, end).lean_events
    assert len(event.hints) == 1 and "below its base" in said_hints(event.hints)[0]


def test_standing_at_the_limiter_is_a_possibility():
    made = scene(pulls=2)
    columns = made.columns
    start, end = made.spans[1]
    columns.rpm[columns.rows(end, end + 1.0)] = 6800.0
    columns.throttle[columns.rows(end, end + 1.0)] = 100.0
    assert "limiter" in [hint.kind for hint in hints.hints(columns, end + 0.2, end + 0.9, (start, end + 1.0))]
    assert hints.hints(columns, end - 0.6, end - 0.1, (start, end)) == []


def test_injector_duty_is_a_limit_in_sight():
    # duty = on-time (ms) x rpm / 1200 per cent, four-stroke, once a cycle
    made = scene(hole=HOLE)
    made.columns.extra["injector"] = np.full(len(made.columns), 22.0)
    start, end = made.spans[1]
    said = said_hints(hints.hints(made.columns, start + 2.8, start + 3.5, (start, end)))
    assert len(said) == 1 and "injector duty" in said[0]


def test_boost_above_its_target_is_a_possibility():
    made = scene(hole=HOLE)
    start, end = made.spans[1]
    for above_kpa, count in ((20.0, 1), (0.0, 0)):
        made.columns.extra["boost_target"] = made.columns.map_kpa - above_kpa
        said = said_hints(hints.hints(made.columns, start + 2.8, start + 3.5, (start, end)))
        assert len(said) == count and all("above its target" in words for words in said)


def test_rich_stretch():
    time_s = np.arange(1000) / 200
    excess = np.where((time_s > 2) & (time_s < 3), -0.08, 0.0) + np.random.default_rng(1).normal(0, 0.004, 1000)
    found = other_events.rich(time_s, excess)
    assert len(found) == 1 and found[0].size == pytest.approx(0.08, abs=0.01)
    assert found[0].start_s == pytest.approx(2.0, abs=0.1)
    assert other_events.rich(time_s, np.zeros(1000)) == []


def test_oscillation_has_its_frequency_and_noise_has_none():
    time_s = np.arange(1000) / 200
    random = np.random.default_rng(1)
    wave = 0.03 * np.sin(2 * np.pi * 3.2 * time_s) + random.normal(0, 0.004, 1000)
    found = other_events.oscillation(time_s, wave)
    assert len(found) == 1 and "3.2 Hz" in other(found[0]) and found[0].size == pytest.approx(0.03, rel=0.15)
    assert other_events.oscillation(time_s, random.normal(0, 0.006, 1000)) == []


def test_boost_overshoot_and_creep():
    time_s = np.arange(1200) / 200
    loaded = np.ones(1200, bool)
    steady = 170.0 * np.ones(1200)
    assert other_events.boost(time_s, steady, loaded) == []
    over = steady + 25.0 * np.exp(-(((time_s - 1.0) / 0.3) ** 2))
    assert [e.kind for e in other_events.boost(time_s, over, loaded)] == ["boost overshoot"]
    creeping = steady + 10.0 * np.maximum(time_s - 2.0, 0.0)
    assert "boost creep" in [e.kind for e in other_events.boost(time_s, creeping, loaded)]


def test_one_hump_is_no_oscillation():
    random = np.random.default_rng(3)
    for length_s, start_s, end_s in ((1.5, 0.5, 0.9), (2.0, 0.6, 1.0), (2.5, 1.0, 1.4)):
        time_s = np.arange(int(length_s * 200)) / 200
        hump = np.where((time_s > start_s) & (time_s < end_s), 0.08, 0.0) + random.normal(0, 0.004, len(time_s))
        assert other_events.oscillation(time_s, hump) == []


def test_boost_that_tapers_off_or_is_still_coming_is_neither_overshoot_nor_creep():
    time_s = np.arange(1200) / 200
    loaded, noise = np.ones(1200, bool), np.random.default_rng(4).normal(0, 0.5, 1200)

    def kinds(at_s, kpa):
        return [e.kind for e in other_events.boost(time_s, np.interp(time_s, at_s, kpa) + noise, loaded)]

    assert kinds([0, 0.7, 1.5, 6], [45, 180, 182, 150]) == []
    assert kinds([0, 4, 6], [80, 180, 182]) == []
    assert kinds([0, 6], [80, 180]) == []
    assert kinds([0, 1, 6], [45, 150, 190]) == ["boost creep"]
    assert kinds([0, 0.7, 0.9, 1.1, 6], [45, 180, 198, 178, 150]) == ["boost overshoot"]
    assert other_events.boost(time_s[:1], time_s[:1] + 170.0, loaded[:1]) == []


def test_a_fuel_pressure_without_a_value_raises_no_warning():
    nothing = np.full(100, np.nan)
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        assert hints.flat_pressure(nothing, np.linspace(40.0, 200.0, 100)) is nothing
