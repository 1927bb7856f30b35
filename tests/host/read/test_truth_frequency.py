"""Frequency inputs out of the whole chain: an ethanol sensor's content and an air flow meter's, and what is no
number."""

import json

import numpy as np
import pytest

import ringpull
from ringpull.dryrun.run import dry_run

HOLD_S = 4.0
# 50 Hz without ethanol, 150 Hz with nothing else, in a straight line; beyond 1 % of the span outside it is a fault
ETHANOL_HZ = [50.0, 60.0, 95.3, 150.0, 170.0, 30.0, 0.0, 120.0]
AIR_HZ = [1500.0, 4000.0, 9500.0, 6000.0, 12000.0, 700.0, 0.0, 2750.0]
AIR = ([1000, 2000, 5000, 10000], [2.0, 8.0, 60.0, 300.0])
CHANNELS = [
    {"name": "lambda_1", "input": "a0", "kind": "lambda", "volts": [0, 5], "values": [0.6, 1.4]},
    {"name": "ethanol", "input": "p0", "kind": "frequency", "unit": "%", "hz": [50, 150], "values": [0, 100]},
    {"name": "air_flow", "input": "p1", "kind": "frequency", "unit": "g/s", "hz": AIR[0], "values": AIR[1]},
]


@pytest.fixture(scope="module")
def session(tmp_path_factory):
    folder = tmp_path_factory.mktemp("frequency")
    (folder / "logger.json").write_text(json.dumps({"version": 1, "channels": CHANNELS}))
    until_s = HOLD_S * len(ETHANOL_HZ)
    (folder / "volts.csv").write_text(f"t_s,lambda_1\n0,2\n{until_s},2\n")
    lines = []
    for name, steps in (("ethanol", ETHANOL_HZ), ("air_flow", AIR_HZ)):
        for n, hz in enumerate(steps):
            if hz:
                lines += [(t, name) for t in np.arange(n * HOLD_S + 0.5 / hz, (n + 1) * HOLD_S, 1 / hz)]
    (folder / "edges.csv").write_text("t_s,input\n" + "".join(f"{t:.7f},{name}\n" for t, name in sorted(lines)))
    dry_run(folder / "logger.json", folder / "volts.csv", folder / "edges.csv", None, folder / "card")
    (session,) = ringpull.read(folder / "card").sessions
    return session


def told(session, column, n):
    t_s = session.frame()["time_s"].to_numpy()
    return session.frame()[column].to_numpy()[(t_s > n * HOLD_S + 0.3) & (t_s < (n + 1) * HOLD_S - 0.3)]


@pytest.mark.parametrize("n", range(len(ETHANOL_HZ)))
def test_ethanol(session, n):
    value, hz = told(session, "ethanol_pct", n), ETHANOL_HZ[n]
    if 50 <= hz <= 150:
        # a period is known to a microsecond at either end: 0.02 % of 150 Hz, 0.03 % of ethanol
        assert np.abs(value - (hz - 50)).max() < 0.05
    else:
        assert np.isnan(value).all()


@pytest.mark.parametrize("n", range(len(AIR_HZ)))
def test_air_flow(session, n):
    value, hz = told(session, "air_flow_gps", n), AIR_HZ[n]
    if AIR[0][0] <= hz <= AIR[0][-1]:
        truth = np.interp(hz, *AIR)
        assert np.abs(value / truth - 1).max() < 0.002
    else:
        assert np.isnan(value).all()


def test_the_edges_are_all_there(session):
    raw = session.raw()
    # up to the next edge of the last hold, and none of 12000 Hz is taken for ringing: half of 10000 Hz's period is the
    # filter
    assert session.timing.rejected_edges == {"ethanol": 0, "air_flow": 0}
    assert raw["ethanol"].iloc[-1] == pytest.approx(HOLD_S * sum(ETHANOL_HZ), abs=8)
    assert session.lost_rows == 0
