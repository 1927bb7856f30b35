"""A start that fails with a logger.json, memory that runs out: the firmware begins again and records."""

import json
import os

import pytest
from test_bad_config_on_device import LARGE

import ringpull
from ringpull.dryrun import run, signals
from ringpull.files.firmware_sources import firmware_dir, shared_math_dir
from shared_math import config

HEAPS = ("240k", "250k", "260k", "270k", "280k", "290k", "320k")


@pytest.fixture
def folder(tmp_path):
    (tmp_path / "logger.json").write_text(json.dumps(LARGE))
    (tmp_path / "volts.csv").write_text("t_s,raw_a0\n0,1.25\n3,1.25\n")
    (tmp_path / "out").mkdir()
    os.symlink(shared_math_dir(), tmp_path / "shared_math")
    return tmp_path


def record(folder, heap):
    """The session, and how many times the board was started for it."""
    settings = run.load_config(folder / "logger.json")[0]
    compiled = signals.compile_signals(settings, folder / "volts.csv", None, None)
    job = run.write_job(folder, settings, compiled, folder / "logger.json", 1, 0, None)
    starts = []
    popen = run.subprocess.Popen

    def counted(*args, **more):
        starts.append((folder / "failed").exists())
        return popen(*args, **more)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(run.subprocess, "Popen", counted)
        run._run(run.find_micropython(), folder, job, compiled.end_us, None, heap)
    return ringpull.read(folder / "out").sessions, starts


def test_what_fits_the_check_but_not_the_rest_of_the_start_is_recorded_raw(folder):
    """The check's memory is the first hurdle, what follows it another: tables, setup text, queue and blocks."""
    told = {}
    for heap in HEAPS:
        (session,), starts = record(folder, heap)
        raw = session.config.written == config.defaults(config.DEFAULT)
        assert session.faults == ([12] if raw else [])
        assert len(session.raw()) >= 599 and session.lost_rows == 0
        assert raw or len(starts) == 1
        assert abs(session.frame()["raw_a0_v"].median() - 1.25) < 0.006
        assert not (folder / "failed").exists()  # the next power-on tries it again
        told[heap] = (raw, starts)
    assert (True, [False]) in told.values()  # the check found no room
    assert (True, [False, True]) in told.values()  # something after it found none: begun again with a note
    assert (False, [False]) in told.values()


RUNS_OUT = """
import sys
import logger
_record = logger.Logger.record
_left = [1]


def record(self):
    if _left:
        poll = self.recorder.poll

        def full(ready):
            if self.sampler.row > 250:
                _left.clear()
                raise {error}
            poll(ready)

        self.recorder.poll = full
    _record(self)


logger.Logger.record = record
with open({main!r}) as main:
    exec(main.read())
"""


@pytest.mark.parametrize("error", ["MemoryError", "RuntimeError('maximum recursion depth exceeded')"])
def test_memory_that_runs_out_while_recording_ends_a_session_and_begins_one(folder, monkeypatch, error):
    firmware = folder / "firmware"
    firmware.mkdir()
    for part in firmware_dir().iterdir():
        if part.name != "main.py":
            (firmware / part.name).symlink_to(part)
    (firmware / "main.py").write_text(RUNS_OUT.format(main=str(firmware_dir() / "main.py"), error=error))
    (folder / "logger.json").write_text(json.dumps(config.DEFAULT))
    monkeypatch.setattr(run, "firmware_dir", lambda: firmware)
    (first, second), starts = record(folder, "400k")
    assert starts == [False]
    assert 251 <= len(first.raw()) <= 256 and first.lost_rows == 0  # what was held is written
    assert 340 <= len(second.raw()) <= 352 and second.faults == []


def test_whatever_else_fails_in_a_start_is_recorded_raw_too(folder, monkeypatch):
    """Such as a number that a board's own arithmetic can't take: the file must not stop the recording."""
    firmware = folder / "firmware"
    firmware.mkdir()
    for part in firmware_dir().iterdir():
        if part.name not in ("main.py", "panel"):
            (firmware / part.name).symlink_to(part)
    (firmware / "main.py").write_text((firmware_dir() / "main.py").read_text())
    (firmware / "panel").mkdir()
    for part in (firmware_dir() / "panel").iterdir():
        if part.name != "live_build.py":
            (firmware / "panel" / part.name).symlink_to(part)
    (firmware / "panel" / "live_build.py").write_text("def make(config, table, throttle):\n    return 1 // 0\n")
    channels = [
        {"name": "lambda_1", "input": "a0", "kind": "lambda", "volts": [0, 5], "values": [0.6, 1.4]},
        {"name": "map", "input": "a1", "kind": "linear", "unit": "kPa", "volts": [0.5, 4.5], "values": [20, 300]},
        {"name": "engine_speed", "input": "p0", "kind": "pulses", "per_rev": 2},
    ]
    target = {"load": "map", "load_kpa": [40, 200], "lambda": [1.0, 0.8]}
    (folder / "logger.json").write_text(json.dumps({"version": 1, "channels": channels, "target": target}))
    (folder / "volts.csv").write_text("t_s,map\n0,1.25\n3,1.25\n")
    monkeypatch.setattr(run, "firmware_dir", lambda: firmware)
    (session,), starts = record(folder, run.DESK_HEAP)
    assert starts == [False, True] and session.faults == [12] and len(session.raw()) >= 599
    assert session.config.written == config.defaults(config.DEFAULT)
