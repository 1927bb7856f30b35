"""The firmware asks a car on the diagnostic bus: rates, times, silence, and what becomes of the rows meanwhile."""

import numpy as np
import pytest
from bus_cars import VALUES, car, config, engine, modern, obd, run

from ringpull.dryrun.bus_server import EXTENDED, Broadcast, Unit
from shared_math import bus_states
from shared_math.obd import pids

SIXTEEN = (0x0C, 0x0D, 0x0B, 0x0E, 0x04, 0x11, 0x05, 0x06, 0x07, 0x0F, 0x10, 0x33, 0x42, 0x44, 0x46, 0x5C)
ANALOG = [
    {"name": f"volts_{n}", "input": f"a{n}", "kind": "linear", "volts": [0, 5], "values": [0, 5]} for n in range(1, 6)
]
LISTENED_S = 4.0  # 500 and 250 kbit/s, two seconds each


def asked(bus):
    """Requests, without flow control."""
    return [(time_s, who, data) for time_s, who, data in bus.sent if data[0] >> 4 == 0]


def requests(bus):
    return [(who, data[1 : 1 + data[0]]) for _, who, data in asked(bus)]


def states(drive):
    state = drive.sessions[0].raw()["bus_state"].to_numpy().astype(int)
    return state[np.diff(state, prepend=-1) != 0].tolist()


def test_silence_first_then_masks_codes_and_values(tmp_path):
    bus = car()
    drive = run(tmp_path, config([obd("rpm_bus", "0C"), obd("warm", "05", hz=0.5)], kbit=500), bus, 6)
    (session,) = drive.sessions
    frame = session.frame()
    assert session.lost_rows == 0 and not bus.listened_while_sending
    assert asked(bus)[0][0] >= LISTENED_S / 2
    said = requests(bus)
    assert said[0] == (0x7DF, b"\x01\x00") and (0x7DF, b"\x03") in said and (0x7DF, b"\x07") in said
    assert {one[0] for who, one in said} <= {0x01, 0x02, 0x03, 0x07, 0x0A}
    assert {who for who, one in said if who != 0x7DF} == {0x7E0}
    last = frame.iloc[-2]
    assert last["rpm_bus_rpm"] == 1726 and last["warm_degc"] == 83
    assert states(drive) == [bus_states.SILENT, bus_states.ASKING, bus_states.ANSWERED]
    gaps = np.diff([time_s for time_s, *_ in asked(bus)])
    assert gaps.min() >= 0.0199  # at most fifty a second


@pytest.mark.parametrize(("refuses", "kbit"), [(False, {"kbit": 500}), (True, {})])
def test_a_car_of_the_later_standard_is_asked_as_it_understands(tmp_path, refuses, kbit):
    bus = car(units=[Unit(0x7E8, modern(refuses=refuses))])
    told = [obd("rpm_bus", "0C"), obd("oil", "5C"), obd("fuel_used", "5E")]
    drive = run(tmp_path, config(told, **kbit), bus, 9)
    (session,) = drive.sessions
    last = session.frame().iloc[-2]
    assert last["rpm_bus_rpm"] == 1726 and last["oil_degc"] == 80 and np.isnan(session.table()["fuel_used_lh"][-2])
    (unit,) = session.codes
    assert (unit.confirmed, unit.pending, unit.permanent) == (["P0171"], ["P0171", "P0135"], ["P0171"])
    assert unit.frozen_code == "P0171" and ("engine_speed", 1726.0, "rpm") in unit.frozen and len(unit.frozen) == 3
    assert unit.readiness["lamp"] and {one[0] for _, one in requests(bus)} == {0x01, 0x19, 0x22}
    assert states(drive)[-1] == bus_states.ANSWERED and session.lost_rows == 0


