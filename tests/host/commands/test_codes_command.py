"""`ringpull codes` with a mistyped source, or one without codes, names the right cause."""

from pathlib import Path

import pytest

from ringpull.cli.main import main

LOGS = Path(__file__).resolve().parents[3] / "demo_logs"


@pytest.mark.parametrize(
    ("source", "says"),
    [
        (f"{LOGS}/v1_markd", "there is no "),
        ("drive.rpl", "there is no drive.rpl"),
        (f"{LOGS}/v1_pulls_alone/pulls.rpl", "copies of pulls (pulls.rpl) hold no codes"),
        ("COM99", "there is no port COM99"),
        ("/dev/ttyNONE", "there is no port /dev/ttyNONE"),
    ],
)
def test_what_is_meant_is_known_by_its_form(source, says, capsys, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    assert main(["codes", source]) in (2, 3)
    told = capsys.readouterr().err
    assert says in told and ("port" in told) == ("port" in says)
