"""A logger that was left on: hours without rows cost nothing, and what is judged beside them is what it was."""

import resource
import subprocess
import sys

import long_sessions
import numpy as np
import pytest
import second_reader
from analysis_scenes import scene
from ring_bytes import CONFIG, Ring, resealed

import ringpull
from ringpull.analysis import local
from ringpull.analysis.answer import judge_pulls
from ringpull.analysis.drive_state import columns as drive_columns
from ringpull.errors import TooLong
from ringpull.files import configuration
from ringpull.report.evidence import ran
from ringpull.ring.values import rest

MOST_MB = 700


def short(pull):
    return (round(pull.lambda_mean, 6), round(pull.lambda_max, 6), len(pull.lean_events))


def test_two_drives_a_day_apart_in_one_session_are_judged_as_one_alone(tmp_path):
    alone = [short(one.numbers) for one in judge_pulls(ringpull.read(long_sessions.DEMO).pulls())]
    drive = ringpull.read(long_sessions.left_on(tmp_path / "drive.rpl", 24.0, False))
    (view,) = drive.views()
    rows = len(view.session.table()["time_s"])
    assert len(view.columns) <= rows + 2 * drive_columns.HOLE_S / view.columns.period_s + 2
    both = [short(one.numbers) for one in judge_pulls(drive.pulls())]
    assert len(alone) == 3 and len(both) >= 6
    for one, other in zip(alone, both, strict=False):  # delay and lag are told from twice as many events
        assert one[:2] == pytest.approx(other[:2], abs=2e-3) and one[2] == other[2]
    assert drive.pulls()[-1].start_s > 20 * 3600


@pytest.fixture(scope="module")
def rested(tmp_path_factory):
    """24 h of rows, all there: a drive, a day of a stopped engine, the drive again."""
    return long_sessions.left_on(tmp_path_factory.mktemp("rested") / "drive.rpl", 24.0, True)


def test_a_day_of_a_stopped_engine_between_two_drives_is_not_decoded(rested):
    alone = [short(one.numbers) for one in judge_pulls(ringpull.read(long_sessions.DEMO).pulls())]
    drive = ringpull.read(rested)
    (session,) = drive.sessions
    assert session.rows > 17_000_000
    rows = len(session.awake.table()["time_s"])
    assert rows < len(ringpull.read(long_sessions.DEMO).sessions[0].raw()) * 2 + 4 * rest.BESIDE_S / session.period_s
    assert session.rested_s == pytest.approx((session.rows - rows) * session.period_s)
    assert f"; {session.rested_s / 3600:.1f} h of it at rest" in ran(session, None)[2]
    both = [short(one.numbers) for one in judge_pulls(drive.pulls())]
    assert len(alone) == 3 and len(both) == 6
    for one, other in zip(alone, both, strict=False):  # delay and lag are told from twice as many events
        assert one[:2] == pytest.approx(other[:2], abs=2e-3) and one[2] == other[2]
    assert drive.pulls()[-1].start_s > 23 * 3600
    assert "_raw" not in session.__dict__ and "_table" not in session.__dict__


def test_a_short_session_and_one_without_a_crank_are_taken_whole(tmp_path):
    (session,) = ringpull.read(long_sessions.DEMO).sessions
    assert session.awake is session and session.rested_s == 0.0
    ring = Ring(settings=CONFIG | {"channels": [one for one in CONFIG["channels"] if one["kind"] != "pulses"]})
    ring.setup()
    for hour in range(3):
        ring.numbered(hour * 360_000, 20)
    (tmp_path / "drive.rpl").write_bytes(ring.data())
    (session,) = ringpull.read(tmp_path / "drive.rpl").sessions
    assert session.duration_s > 7200 and session.awake is session


