"""The commands that answer: fuelmap, compare, power, pulls, with targets from a table or a preset."""

import csv
import json
from pathlib import Path

import pytest

from ringpull.cli.main import main
from ringpull.files import axis_tables
from ringpull.files.axis_tables import UNDER_LOAD

LOGS = Path(__file__).resolve().parents[3] / "demo_logs"
MARKED, UNMARKED = str(LOGS / "v1_marked"), str(LOGS / "v1_unmarked")


def said(capsys, *words: str):
    """(exit code, what was printed)."""
    code = main(list(words))
    return code, capsys.readouterr().out


def flat_target(path: Path, value: float) -> str:
    path.write_text(f",1000,8000\n20,{value},{value}\n250,{value},{value}\n")
    return str(path)


def test_fuelmap_writes_cells_and_a_table_on_the_axes_given(tmp_path, capsys):
    axes = tmp_path / "axes.csv"
    axes.write_text(",3000,4000,5000,6000\n100,1,1,1,1\n150,1,1,1,1\n200,1,1,1,1\n")
    cells, table = tmp_path / "cells.csv", tmp_path / "table.csv"
    code, out = said(capsys, "fuelmap", MARKED, "-o", str(cells), "--table", str(table), "--axes", str(axes), "--json")
    made = json.loads(out)["cells"]
    assert code == 0 and {c["rpm"] for c in made} <= {3000.0, 4000.0, 5000.0, 6000.0}
    rows = list(csv.reader(table.open()))
    marks = rows[rows.index([]) + 1 :]
    rows = rows[: rows.index([])]
    assert marks[0] == [UNDER_LOAD, *rows[0][1:]] and [r[0] for r in marks] == [UNDER_LOAD, "100", "150", "200"]
    assert {v for row in marks[1:] for v in row[1:]} <= {"yes", "no", ""}
    assert axis_tables.read_table(table)[1].tolist() == [100, 150, 200]
    assert rows[0] == ["", "3000", "4000", "5000", "6000"] and [r[0] for r in rows[1:]] == ["100", "150", "200"]
    assert all(v == "" or 0.95 <= float(v) <= 1.05 for row in rows[1:] for v in row[1:])
    assert list(csv.reader(cells.open()))[0][:3] == ["rpm", "load", "passes"]


def test_a_target_from_a_table_moves_the_map(tmp_path, capsys):
    ratios = []
    for value in (0.80, 0.88):
        _, out = said(capsys, "fuelmap", MARKED, "--target", flat_target(tmp_path / "t.csv", value), "--json")
        cells = {(c["rpm"], c["load"]): c["ratio"] for c in json.loads(out)["cells"] if c["loaded"]}
        ratios.append(cells)
    both = ratios[0].keys() & ratios[1].keys()
    assert both and all(ratios[0][k] / ratios[1][k] == pytest.approx(1.1, rel=0.01) for k in both)


def test_pulls_and_report_judge_by_the_target_given(tmp_path, capsys):
    lean = flat_target(tmp_path / "rich.csv", 0.60)
    _, out = said(capsys, "pulls", MARKED, "--target", lean, "--json")
    assert all(p["lean_events"] for p in json.loads(out)["pulls"])
    page, found = tmp_path / "r.html", tmp_path / "r.json"
    said(capsys, "report", MARKED, "-o", str(page), "--json", str(found), "--target-preset", "petrol-boosted")
    answer = json.loads(found.read_text())
    assert any("preset petrol-boosted" in line and "no source" in line for line in answer["assumptions"])
    said(capsys, "report", MARKED, "-o", str(page), "--json", str(found), "--target", lean)
    assert json.loads(found.read_text())["verdict"] == "attention"


def test_two_targets_at_once_are_refused(tmp_path):
    with pytest.raises(SystemExit) as stopped:
        main(["pulls", MARKED, "--target", "t.csv", "--target-preset", "petrol-natural"])
    assert stopped.value.code == 2


def test_comparing_mixture_and_power(capsys):
    _, out = said(capsys, "compare", MARKED, UNMARKED, "--json")
    mixture = json.loads(out)
    assert mixture["verdict"] == "no difference shown" and mixture["of"] == "measured over target"
    _, out = said(capsys, "compare", MARKED, UNMARKED, "--load-step", "50", "--json")
    assert {b["load"] for b in json.loads(out)["bins"]} <= {50.0 * k for k in range(1, 6)}
    power = ("compare", MARKED, UNMARKED, "--power", "--gear", "56.48", "--grade", "0")
    _, out = said(capsys, *power, "--json")
    made = json.loads(out)
    assert made["verdict"] == "no difference shown" and all(20e3 < b["before"] < 300e3 for b in made["bins"])
    _, out = said(capsys, *power)
    assert "kW, an estimate" in out


def test_one_pull_a_side_cannot_be_tested(capsys):
    for more in ([], ["--power", "--gear", "56.48"]):
        words = ("compare", MARKED, UNMARKED, "--before-pulls", "1", "--after-pulls", "3", *more)
        _, out = said(capsys, *words, "--json")
        made = json.loads(out)
        assert made["verdict"] == "not enough data" and any(
            "change can't be told from chance" in w for w in made["words"]
        )


