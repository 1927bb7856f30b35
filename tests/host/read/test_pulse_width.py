"""Injector on-time and duty out of the whole chain: pulses of known width at the terminal, through the firmware."""

import json

import numpy as np
import pytest

import ringpull
from ringpull.dryrun.run import dry_run
from ringpull.errors import BadSignal

UNTIL_S = 24.0
CUT_S = (14.0, 16.5)
LAMBDA = {"name": "lambda_1", "input": "a0", "kind": "lambda", "volts": [0, 5], "values": [0.6, 1.4]}
SPEED = {"name": "engine_speed", "input": "p0", "kind": "pulses", "per_rev": 2, "max_rpm": 9000}


def rpm_at(t_s):
    return np.interp(t_s, [0, 4, 12, 20], [900, 900, 7200, 2000])


def on_at(t_s):
    return np.interp(t_s, [0, 4, 12, 20], [2.1, 2.1, 14.8, 3.0])


def openings(strokes, per_cycle):
    """(begin_s, on_ms) of every injection: so often a cycle, none while fuel is cut and before 1 s."""
    t_s = np.arange(0, UNTIL_S, 1e-4)
    cycles = np.cumsum(rpm_at(t_s) / (60 if strokes == 2 else 120) * 1e-4) * per_cycle
    begin = np.interp(np.arange(1, int(cycles[-1])), cycles, t_s)
    begin = begin[(begin > 1) & ((begin < CUT_S[0]) | (begin > CUT_S[1]))]
    return begin, on_at(begin) / per_cycle * (0.5 if strokes == 2 else 1)


def write(folder, injector, strokes=4, per_cycle=1, chop=False, ringing=True, levels=True):
    """Signal files: engine speed of two edges a turn, and an injector's driver, low while it is open."""
    config = {"version": 1, "engine": {"cylinders": 4, "strokes": strokes}, "channels": [LAMBDA, SPEED, injector]}
    (folder / "logger.json").write_text(json.dumps(config))
    (folder / "volts.csv").write_text(f"t_s,lambda_1\n0,2.0\n{UNTIL_S},2.0\n")
    t_s = np.arange(0, UNTIL_S, 1e-4)
    turns = np.cumsum(rpm_at(t_s) / 60 * 1e-4) * 2
    lines = [(t, "engine_speed", 1) for t in np.interp(np.arange(1, int(turns[-1])), turns, t_s)]
    begin, on_ms = openings(strokes, per_cycle)
    on_level = 1 if injector.get("polarity") == "high" else 0
    for at, on in zip(begin, on_ms / 1000):
        lines += [(at, "injector", on_level), (at + on, "injector", 1 - on_level)]
        if chop:  # from 1 ms on the driver holds the current by switching at 10 kHz
            for off in np.arange(at + 1e-3, at + on - 2e-4, 1e-4):
                lines += [(off, "injector", 1 - on_level), (off + 4e-5, "injector", on_level)]
        if ringing:  # after its kick the line swings back, shorter than any injection
            lines += [(at + on + 4e-4, "injector", on_level), (at + on + 4.3e-4, "injector", 1 - on_level)]
    lines.sort()
    text = [f"{t:.7f},{name}" + (f",{level}" if levels else "") for t, name, level in lines]
    (folder / "edges.csv").write_text("\n".join(["t_s,input" + (",level" if levels else ""), *text]) + "\n")


def drive(folder):
    dry_run(folder / "logger.json", folder / "volts.csv", folder / "edges.csv", None, folder / "card")
    (session,) = ringpull.read(folder / "card").sessions
    return session


