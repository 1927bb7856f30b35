"""Channels from a DBC file, against cantools where it is installed."""

import json

import pytest

from ringpull.cli.main import main
from ringpull.device import dbc
from shared_math import bus, config

DBC = """VERSION ""
BO_ 1520 Engine: 8 ECU
 SG_ OilPressure : 7|16@0+ (0.1,0) [0|1000] "kPa" Logger
 SG_ OilTemp : 16|8@1- (1,40) [-88|167] "C" Logger
BO_ 2566844926 Other: 8 ECU
 SG_ Page M : 0|4@1+ (1,0) [0|15] "" Logger
 SG_ Boost m2 : 8|12@1+ (0.25,-100) [0|0] "kPa" Logger
 SG_ Far m3 : 8|32@1+ (1,0) [0|0] "" Logger
"""


@pytest.fixture
def path(tmp_path):
    made = tmp_path / "car.dbc"
    made.write_text(DBC)
    return made


def test_signals_become_channels_that_listen_alone(path, tmp_path, capsys):
    out = tmp_path / "logger.json"
    words = ["setup", "--preset", "boosted-petrol", "-o", str(out), "--dbc", str(path)]
    assert main(words) == 0 and "OilPressure  id 5F0, 16 bits kPa" in capsys.readouterr().out and not out.exists()
    assert main([*words, "--signals", "OilPressure,Boost,Far"]) == 0
    assert "Far has 32 bits" in capsys.readouterr().err
    made = json.loads(out.read_text())
    assert config.check(made) == [] and made["bus"] == {"ask": False}
    boost = made["channels"][-1]
    assert boost["name"] == "boost" and boost["extended"] and boost["when"]["is"] == 2
    assert main([*words, "--signals", "Nothing", "--force"]) == 2
    assert "no signal Nothing" in capsys.readouterr().err


def test_a_name_that_is_wired_already_gets_another(tmp_path):
    path, out = tmp_path / "car.dbc", tmp_path / "logger.json"
    path.write_text(DBC.replace("OilPressure", "MAP"))
    assert main(["setup", "--preset", "boosted-petrol", "-o", str(out), "--dbc", str(path), "--signals", "MAP"]) == 0
    made = json.loads(out.read_text())
    assert config.check(made) == [] and made["channels"][-1]["name"] == "map_bus"


def test_values_are_those_of_cantools(path):
    cantools = pytest.importorskip("cantools", reason="cantools is not installed (extra: references)")
    told = cantools.database.load_file(str(path))
    ours = dbc.signals(path)
    for data in (bytes(range(8)), bytes([0xFF] * 8), bytes((0x02, 0x9A, 0x80, 0x7F, 1, 2, 3, 4))):
        theirs = told.decode_message(1520, data)
        for name in ("OilPressure", "OilTemp"):
            channel = config.defaults({"version": 1, "channels": [ours[name]]})["channels"][0]
            _, step, zero = bus.scale(channel)
            big = channel["order"] == "big"
            raw = bus.extract(data, channel["start_bit"], channel["length"], big, channel["signed"])
            assert zero + step * raw == pytest.approx(theirs[name])
