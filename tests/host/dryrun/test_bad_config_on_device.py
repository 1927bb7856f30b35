"""A logger.json that can't be used, on the card of the whole firmware: it records raw counts and says what is wrong."""

import json
import os

import numpy as np
import pytest
from truth import desk

import ringpull
from ringpull.dryrun import run, signals
from ringpull.files.firmware_sources import shared_math_dir
from shared_math import config, faults

UNTIL_S = 5.0
VOLTS = {"raw_a0": 1.25, "raw_a1": 3.75, "raw_a2": 0.5, "raw_a3": 4.5, "raw_a4": 2.0}
GOOD = json.dumps(config.DEFAULT)
LARGE = config.DEFAULT | {
    "target": {
        "load": "map",
        "load_kpa": [10 * n + 10 for n in range(32)],
        "rpm": [250 * n + 250 for n in range(32)],
        "lambda": [[0.9] * 32] * 32,
    },
    "converters": {"x": "mcp3208"},
    "channels": config.DEFAULT["channels"]
    + [{"name": "map", "input": "a5", "kind": "linear", "unit": "kPa", "volts": [0.5, 4.5], "values": [20, 300]}]
    + [
        {
            "name": f"level_{n}",
            "input": f"x{n}",
            "kind": "table",
            "volts": [0.1 * k for k in range(32)],
            "values": list(range(32)),
            "note": "n" * 200,
        }
        for n in range(8)
    ],
}
BAD = {
    "no file": (None, "no_config"),
    "empty": ("", "bad_config"),
    "a bracket is missing": ('{"version": 1, "channels": [', "bad_config"),
    "not text": ("\udcff\udcd8\x00\x01", "bad_config"),
    "a list": ("[1, 2]", "bad_config"),
    "a slip of a name": (GOOD.replace('"kind"', '"knid"', 1), "bad_config"),
    "a newer version": (GOOD.replace('"version": 1', '"version": 9'), "bad_config"),
    "a kind that comes later": (GOOD.replace('"linear"', '"can"', 1), "bad_config"),
    "all channels wrong": ('{"version": 1, "channels": [' + ",".join(["{}"] * 30) + "]}", "bad_config"),
    "more than the memory holds": (json.dumps(LARGE), "bad_config"),
    "too long": (GOOD[:-1] + ', "note": "' + "x" * 20000 + '"}', "bad_config"),
}


@pytest.mark.parametrize("case", BAD)
def test_raw_counts_are_recorded_and_the_fault_is_told(tmp_path, case):
    text, name = BAD[case]
    number, what, _, _ = faults.FAULTS[name]
    (tmp_path / "good.json").write_text(GOOD)
    (tmp_path / "volts.csv").write_text(
        "\n".join([",".join(["t_s", *VOLTS]), *(",".join(map(str, [t, *VOLTS.values()])) for t in (0, UNTIL_S))])
    )
    edges = np.arange(0.2, UNTIL_S, 0.02)
    (tmp_path / "edges.csv").write_text("t_s,input\n" + "".join(f"{t:.4f},raw_p0\n" for t in edges))
    settings = run.load_config(tmp_path / "good.json")[0]
    compiled = signals.compile_signals(settings, tmp_path / "volts.csv", tmp_path / "edges.csv", None)
    out = tmp_path / "out"
    out.mkdir()
    job = run.write_job(tmp_path, settings, compiled, tmp_path / "good.json", 1, 0, None)
    told = json.loads(job.read_text())
    told["config"] = None
    if text is not None:
        (tmp_path / "bad.json").write_bytes(text.encode(errors="surrogateescape"))
        told["config"] = str(tmp_path / "bad.json")
    job.write_text(json.dumps(told))
    os.symlink(shared_math_dir(), tmp_path / "shared_math")
    run._run(run.find_micropython(), tmp_path, job, compiled.end_us, None, run.DESK_HEAP)

    (session,) = ringpull.read(out).sessions
    frame, raw = session.frame(), session.raw()
    assert session.faults == [number] and len(raw) >= UNTIL_S * 200 - 1 and session.lost_rows == 0
    assert session.config.written == config.defaults(config.DEFAULT)
    for channel, volts in VOLTS.items():
        # 2 counts of noise, and half a count of a divided 5 V
        assert frame[channel + "_v"].median() == pytest.approx(volts, abs=0.006)
    assert raw["raw_p0"].max() == len(edges)
    # the lamp blinks the number from the first row to the last
    assert (raw["lamp"] == 64 + number).all()
    shown = desk.command("info", out).stdout
    assert f"fault   {number}: {what}" in shown and "what to do:" in shown


def test_a_large_configuration_without_mistakes_is_run_as_it_stands(tmp_path):
    """The desk board's objects are twice as large as a board's: it gets the room that this takes."""
    assert config.check(LARGE) == []
    (tmp_path / "logger.json").write_text(json.dumps(LARGE))
    (tmp_path / "volts.csv").write_text("t_s,level_3\n0,1.55\n2,1.55\n")
    run.dry_run(tmp_path / "logger.json", tmp_path / "volts.csv", None, None, tmp_path / "card")
    (session,) = ringpull.read(tmp_path / "card").sessions
    assert session.faults == [] and session.lost_rows == 0
    assert abs(session.frame()["level_3"].mean() - 15.5) < 0.05
