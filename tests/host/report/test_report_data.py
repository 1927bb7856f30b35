"""The samples in the report are the decoded ones: unpacked here by another way than the page's."""

import base64
import gzip

import numpy as np
import pytest
from analysis_scenes import rewriting, scene
from hypothesis import given
from hypothesis import strategies as st

from ringpull.analysis.judge import session as judged_session
from ringpull.report import data


def unpacked(text, count):
    """Columns of int16 from data.packed(), byte by byte as its docstring says."""
    raw = gzip.decompress(base64.b64decode(text))
    rows = len(raw) // 2 // count
    out = []
    for at in range(count):
        low, high = raw[2 * at * rows : (2 * at + 1) * rows], raw[(2 * at + 1) * rows : (2 * at + 2) * rows]
        code, values = 0, []
        for a, b in zip(low, high, strict=True):
            code = (code + a + 256 * b) % 65536
            values.append(code - 65536 if code > 32767 else code)
        out.append(np.array(values))
    return out


@given(st.lists(st.floats(-1e4, 1e4) | st.just(float("nan")), min_size=1, max_size=60))
def test_any_values_come_back_within_half_a_step(values):
    values = np.array(values)
    column, scale, offset = data.codes(values)
    (back,) = unpacked(data.packed([column]), 1)
    assert (np.isnan(values) == (back == data.NO_VALUE)).all()
    good = np.isfinite(values)
    span = np.ptp(values[good]) if good.any() else 0.0
    assert np.abs(offset + scale * back[good] - values[good]).max(initial=0.0) <= 0.03 * scale + span / 65534 + 1e-9


def test_steps_of_a_converter_are_kept_exactly():
    counts = np.random.default_rng(2).integers(300, 4000, 5000)
    values = 0.6 + counts * (0.8 / 4096)
    column, scale, offset = data.codes(values)
    assert scale == pytest.approx(0.8 / 4096, rel=1e-9)
    assert offset + scale * column == pytest.approx(values, abs=1e-9)


@pytest.mark.parametrize("steps", [32000, 32001, 32767, 32768, 60000])
def test_even_steps_are_kept_however_many(steps):
    """32,769 numbers from 0 on do not fit 16 bits with a sign: the codes then begin at -32,767."""
    values = np.concatenate([np.arange(6000.0), np.arange(steps - 5999.0, steps + 1.0)])
    column, scale, offset = data.codes(values * 0.25 + 10.0)
    assert scale == 0.25 and (column != data.NO_VALUE).all()
    assert (offset + scale * column).tolist() == (values * 0.25 + 10.0).tolist()


def test_a_bank_at_an_end_of_its_range_shows_no_lambda_undone():
    """Lambda from 0.60 to 1.40 with ends 0.004 wide. Bank 2 stands at its lean end for a second and at its rich end for
    another; the gas of both was injected the delay before. Bank 1 measures all the time."""
    made = scene(pulls=1, noise=0.0)
    columns = made.columns
    with rewriting(columns) as written:
        first, *others = written["channels"]
        written["channels"] = [first, {**first, "name": "lambda_2", "input": "a9"}, *others]
    columns.banks["lambda_2"] = columns.lambda_.copy()
    for start_s, value in ((8.0, 1.397), (10.0, 0.603)):
        columns.banks["lambda_2"][columns.rows(start_s, start_s + 1.0)] = value
    judged = judged_session.prepare(columns, identified=False)
    out = data.judged_columns(judged, columns.time_s)
    hidden = np.isnan(out["lambda_2_aligned"])
    arrival = judged.banks["lambda_2"].aligned.arrival_s
    for start_s in (8.0, 10.0):
        assert hidden[(arrival > start_s + 0.005) & (arrival < start_s + 0.995)].all()
        # a jump that no gas makes is left out with the lag of 80 ms and a step of 10 ms on either side
        assert not hidden[(arrival > start_s - 0.9) & (arrival < start_s - 0.11)].any()
        assert not hidden[(arrival > start_s + 1.11) & (arrival < start_s + 1.9)].any()
    assert np.isfinite(out["lambda_1_aligned"][columns.rows(7.0, 11.0)]).all()


def test_every_row_of_a_drive_is_in_the_report():
    from pathlib import Path

    import ringpull

    session = ringpull.read(Path(__file__).resolve().parents[3] / "demo_logs" / "v1_marked").sessions[0]
    told, text = data.session_data(session)
    frame = session.frame()
    assert told["rows"] == len(frame) and sum(count for _, count in told["runs"]) == len(frame)
    columns = unpacked(text, len(told["columns"]))
    for known, codes in zip(told["columns"], columns, strict=True):
        true = frame[known["column"]].to_numpy()
        values = np.where(codes == data.NO_VALUE, np.nan, known["offset"] + known["scale"] * codes)
        assert values == pytest.approx(true, abs=1e-4 * np.nanmax(np.abs(true)), nan_ok=True)


def test_holes_are_not_joined():
    assert data.runs_of(np.array([3, 4, 5, 9, 10, 20])) == [[3, 3], [9, 2], [20, 1]]
    assert data.runs_of(np.zeros(0, int)) == []


def test_json_in_the_page_ends_no_script():
    text = data.as_script({"a": "</script><!-- & \u2028"})
    assert not set("<>&\u2028") & set(text)