def test_power_is_an_estimate_and_can_be_corrected(capsys):
    plain = ("power", MARKED, "--gear", "56.48", "--grade", "0", "--kpa", "99.5", "--degc", "30", "--json")
    _, out = said(capsys, *plain)
    found = json.loads(out)
    assert "estimate" in found["assumptions"][0] and all(r["low"] < r["watts"] < r["high"] for r in found["power"])
    # 30 degC, 995 mbar, 60 % RH by SAE J1349: 1.03499 (secondary copies)
    _, out = said(capsys, *plain, "--correction", "sae", "--humidity", "0.6")
    corrected = json.loads(out)["power"]
    for a, b in zip(found["power"], corrected, strict=True):
        assert b["watts"] / a["watts"] == pytest.approx(1.03499, abs=3e-4)
    # drag is that of this air: 99.5 kPa / (287.05 J/kgK 303.15 K) = 1.143 kg/m3
    assert any("air 1.14 kg/m3" in words for words in found["assumptions"])
    _, out = said(capsys, *plain[:-5], "--kpa", "70", "--degc", "30", "--correction", "sae", "--json")
    assert any("not meant for air so far from standard" in words for words in json.loads(out)["assumptions"])


def test_peak_power_and_torque_come_first_in_the_unit_asked_for(capsys):
    plain = ("power", MARKED, "--gear", "56.48", "--grade", "0")
    _, out = said(capsys, *plain, "--json")
    made = json.loads(out)
    assert [one["pull"] for one in made["peaks"]] == [1, 2, 3]
    for one in made["peaks"]:
        rows = [row for row in made["power"] if row["pull"] == one["pull"]]
        assert one["low"] < one["watts"] < one["high"] and one["torque_low"] < one["torque_nm"] < one["torque_high"]
        # a mean over fewer revolutions can be higher than the table's, by little
        assert 0.995 * max(row["watts"] for row in rows) <= one["watts"] <= 1.06 * max(row["watts"] for row in rows)
        assert one["torque_nm"] == pytest.approx(max(row["torque_nm"] for row in rows), rel=0.05)
        assert one["rising"]  # this car's power rises to the limit
    watts = made["peaks"][0]["watts"]
    for unit, each in (("kW", 1000.0), ("hp", 745.69987)):
        _, out = said(capsys, *plain, "--unit", unit)
        first, line, *_ = out.splitlines()
        assert first.startswith("Highest power and torque at the wheels, estimated") and f"{unit} at the wheels" in out
        assert line.startswith(f"  pull 1: {watts / each:.0f} {unit} (") and "Nm (" in line and " rpm" in line


def test_engine_power_takes_a_stated_loss_and_has_its_interval(capsys):
    plain = ("power", MARKED, "--gear", "56.48", "--grade", "0")
    _, out = said(capsys, *plain, "--loss", "0.15", "--json")
    made = json.loads(out)
    for row in made["power"]:
        assert row["engine_watts"] == pytest.approx(row["watts"] / 0.85, abs=1)
        assert row["engine_low"] == pytest.approx(row["low"] / 0.85, abs=1) and row["engine_high"] > row["engine_watts"]
    assert any("the driveline's loss as 15%, as given" in line for line in made["assumptions"])
    with pytest.raises(SystemExit) as stopped:
        main([*plain, "--loss", "0.6"])
    assert stopped.value.code == 2 and "0.6 is not a number from 0 to 0.49" in capsys.readouterr().err


def test_a_pull_that_is_not_there_is_refused(capsys):
    code = main(["compare", MARKED, UNMARKED, "--before-pulls", "1,9"])
    error = capsys.readouterr().err
    assert code == 2 and "has no pull 9" in error and len(error.strip().splitlines()) == 3


@pytest.mark.parametrize(
    "words, said",
    [
        (("power", MARKED, "--gear", "56.48", "--kpa", "99"), "--kpa alone does not give the density of the air"),
        (("power", MARKED, "--gear", "56.48", "--degc", "30"), "--degc alone does not give the density of the air"),
        (("power", MARKED, "--gear", "56.48", "--correction", "iso", "--kpa", "99"), "pressure and temperature"),
        (
            ("power", MARKED, "--gear", "56.48", "--humidity", "0.5"),
            "--humidity is used only by the corrections sae and iso",
        ),
        (("compare", MARKED, UNMARKED, "--mass", "950"), "--mass is for comparing power"),
        (("compare", MARKED, UNMARKED, "--power", "--load-step", "20"), "--load-step is for comparing the mixture"),
    ],
)
def test_options_that_would_not_be_used_are_told(capsys, words, said):
    code = main(list(words))
    error = capsys.readouterr().err
    assert code == 2 and said in error and len(error.strip().splitlines()) == 3


def test_a_map_tells_load_with_its_unit_and_whether_it_was_under_load(capsys):
    _, out = said(capsys, "fuelmap", MARKED)
    head, *lines = out.splitlines()
    assert head.split() == [
        "rpm",
        "load",
        "kPa",
        "loaded",
        "passes",
        "lambda/target",
        "95",
        "%",
        "factor",
    ]
    cells = [line.split() for line in lines if line.count(".") >= 4]
    assert cells and {cell[2] for cell in cells} <= {"yes", "no"}
    _, out = said(capsys, "pulls", MARKED)
    assert "load kPa" in out.splitlines()[0]
    _, out = said(capsys, "compare", MARKED, UNMARKED, "--load-step", "50")
    first, head, *_ = out.splitlines()
    assert first == "before 1 of 3 pulls lean, after 1 of 3" and "load kPa" in head and "…" not in out


def test_the_same_pulls_on_both_sides_are_told(capsys):
    _, twice = said(capsys, "compare", MARKED, MARKED)
    assert "3 of the pulls stand on both sides, the same recording" in twice
    _, apart = said(capsys, "compare", MARKED, MARKED, "--before-pulls", "1", "--after-pulls", "3")
    assert "on both sides" not in apart