@pytest.mark.parametrize("single", [False, True])
def test_the_time_of_the_bus_that_asking_takes_is_told(tmp_path, single):
    """The stored rows alone say how many frames there were; the car counts them."""
    frames = []

    def counted(at_us, who, data):
        frames.append(at_us / 1e6)
        return [(at_us, who, data)]

    eight = SIXTEEN[:8]
    bus = car(units=[Unit(0x7E8, engine({pid: VALUES[pid] for pid in eight}, single=single))], hurt=counted)
    settings = config([obd(f"value_{pid:02x}", f"{pid:02X}", hz=20) for pid in eight], kbit=500)
    drive = run(tmp_path, settings, bus, 12)
    from ringpull.analysis import car as analysis
    from ringpull.cli.commands import info
    from ringpull.wording import car as words

    said = analysis.of_session(drive.sessions[0], [])
    sent = np.array([*frames, *(time_s for time_s, *_ in bus.sent)])
    steady = (sent > 8) & (sent < 11)
    true = steady.sum() * 135 / 500e3 / 3
    assert 0.02 < true < 0.1 and said.time.mean == pytest.approx(true, rel=0.1)
    assert said.time.mean <= said.time.most < 0.1 and said.time.told
    (line,) = [one for one in words.how_it_was(said) if "the bus's time" in one]
    assert f"{100 * said.time.mean:.1f} %" in line and any(line in one for one in info.as_lines(drive))
    (session,) = info.as_json(drive)["sessions"]
    assert session["bus"]["bus_time"]["mean"] == said.time.mean and session["bus"]["answers_lost"] == 0


def test_a_value_that_the_car_does_not_offer_is_named(tmp_path):
    from ringpull.analysis import car as analysis
    from ringpull.wording import car as words

    knock = {"name": "knock", "kind": "can", "id": "5F0", "start_bit": 0, "length": 8}
    told = [obd("rpm_bus", "0C"), obd("fuel_used", "5E"), knock]
    drive = run(tmp_path, config(told, kbit=500), car(), 6)
    said = analysis.of_session(drive.sessions[0], [])
    assert [channel.name for channel in said.never] == ["fuel_used", "knock"]
    lines = words.how_it_was(said)
    assert any(line.startswith("fuel_used: never given") and "PID 5E" in line for line in lines)
    assert any(line.startswith("knock: no frame 5F0") for line in lines)


@pytest.mark.slow
@pytest.mark.parametrize(("single", "least_hz", "most_hz"), [(False, 14, 20), (True, 3.0, 3.3)])
def test_sixteen_channels_beside_six_analog_ones_on_a_card_that_stalls(tmp_path, single, least_hz, most_hz):
    def slowly(pid):
        return lambda time_s: (round(time_s * 5) % 256).to_bytes(pids.length_of(pid), "big")

    values = {pid: slowly(pid) for pid in SIXTEEN}
    bus = car(units=[Unit(0x7E8, engine(values, single=single))])
    settings = config([*ANALOG, *(obd(f"value_{pid:02x}", f"{pid:02X}", hz=20) for pid in SIXTEEN)])
    stalls = [(at_s, "stall", 500_000) for at_s in (9, 12, 15, 18)]
    (session,) = run(tmp_path, settings, bus, 20, card_story=stalls).sessions
    raw = session.raw()
    assert session.lost_rows == 0 and len(raw) >= 3990
    assert session.timing.stall_ms_max >= 400
    steady = raw[raw["row"] > 200 * 8]
    for pid in SIXTEEN:
        age = steady[f"value_{pid:02x}.held"].to_numpy().astype(int)
        hz = (np.diff(age) < 0).sum() / (len(steady) / 200)
        assert least_hz <= hz <= most_hz, (hex(pid), hz)
    assert steady["bus_lost"].iloc[-1] == 0
    # A value's time is the middle of its round trip: half of that is how far it may be off
    trip_s = steady["bus_trip"].max() / 1000
    assert trip_s <= 0.025
    for pid in (0x0C, 0x05):
        part = pids.described(pid)[1][0]
        held = steady[f"value_{pid:02x}"].to_numpy()
        times = steady["row"].to_numpy() / 200 - steady[f"value_{pid:02x}.held"].to_numpy() / 1000
        assert np.abs(held / 5 - times).max() <= 0.1 + trip_s / 2 + 0.006, part