@pytest.mark.parametrize(
    ("more", "strokes", "per_cycle", "chop"),
    [
        ({}, 4, 1, False),
        ({"polarity": "high"}, 4, 1, False),
        ({"per_cycle": 2}, 4, 2, False),
        ({}, 2, 1, False),
        ({}, 4, 1, True),
    ],
    ids=["to ground", "high while open", "batch fire", "two-stroke", "chopped current"],
)
def test_on_time_and_duty(tmp_path, more, strokes, per_cycle, chop):
    write(tmp_path, {"name": "injector", "input": "p1", "kind": "pulse_width", **more}, strokes, per_cycle, chop)
    session = drive(tmp_path)
    frame = session.frame()
    t_s = frame["time_s"].to_numpy()
    on, duty, rpm = (frame[name].to_numpy() for name in ("injector_ms", "injector_duty_pct", "engine_speed_rpm"))
    begin, on_ms = openings(strokes, per_cycle)
    end = begin + on_ms / 1000
    last = np.searchsorted(end, t_s) - 1
    sure = last == np.searchsorted(end, t_s - 5e-4) - 1  # an end counts once the line was quiet for `ringing_us`
    cycle_s = (60 if strokes == 2 else 120) / rpm_at(t_s)
    cut = (t_s > CUT_S[0] + 2.5 * cycle_s / per_cycle + 0.02) & (t_s < CUT_S[1])
    running = (t_s > 1.3) & (t_s < UNTIL_S - 0.3) & ~((t_s > CUT_S[0] - 0.05) & (t_s < CUT_S[1] + 0.2))
    sure &= running
    # edges are stamped to a microsecond, so a width is within one and a half
    assert np.abs(on[sure] - on_ms[last[sure]]).max() < 0.0016
    assert (on[cut] == 0).all() and (duty[cut] == 0).all() and cut.sum() > 300
    assert np.isnan(on[t_s < 0.9]).all()
    # duty = on_ms * rpm / 1200 (kinematics of a four-stroke, one opening in two turns)
    expected = on[sure] * rpm[sure] / (600 if strokes == 2 else 1200) * per_cycle
    np.testing.assert_allclose(duty[sure], expected, rtol=1e-12)
    truth = 100 * on_ms[last] / 1000 / cycle_s * per_cycle
    even = sure & (np.abs(t_s[:, None] - [4, 12, 20]).min(axis=1) > 0.2)  # engine speed is a whole cycle's mean
    assert np.abs(duty[even] / truth[even] - 1).max() < 0.001
    assert 80 < duty[sure].max() < 95
    if not chop:
        assert session.timing.rejected_edges["injector"] == len(begin)


def test_it_is_a_channel_with_unit_and_label(tmp_path):
    write(tmp_path, {"name": "injector", "input": "p1", "kind": "pulse_width"})
    session = drive(tmp_path)
    units = {channel.column: (channel.unit, channel.kind) for channel in session.channels}
    assert units["injector_ms"] == ("ms", "pulse_width") and units["injector_duty_pct"] == ("%", "duty")
    assert set(units) == set(session.frame().columns) - {"session", "time_s", "mark"}


def test_the_analysis_takes_it_for_injector_time(tmp_path):
    from ringpull.analysis.drive_state import columns

    write(tmp_path, {"name": "cylinder_1", "input": "p1", "kind": "pulse_width"})
    text = (tmp_path / "edges.csv").read_text().replace("injector", "cylinder_1")
    (tmp_path / "edges.csv").write_text(text)
    session = drive(tmp_path)
    found = columns.from_session(session).extra["injector"]
    np.testing.assert_array_equal(found, session.frame()["cylinder_1_ms"].to_numpy())


def test_recordings_without_levels_are_refused(tmp_path):
    write(tmp_path, {"name": "injector", "input": "p1", "kind": "pulse_width"}, levels=False)
    with pytest.raises(BadSignal, match="no column 'level'"):
        drive(tmp_path)


def test_levels_that_are_none_are_refused(tmp_path):
    write(tmp_path, {"name": "injector", "input": "p1", "kind": "pulse_width"})
    text = (tmp_path / "edges.csv").read_text().replace(",engine_speed,1", ",engine_speed,5", 1)
    (tmp_path / "edges.csv").write_text(text)
    with pytest.raises(BadSignal, match="values other than 1 and 0"):
        drive(tmp_path)


def test_a_counted_input_takes_the_edges_that_its_polarity_names(tmp_path):
    """A tach line of unequal halves with both edges recorded: falling ones are counted, a third of a period late."""
    t_s = np.arange(0.5, 9.5, 0.01)
    rising = [(t, 1) for t in t_s] + [(t + 0.0033, 0) for t in t_s]
    lines = [f"{t:.6f},engine_speed,{level}" for t, level in sorted(rising)]
    (tmp_path / "edges.csv").write_text("\n".join(["t_s,input,level", *lines]) + "\n")
    (tmp_path / "volts.csv").write_text("t_s,lambda_1\n0,2.0\n10,2.0\n")
    config = {"version": 1, "channels": [LAMBDA, dict(SPEED, polarity="falling")]}
    (tmp_path / "logger.json").write_text(json.dumps(config))
    raw = drive(tmp_path).raw()
    assert raw["engine_speed"].max() == len(t_s) and raw["engine_speed.rejected"].max() == 0
    row = raw[raw["engine_speed"] == 100].iloc[0]
    assert row["row"] * 0.005 - row["engine_speed.age"] / 1e6 == pytest.approx(0.5 + 0.99 + 0.0033, abs=3e-6)
