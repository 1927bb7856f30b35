"""Recording for long: across the wrap of the microsecond counter, and for a day. Every row there, every time right."""

import json

import numpy as np
import pytest

from ringpull.dryrun import run
from shared_math import layout, unpacking

CONFIG = {
    "version": 1,
    "channels": [
        {"name": "lambda_1", "input": "a0", "kind": "lambda", "volts": [0, 5], "values": [0.6, 1.4]},
        {"name": "engine_speed", "input": "p0", "kind": "pulses", "per_rev": 2, "max_rpm": 9000},
    ],
}
WRAP = 1 << 30


@pytest.fixture(autouse=True)
def small_heap(monkeypatch):
    """192 kB, and the 24 kB that the desk board takes for itself."""
    monkeypatch.setattr(run, "DESK_HEAP", "216k")


def blocks(path):
    """(kind, block) in the order of the file."""
    data = path.read_bytes()
    for at in range(0, len(data), layout.SLOT):
        block = data[at : at + layout.SLOT]
        if layout.verdict(block) is None:
            yield block[layout.AT_KIND], block


def record(folder, rate_hz, seconds, edge_period_us, tick_base):
    """Dry run with edges every edge_period_us, the first one at 3 ms; returns (columns by name, heap readings)."""
    (folder / "logger.json").write_text(json.dumps(dict(CONFIG, rate_hz=rate_hz)))
    (folder / "volts.csv").write_text(f"t_s,lambda_1\n0,2.5\n{seconds},2.5\n")
    edges_us = np.arange(3000, seconds * 1_000_000, edge_period_us)
    with open(folder / "edges.csv", "w") as f:
        f.write("t_s,input\n")
        f.writelines(f"{us // 1_000_000}.{us % 1_000_000:06d},engine_speed\n" for us in edges_us.tolist())
    paths = [folder / "logger.json", folder / "volts.csv", folder / "edges.csv"]
    run.dry_run(*paths, None, folder / "card", tick_base=tick_base)
    setup = b""
    names, bits, columns, heaps, next_row = [], [], None, [], 0
    for kind, block in blocks(folder / "card" / "drive.rpl"):
        if kind == layout.SETUP and not names:
            setup += block[22 : 22 + layout.get16(block, layout.AT_LENGTH)]
            if block[layout.AT_PART] == block[layout.AT_PARTS] - 1:
                table = json.loads(setup)["columns"]
                names, bits = [c["n"] for c in table], [c["b"] for c in table]
                columns = [[] for _ in names]
        if kind == layout.HEALTH:
            health = json.loads(block[22 : 22 + layout.get16(block, layout.AT_LENGTH)])
            assert health["lost"] == 0
            heaps.append(health["heap"])
        if kind == layout.PACKED:
            assert layout.get32(block, layout.AT_FIRST_ROW) == next_row, "a row is missing"
            got = unpacking.unpack(block, bits)
            next_row += len(got[0])
            for held, new in zip(columns, got):
                held.extend(new)
    return {name: np.array(column) for name, column in zip(names, columns)}, heaps


def check(columns, rate_hz, seconds, edge_period_us):
    rows = len(columns["late"])
    assert abs(rows - rate_hz * seconds) <= 1
    at_us = np.arange(rows) * (1_000_000 // rate_hz)
    count = np.maximum((at_us - 3000) // edge_period_us + 1, 0)
    last_us = 3000 + (count - 1) * edge_period_us
    seen = count > 0
    assert np.array_equal(columns["engine_speed"], count & 0xFFFFFF)
    assert np.array_equal(columns["engine_speed.age"][seen], (at_us - last_us)[seen])
    assert not columns["engine_speed.rejected"].any()
    assert not columns["late"].any()


@pytest.mark.parametrize("minutes", [3, pytest.param(10, marks=pytest.mark.slow)])
def test_minutes_across_the_tick_wrap(tmp_path, minutes):
    seconds = 60 * minutes
    columns, heaps = record(tmp_path, 100, seconds, 10_007, WRAP - seconds * 500_000)
    check(columns, 100, seconds, 10_007)
    assert len(heaps) >= minutes


@pytest.mark.slow
def test_a_day_at_ten_rows_a_second(tmp_path):
    columns, heaps = record(tmp_path, 10, 86_400, 50_021, WRAP - 40_000_000_000 % WRAP)
    check(columns, 10, 86_400, 50_021)
    # After the first hour the least free memory no longer falls
    assert len(heaps) >= 1439
    assert heaps[-1] >= heaps[60] - 512