def test_an_open_mark_keeps_a_stopped_engine_awake(tmp_path):
    ring = Ring()
    ring.setup()
    still = {"engine_speed": 7, "engine_speed.age": 2**20 - 1}
    for minute in range(150):
        mark = 1 if minute == 75 else 2 * (minute > 75)
        ring.rows(minute * 6000, [ring.row(n, mark=mark, **still) for n in range(minute * 6000, minute * 6000 + 40)])
    (tmp_path / "drive.rpl").write_bytes(ring.data())
    (session,) = ringpull.read(tmp_path / "drive.rpl").sessions
    times = session.awake.table()["time_s"]
    assert len(session.awake.marks) == 1
    assert 73 * 60 < times.min() and times.max() < 78 * 60 and {75 * 60.0} <= set(times.tolist())
    assert session.rows == 150 * 40


def test_more_running_engine_than_fits_is_told(tmp_path, monkeypatch):
    monkeypatch.setattr("ringpull.session.MOST_VALUES", 1000)
    with pytest.raises(TooLong, match="too much to judge"):
        ringpull.read(long_sessions.DEMO).pulls()
    assert ringpull.read(long_sessions.DEMO).sessions[0].lean_warnings is not None


def test_more_rows_a_second_than_any_logger_records_are_told(tmp_path):
    """49 rows of a made-up file, 10 us and 43 s apart, once took more than 20 s of sums over windows of seconds."""
    ring = Ring(settings=CONFIG | {"rate_hz": 1000})
    ring.period_us = 10
    ring.setup()
    ring.numbered(0, 20)
    (tmp_path / "drive.rpl").write_bytes(ring.data())
    drive = ringpull.read(tmp_path / "drive.rpl")
    assert drive.sessions[0].period_s == pytest.approx(1e-5) and len(drive.sessions[0].table()["time_s"]) == 20
    with pytest.raises(TooLong, match="100000 rows a second"):
        drive.pulls()


def test_sums_over_long_windows_are_the_same_by_either_way(monkeypatch):
    random = np.random.default_rng(4)
    values = np.where(random.random(3000) < 0.1, np.nan, 4000.0 + np.cumsum(random.normal(0.0, 3.0, 3000)))
    direct = local.line(values, 0.001, 100)
    monkeypatch.setattr(local, "DIRECT", 50)
    for one, other in zip(local.line(values, 0.001, 100), direct, strict=True):
        np.testing.assert_allclose(one, other, rtol=1e-9, atol=1e-9)


def _bounded():
    resource.setrlimit(resource.RLIMIT_AS, (MOST_MB << 20, MOST_MB << 20))


@pytest.mark.slow
def test_a_report_of_a_day_with_all_its_rows_needs_little_memory(rested, tmp_path):
    words = [sys.executable, "-m", "ringpull", "report", rested, "-o", tmp_path / "report.html"]
    environment = {"OPENBLAS_NUM_THREADS": "1", "PYTHONPATH": ":".join(sys.path)}
    done = subprocess.run(list(map(str, words)), capture_output=True, text=True, preexec_fn=_bounded, env=environment)
    assert done.returncode == 0, done.stderr


@pytest.mark.parametrize(
    "command", [*(pytest.param([name], marks=pytest.mark.slow) for name in ("pulls", "fuelmap")), ["info"]]
)
def test_commands_need_little_memory_for_it(tmp_path, command):
    source = long_sessions.left_on(tmp_path / "drive.rpl", 24 * 30, False)
    words = [sys.executable, "-c", "from ringpull.cli.main import main; raise SystemExit(main())", *command, source]
    environment = {"OPENBLAS_NUM_THREADS": "1", "PYTHONPATH": ":".join(sys.path)}
    done = subprocess.run(list(map(str, words)), capture_output=True, text=True, preexec_fn=_bounded, env=environment)
    assert done.returncode == 0, done.stderr