def test_nothing_is_sent_without_leave(tmp_path):
    signal = {"name": "oil", "kind": "can", "id": "5F0", "start_bit": 7, "length": 16, "order": "big", "factor": 0.1}
    when = {"start_bit": 0, "length": 2, "is": 1}
    more = {"name": "gear", "kind": "can", "id": "5F1", "start_bit": 4, "length": 4, "when": when}
    frames = [
        Broadcast(0x5F0, 0.02, lambda time_s: round(100 * time_s).to_bytes(2, "big") + bytes(6)),
        Broadcast(0x5F1, 0.05, lambda time_s: bytes((0x31 if round(time_s * 20) % 2 else 0x72,)) + bytes(7)),
    ]
    bus = car(broadcasts=frames, kbit=250)
    settings = config([signal, more], ask=False)
    settings["bus"] = {}
    drive = run(tmp_path, settings, bus, 5)
    frame = drive.sessions[0].frame()
    assert bus.sent == []
    known = frame[frame["time_s"] > 3]
    assert np.abs(known["oil"] - known["time_s"] * 10).max() < 0.5
    assert set(known["gear"]) == {3.0}
    assert states(drive)[-1] == bus_states.LISTENING


@pytest.mark.parametrize("broadcasts", [False, True], ids=["nobody", "broadcasts alone"])
def test_no_car_gets_four_frames_at_most(tmp_path, broadcasts):
    frames = [Broadcast(0x123, 0.01, lambda _time_s: bytes(8))] if broadcasts else []
    bus = car(units=[], broadcasts=frames, there=broadcasts)
    drive = run(tmp_path, config([obd("rpm_bus", "0C")]), bus, 20 if broadcasts else 12, replace=True)
    first = {data[: data[0] + 1] for _, _, data in bus.sent}
    assert 1 <= len(bus.sent) <= 4 and first <= {b"\x02\x01\x00", b"\x03\x22\xf4\x00"}
    assert states(drive)[-1] == (bus_states.NO_CAR)
    assert drive.sessions[0].lost_rows == 0
    if not broadcasts:
        assert [who for _, who, _ in bus.sent] == [0x7DF, 0x18DB33F1 | EXTENDED] * 2


@pytest.mark.slow
def test_a_second_tester_or_a_sleeping_car_gets_no_more(tmp_path):
    tester = car(broadcasts=[Broadcast(0x7DF, 0.5, lambda _time_s: b"\x02\x01\x0c" + bytes(5), 8.0)])
    drive = run(tmp_path / "a", config([obd("rpm_bus", "0C")], kbit=500), tester, 20)
    times = np.array([one[0] for one in tester.sent])
    assert (times > 4).any() and not (times > 8.1).any() and states(drive)[-1] == bus_states.OTHER_TESTER
    sleeper = car(awake=lambda time_s: time_s < 8)
    drive = run(tmp_path / "b", config([obd("rpm_bus", "0C")], kbit=500), sleeper, 100)
    times = np.array([one[0] for one in sleeper.sent])
    assert (times > 7).any() and not (times > 13.2).any() and states(drive)[-1] == bus_states.ASLEEP


@pytest.mark.slow
def test_a_bus_without_answers_is_asked_again_only_after_it_slept(tmp_path):
    frames = [
        Broadcast(0x123, 0.01, lambda _time_s: bytes(8), 0.0, 20.0),
        Broadcast(0x124, 0.01, lambda _time_s: bytes(8), 45.0),
    ]
    bus = car(units=[], broadcasts=frames)
    run(tmp_path, config([obd("rpm_bus", "0C")]), bus, 60)
    times = np.array([one[0] for one in bus.sent])
    assert (times < 20).sum() == 4 and not ((times > 20) & (times < 45)).any() and 1 <= (times > 45).sum() <= 4


@pytest.mark.slow
def test_a_car_that_wakes_again_is_asked_again(tmp_path):
    frames = [Broadcast(0x123, 0.01, lambda _time_s: bytes(8))]
    bus = car(awake=lambda time_s: time_s < 8 or time_s > 30, broadcasts=frames)
    drive = run(tmp_path, config([obd("rpm_bus", "0C")], kbit=500), bus, 90)
    times = np.array([one[0] for one in bus.sent])
    assert not ((times > 13.2) & (times < 60)).any() and (times > 75).any()
    assert states(drive)[-1] == bus_states.ANSWERED
    asked_codes = [one for one in requests(bus) if one[1] == b"\x03"]
    assert len(asked_codes) == 1  # once a session


