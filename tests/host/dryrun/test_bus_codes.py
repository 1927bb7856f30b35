"""Trouble codes that a session asked for once: stored in the ring file, and what `ringpull codes` makes of them."""

import json

import numpy as np
from bus_cars import FROZEN, VALUES, car, config, engine, mask, obd, run

from ringpull.cli.main import main
from ringpull.dryrun.bus_server import Unit
from ringpull.ring.values import codes


def answer(who, data):
    return who.to_bytes(4, "little") + bytes((len(data),)) + data


def frozen(request):
    """Answers of service 02 of a unit that keeps a freeze frame of P0171."""
    values = {**VALUES, 0x02: b"\x01\x71"}
    return [bytes((0x42, request[1], 0)) + values[request[1]]] if request[1] in values else []


def two_units():
    first = engine(confirmed=b"\x01\x01\x71", pending=b"\x02\x01\x71\x01\x35")
    second = engine({0x0C: b"\x00\x00"}, confirmed=b"\x01\xc1\x00", pending=b"\x00")

    def keeps(request, time_s):
        return frozen(request) if request[0] == 2 else first(request, time_s)

    return [Unit(0x7E8, keeps), Unit(0x7EA, second)]


def test_codes_are_kept_and_told_unit_by_unit(tmp_path, capsys):
    bus = car(units=two_units())
    drive = run(tmp_path, config([obd("rpm_bus", "0C")], kbit=500), bus, 9)
    first, second = drive.sessions[0].codes
    assert (first.who, first.confirmed, first.pending, first.permanent) == ("7E8", ["P0171"], ["P0171", "P0135"], [])
    assert (second.who, second.confirmed) == ("7EA", ["U0100"])
    assert first.readiness["lamp"] is False and first.frozen_code == "P0171"
    assert ("coolant_temperature", 83.0, "degC") in first.frozen and first.vin is None
    assert not any(data[1] == 9 for _, _, data in bus.sent)  # the vehicle's number was not asked for
    assert drive.damage == []
    assert main(["codes", str(tmp_path / "card")]) == 0
    shown = capsys.readouterr().out
    assert "P0135 (pending): engine and transmission: fuel" in shown or "P0135 (pending)" in shown
    assert "evaporative system" in shown and "freeze frame of P0171" in shown
    assert main(["codes", str(tmp_path / "card"), "--json"]) == 0
    (session,) = json.loads(capsys.readouterr().out)["sessions"]
    assert session["units"][0]["pending"] == ["P0171", "P0135"]
    assert main(["codes", str(tmp_path / "card"), "--clear"]) == 2
    told = capsys.readouterr().err
    assert "a card can't clear codes" in told and "ringpull codes COM5 --clear" in told


def test_a_card_without_codes_says_so(tmp_path, capsys):
    run(tmp_path, config([obd("rpm_bus", "0C")], kbit=500), car(units=[], there=False), 5)
    assert main(["codes", str(tmp_path / "card")]) == 3
    assert "no session" in capsys.readouterr().err


def test_more_codes_than_the_logger_keeps_are_told_as_cut(tmp_path, capsys):
    many = bytes((60,)) + b"".join(bytes((1, n)) for n in range(60))
    units = [Unit(0x7E8 + n, engine(confirmed=many, pending=many)) for n in range(3)]
    drive = run(tmp_path, config([obd("rpm_bus", "0C")], kbit=500), car(units=units), 12)
    told = drive.sessions[0].codes
    assert [unit.who for unit in told] == ["7E8", "7E9", "7EA"] and any(unit.cut for unit in told)
    for unit in told:
        assert unit.cut or len(unit.confirmed) == len(unit.pending) == 60
    assert main(["codes", str(tmp_path / "card")]) == 0
    assert "it told more than the logger keeps" in capsys.readouterr().out


def test_what_is_cut_off_or_makes_no_sense_is_left_out():
    whole = answer(0x7E8, b"\x43\x01\x01\x71") + answer(0x7E8, b"\x47\x00")
    (unit,) = codes.read(whole)
    assert unit.confirmed == ["P0171"] and unit.pending == [] and unit.permanent is None
    for end in range(len(whole)):
        codes.read(whole[:end])
    (unit,) = codes.read(whole + answer(0x7E8, b""))
    assert unit.cut and unit.confirmed == ["P0171"] and codes.as_json(unit)["cut"]
    assert codes.read(bytes(20)) == []
    draws = np.random.default_rng(1)
    for _ in range(2000):
        codes.read(bytes(draws.integers(0, 256, draws.integers(0, 80)).tolist()))
    (unit,) = codes.read(answer(0x18DAF110 | 1 << 29, b"\x59\x02\xff\x01\x71\x00\x08\x01\x35\x00\x04"))
    assert (unit.who, unit.confirmed, unit.pending) == ("18DAF110", ["P0171"], ["P0135"])
    (unit,) = codes.read(answer(0x7E8, b"\x49\x02\x01" + b"1M8GDM9AXKP042788"))
    assert unit.vin == "1M8GDM9AXKP042788"
    for end in range(len(FROZEN)):
        codes.read(answer(0x7E8, FROZEN[:end]))
    (unit,) = codes.read(answer(0x7E8, FROZEN) + answer(0x7E8, b"\x59\x04\x01\x35\x00\x08\x00\x00"))
    assert unit.frozen_code == "P0171" and [name for name, *_ in unit.frozen][2] == "coolant_temperature"
    assert mask(0, [1, 0x21]) == bytes.fromhex("80000001")