def test_an_engine_speed_that_no_engine_has_is_none():
    """Counts of damage once made bins of 50 rpm up to 10^10: 20 GB."""
    config = {"channels": [{"name": "engine_speed", "input": "p0", "kind": "pulses", "per_rev": 2}]}
    table = {"time_s": np.arange(4) / 200, "engine_speed_rpm": np.array([3000.0, 6e10, np.nan, 29_999.0])}
    made = drive_columns.from_table(table, configuration.of(config), row_s=1 / 200)
    assert made.rpm.tolist()[::3] == [3000.0, 29_999.0] and np.isnan(made.rpm[1:3]).all()


def test_places_in_a_grid_with_time_left_out():
    whole = scene(pulls=1).columns
    row = np.concatenate([np.arange(400), np.arange(400) + 100_000])
    table = {"time_s": row * whole.period_s} | {"lambda_1": np.linspace(0.8, 1.0, 800)}
    made = drive_columns.from_table(table, whole.config, row_s=whole.period_s)
    beside = round(drive_columns.HOLE_S / whole.period_s)
    assert len(made) == 800 + 2 * beside
    there = made.extra["present"] > 0.5
    assert np.allclose(made.place(made.time_s), np.arange(len(made)), rtol=0, atol=1e-6)
    assert np.allclose(made.time_s[there], table["time_s"])
    inside = made.place(np.array([100.0]))  # in what is left out: between rows without values
    assert 400 < inside[0] < len(made) - 400
    assert made.left_out_s(slice(0, len(made))) == pytest.approx((100_000 - 400 - 2 * beside) * whole.period_s)
    assert made.left_out_s(slice(0, 300)) == 0.0


@pytest.mark.parametrize("most", [1 << 13, pytest.param(drive_columns.MOST_BESIDE, marks=pytest.mark.slow)])
def test_many_holes_stay_bounded(tmp_path, monkeypatch, most):
    monkeypatch.setattr(drive_columns, "MOST_BESIDE", most)
    ring = Ring()
    ring.setup()
    for at in range(400):
        ring.numbered(at * 40_000, 10)
    (tmp_path / "drive.rpl").write_bytes(ring.data())
    (view,) = ringpull.read(tmp_path / "drive.rpl").views()
    assert len(view.columns) < 2 * most + 5000


def test_the_period_of_the_file_counts_and_not_the_rate_of_the_configuration(tmp_path):
    ring = Ring(period_us=10**9)
    ring.setup()
    ring.numbered(0, 300)
    (tmp_path / "drive.rpl").write_bytes(ring.data())
    (view,) = ringpull.read(tmp_path / "drive.rpl").views()
    assert view.columns.period_s == 1000.0 and len(view.columns) == 300


def test_blocks_that_claim_more_rows_than_a_logger_writes_are_damaged(tmp_path):
    ring = Ring()
    ring.setup()
    ring.numbered(0, 200)
    last = ring.blocks[-1]
    block = long_sessions.resting_block(ring.bits, ring.row(0), 200)
    endless = long_sessions.sealed(block, ring.sequence, 1, 5000)
    endless = resealed(endless, at_18=0xFF, at_19=0x7F)  # 32,767 rows that are all alike
    endless = endless[:4] + last[4:8] + endless[8:508]
    endless = resealed(endless + bytes(4))
    ring.blocks += [endless]
    (tmp_path / "drive.rpl").write_bytes(ring.data())
    drive = ringpull.read(tmp_path / "drive.rpl")
    assert drive.sessions[0].rows == 200 and len(drive.sessions[0].raw()) == 200
    assert [one.block for one in drive.damage] == [len(ring.blocks) - 1]
    assert len(second_reader.read_ring(tmp_path / "drive.rpl").sessions[1].rows) == 200


def test_raw_keeps_the_widths_of_the_columns(tmp_path):
    raw = ringpull.read(long_sessions.DEMO).sessions[0].raw()
    bits = ringpull.read(long_sessions.DEMO).sessions[0]._blocks.setup.bits
    assert [raw.dtypes.iloc[at + 1].itemsize for at in range(len(bits))] == [2 if b <= 16 else 4 for b in bits]