def test_errors_of_the_bus_end_all_sending(tmp_path):
    bus = car(counter=120, broadcasts=[Broadcast(0x123, 0.01, lambda _time_s: bytes(8))])
    drive = run(tmp_path, config([obd("rpm_bus", "0C")], kbit=500), bus, 6)
    assert len(bus.sent) <= 2 and states(drive)[-1] == bus_states.ERRORS


@pytest.mark.slow
def test_units_that_disagree_refuse_or_take_longer(tmp_path):
    other = engine({**VALUES, 0x0C: b"\x00\x04"})

    def slow_one(request, time_s):
        if request == b"\x01\x05":
            return [b"\x7f\x01\x78", b"\x41\x05\x50"]
        if request == b"\x01\x0f":
            return [b"\x7f\x01\x12"]
        if len(request) > 2 and request[0] == 1:
            return [b"\x7f\x01\x13"]
        return engine()(request, time_s)

    units = [Unit(0x7EA, other), Unit(0x7E8, slow_one)]
    channels = [obd("rpm_bus", "0C"), obd("warm", "05", hz=1), obd("intake", "0F", hz=1)]
    drive = run(tmp_path, config(channels, kbit=500), car(units=units), 20)
    last = drive.sessions[0].frame().iloc[-2]
    assert last["rpm_bus_rpm"] == 1726 and last["warm_degc"] == 0x50 - 40 and np.isnan(last["intake_degc"])
    drive = run(tmp_path / "named", config(channels, kbit=500, ecu="7EA"), car(units=units), 12)
    assert drive.sessions[0].frame().iloc[-2]["rpm_bus_rpm"] == 1


def test_29_bits_and_any_order(tmp_path):
    unit = Unit(0x18DAF110 | EXTENDED, engine(order=lambda asked: asked[::-1]), padding=None)
    names = {"rpm_bus": "0C", "map_bus": "manifold_pressure", "spark": "0E", "throttle_bus": "11"}
    channels = [obd(name, pid) for name, pid in names.items()]
    bus = car(units=[unit])
    last = run(tmp_path, config(channels, kbit=500), bus, 6).sessions[0].frame().iloc[-2]
    assert last[["rpm_bus_rpm", "map_bus_kpa", "spark_deg"]].tolist() == [1726, 100, 8]
    assert any(len(request) == 5 for _, request in requests(bus))


@pytest.mark.slow
def test_lost_doubled_and_late_frames_alter_no_other_column(tmp_path):
    draws = np.random.default_rng(3)

    def hurt(at_us, who, data):
        fate = draws.random() if at_us > 5e6 else 1.0
        if fate < 0.1:
            return []
        if fate < 0.2:
            return [(at_us, who, data), (at_us + 400, who, data)]
        if fate < 0.25:
            return [(at_us + 70_000, who, data)]
        if fate < 0.3:
            return [(at_us, who, bytes(draws.integers(0, 256, draws.integers(1, 9)).tolist()))]
        return [(at_us, who, data)]

    bus = car(hurt=hurt)
    channels = [obd(f"value_{pid:02x}", f"{pid:02X}") for pid in SIXTEEN[:8]]
    (session,) = run(tmp_path, config(channels, kbit=500), bus, 40).sessions
    assert session.lost_rows == 0
    raw = session.raw()
    for pid in SIXTEEN[:8]:
        part = pids.described(pid)[1][0]
        held = raw[f"value_{pid:02x}"][raw[f"value_{pid:02x}.held"] < 131071]
        assert set(held) == {pids.raw_of(part, VALUES[pid])}, hex(pid)
    assert raw["bus_lost"].iloc[-1] > 10
    assert np.abs(session.frame()["lambda_1"] - 1.0).max() < 0.01
