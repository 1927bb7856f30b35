"""Every write of the card takes up to half a second: with hard interrupts nothing is lost, with soft ones it is
counted."""

import numpy as np
import pytest
from truth import desk
from truth.profile import Profile
from truth.signals import Signals, Tach

import ringpull
from ringpull.dryrun.run import SLOWEST_WRITE_US, dry_run

RPM = Profile([(0, 1000), (5, 1000), (12, 6000), (20, 6000), (28, 1500), (34, 4000)])
UNTIL_S = 34
MORE = {"map": (30, 250), "throttle": (0, 100), "fuel_pressure": (300, 500), "battery": (11, 14)}


def restless(seed, low, high):
    """A value that is never still, so that blocks are as small as they get."""
    t = np.arange(0, UNTIL_S + 1, 0.4)
    return Profile(list(zip(t, np.random.default_rng(seed).uniform(low, high, t.size))))


def run(folder, analog, rate_hz, per_rev, slow_card, seed=1):
    """(session, signals) of a drive with two marked pulls on a card that slow."""
    channels = {"lambda_1": restless(0, 0.7, 1.2)}
    names = [*MORE, *(f"sensor_{n}" for n in range(analog))][: analog - 1]
    channels |= {name: restless(n, *MORE.get(name, (5, 95))) for n, name in enumerate(names, 1)}
    signals = Signals(RPM, Tach(per_rev), channels, rate_hz, presses_s=[10.0, 18.0, 24.0, 27.0])
    signals.write(folder)
    files = [folder / name for name in ("logger.json", "volts.csv", "edges.csv", "buttons.csv")]
    dry_run(*files, folder / "card", seed, slow_card=slow_card)
    (session,) = ringpull.read(folder / "card").sessions
    return session, signals


SIZES = {
    "six channels at 200 Hz, tach to 400 Hz": (6, 200, 4),
    "twelve channels at 200 Hz, tach to 800 Hz": (12, 200, 8),
    "four channels at 1000 Hz": (4, 1000, 2),
}


# Less than each of the others
LESS = "six channels at 200 Hz, tach to 400 Hz"


@pytest.mark.parametrize("size", [pytest.param(size, marks=pytest.mark.slow if size == LESS else ()) for size in SIZES])
def test_hard_interrupts_lose_nothing(tmp_path, size):
    analog, rate_hz, per_rev = SIZES[size]
    session, signals = run(tmp_path, analog, rate_hz, per_rev, "hard")
    raw = session.raw()
    np.testing.assert_array_equal(raw["row"], np.arange(len(raw)))
    assert len(raw) >= UNTIL_S * rate_hz - 1 and session.lost_rows == 0
    assert session.gaps() == [] and ringpull.read(tmp_path / "card").damage == []
    zero_s = desk.power_on_s(raw, signals, session.period_s)
    known = raw[(raw["engine_speed"] > 0) & (raw["engine_speed.age"] < (1 << 20) - 1)]
    edge_s = known["row"] * session.period_s + zero_s - known["engine_speed.age"] / 1e6
    assert np.abs(desk.nearest(signals.kept_edges_s, edge_s.to_numpy())).max() < 3e-6
    assert raw["engine_speed"].iloc[-1] == np.searchsorted(signals.kept_edges_s, raw["row"].iloc[-1] / rate_hz + zero_s)
    # The card was slow indeed, and the file says so
    timing = session.timing
    assert 300 < timing.stall_ms_max <= 2 * SLOWEST_WRITE_US / 1000 and timing.late_us_max == 0
    assert abs(timing.health["stall_us"] / 1000 - timing.stall_ms_max) < 1
    assert (raw["stall"] > 0).sum() > 20
    assert [round(mark.start_s, 1) for mark in session.marks] == [10.0, 24.0]


def test_marked_pulls_are_copied_whole(tmp_path):
    run(tmp_path, 6, 200, 4, "hard")
    (session,) = ringpull.read(tmp_path / "card" / "pulls.rpl").sessions
    row = session.raw()["row"].to_numpy()
    for start_s, end_s in ((10, 18), (24, 27)):
        wanted = np.arange((start_s - 5) * 200, (end_s + 3) * 200)
        assert np.isin(wanted, row).all()


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_soft_interrupts_lose_and_count_it_exactly(tmp_path, seed):
    session, _ = run(tmp_path, 6, 200, 4, "soft", seed)
    raw = session.raw()
    row = raw["row"].to_numpy()
    assert (np.diff(row) > 0).all()
    rows = row[-1] + 1
    assert session.rows == len(row) and session.lost_rows == rows - len(row) > 1000
    holes = sum(round((end - start) * 200) for start, end, _ in session.gaps())
    assert holes == session.lost_rows == session.timing.health["lost"]
    assert all("could not take" in reason for _, _, reason in session.gaps())
    # Between two stalls there is time to record: a write is not made for every row that could be taken
    assert len(row) > 0.15 * rows


def test_a_quick_card_has_no_stall(tmp_path):
    session, _ = run(tmp_path, 6, 200, 4, None)
    assert session.timing.stall_ms_max == 0 and session.lost_rows == 0 and session.gaps() == []
