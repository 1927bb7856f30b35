"""Instruments where people see them: info, its JSON, the report and its JSON."""

import json
from pathlib import Path

import pytest
from bench import faults as campaign
from truth import wired

from ringpull.cli.main import main
from ringpull.dryrun.run import dry_run

LOGS = Path(__file__).resolve().parents[3] / "demo_logs"
KEYS = {"channel", "bank", "state", "evidence", "cause", "next"}


@pytest.fixture(scope="module")
def gauge_card(tmp_path_factory):
    """A card of a drive whose pressure was configured as gauge for absolute."""
    folder = tmp_path_factory.mktemp("gauge")
    wired.write(campaign.broken(campaign.by_name("gauge for absolute"), 2, True), folder)
    dry_run(*(folder / name for name in ("logger.json", "volts.csv", "edges.csv", "buttons.csv")), folder / "card")
    return folder / "card"


@pytest.mark.parametrize("name", ["v1_marked", "v1_unmarked", "v1_spoiled", "v1_pulls_alone"])
def test_the_instruments_of_the_demo_are_sound(name, capsys):
    assert main(["info", str(LOGS / name), "--json"]) == 0
    told = json.loads(capsys.readouterr().out)["instruments"]
    channels = ["lambda_1", "engine_speed", "map", "throttle", "fuel_pressure", "battery"]
    assert [one["channel"] for one in told] == channels
    assert all(set(one) >= KEYS and one["bank"] is None for one in told)
    states = {one["channel"]: one["state"] for one in told}
    assert "contradicted" not in states.values()
    assert {states[channel] for channel in ("lambda_1", "map", "throttle", "battery")} == {"sound"}


def test_info_names_a_contradicted_instrument_first_with_what_to_do(gauge_card, capsys):
    assert main(["info", str(gauge_card)]) == 0
    lines = capsys.readouterr().out.splitlines()
    at = lines.index("  instruments")
    assert lines[at + 1].startswith("    map: contradicted: reads 1 kPa with the engine stopped")
    assert "likely cause: a gauge pressure" in lines[at + 2] and "what to do: Add" in lines[at + 3]


def test_the_report_shows_it_on_the_first_screen_and_in_its_json(gauge_card, tmp_path, capsys):
    page, answer = tmp_path / "report.html", tmp_path / "answer.json"
    assert main(["report", str(gauge_card), "-o", str(page), "--json", str(answer)]) == 0
    told = json.loads(answer.read_text())
    (pressure,) = [one for one in told["instruments"] if one["state"] == "contradicted"]
    assert pressure["channel"] == "map" and set(pressure) >= KEYS
    assert told["verdict"] != "no lean event found"
    assert any(reason.startswith("map is ") for reason in told["reasons"])
    html = page.read_text(encoding="utf-8")
    first, rest = html.split('id="pulls"', 1)
    assert "map is" in first and 'id="instruments"' in rest and "contradicted" in rest
    assert "map is" in capsys.readouterr().out
