"""What `check` says beside mistakes: interrupts count pulses to 2000 a second. Both runtimes."""

from ringpull.device import advice
from shared_math import config


def told(board, channel):
    given = {"version": 1, "board": board, "channels": [channel]}
    assert config.check(given) == []
    return [one for one in advice.advice(given) if one[0] != "soft_timer"]


def tach(per_rev, max_rpm):
    return {"name": "engine_speed", "input": "p0", "kind": "pulses", "per_rev": per_rev, "max_rpm": max_rpm}


def test_boards_that_count_by_interrupts_are_told_from_2000_a_second_on():
    for board in ("generic", "esp32"):
        assert told(board, tach(12, 10000)) == []  # 2000 a second
        assert [one[0] for one in told(board, tach(13, 10000))] == ["fast_for_interrupts"]
        frequency = {"name": "flow", "input": "p0", "kind": "frequency", "hz": [0, 3000], "values": [0, 100]}
        assert [one[0] for one in told(board, frequency)] == ["fast_for_interrupts"]
    assert told("rp2", tach(36, 10000)) == []


def test_how_fast_pulses_may_come_is_a_matter_of_the_board():
    """60 pulses a revolution at 15,000 rpm are 15,000 a second, 66 us apart: stamped, not counted by interrupts."""

    def codes(board, channel, rate_hz=200):
        given = {"version": 1, "board": board, "rate_hz": rate_hz, "channels": [channel]}
        return [code for code, _, _ in config.check(given)]

    for channel in (
        tach(60, 15000),
        {"name": "flow", "input": "p0", "kind": "frequency", "hz": [0, 15000], "values": [0, 1]},
    ):
        assert codes("rp2", channel) == []
        for board in ("generic", "esp32"):
            assert codes(board, channel) == ["pulses_too_fast"]
    assert codes("generic", tach(60, 10000)) == []  # and told to be too fast for interrupts
    assert codes("rp2", tach(60, 20000)) == [] and codes("rp2", tach(60, 20500)) == ["pulses_too_fast"]
    # 1008 stamps are kept between two rows: 66 us apart those of 66.5 ms
    assert codes("rp2", tach(60, 15000), 16) == [] and codes("rp2", tach(60, 15000), 15) == ["pulses_for_rate"]
    assert codes("generic", tach(20, 6000), 1) == []  # a counter keeps no stamps


def test_advice_is_worded_with_its_place_and_number():
    sentences = advice.explain(told("generic", tach(36, 9000))[0])
    assert len(sentences) == 3 and "engine_speed" in sentences[0] and "5405" in sentences[0]
    assert '"board": "rp2"' in sentences[2]


def test_boards_with_soft_timers_are_told_of_their_gaps():
    for board, soft in (("generic", True), ("esp32", True), ("rp2", False)):
        given = {"version": 1, "board": board, "channels": [tach(2, 9000)]}
        assert [one[0] for one in advice.advice(given)] == ["soft_timer"] * soft
    del given["board"]
    (one,) = advice.advice(given)
    assert '"generic"' in advice.explain(one)[0]


def test_an_injector_without_engine_speed_has_no_duty():
    injector = {"name": "injector", "input": "p1", "kind": "pulse_width"}
    assert [one[0] for one in told("rp2", injector)] == ["duty_without_speed"]
    given = {"version": 1, "board": "rp2", "channels": [injector, tach(2, 9000)]}
    assert advice.advice(given) == []


def test_more_than_the_5_v_inputs_take_is_told():
    """Without a word in the configuration its volts alone choose the divider."""

    def codes(name="tank", **more):
        channel = {"name": name, "input": "a1", "kind": "linear", "unit": "V", "volts": [0, 12], "values": [0, 12]}
        channel.update(more)
        return [code for code, _, _ in told("rp2", channel)]

    assert codes() == ["battery_divider"]
    assert codes(volts=[5.6, 0.5], values=[0, 1]) == ["battery_divider"] and codes(volts=[0, 5.5]) == []
    assert codes(divider={"top_ohm": 22000, "bottom_ohm": 6800}) == []
    assert codes(calibration={"counts": [0, 4000], "volts": [0, 16]}) == []
    # no input of this board has that divider as drawn
    assert codes("battery") == codes("supply") == ["battery_divider"]
    assert codes("battery", input="a4") == ["input_not_there"]
    table = {"name": "tank", "input": "x1", "kind": "table", "volts": [0, 5, 10], "values": [0, 1, 3]}
    given = {"version": 1, "board": "rp2", "converters": {"x": "mcp3208"}, "channels": [table]}
    (one,) = advice.advice(given)
    assert "10 V" in advice.explain(one)[0]


def test_an_esp32_does_not_see_what_lies_below_its_converter():
    """0.15 V at the pin are 0.252 V in front of 6.8 and 10 kiloohm, by hand."""

    def channel(volts, state, place="a0"):
        states = [{"name": "warm-up", "volts": state}]
        return {"name": "o2", "input": place, "kind": "lambda", "volts": volts, "values": [0.6, 1.4], "states": states}

    def codes(board, one):
        return [code for code, _, _ in told(board, one) if code == "below_converter"]

    for one in (channel([0, 5], [4.9, 5.2]), channel([0.5, 4.5], [0, 0.1]), channel([4.5, 0.1], [4.9, 5.0])):
        assert codes("esp32", one) == ["below_converter"] and codes("rp2", one) == []
    assert codes("esp32", channel([0.5, 4.5], [0.26, 0.4])) == []
    assert codes("esp32", channel([0, 5], [4.9, 5.2], "x0")) == []
    (worded,) = [one for one in told("esp32", channel([0, 5], [4.9, 5.2])) if one[0] == "below_converter"]
    assert "0.25 V" in advice.explain(worded)[0]


def test_slips_that_are_no_mistakes_are_worth_knowing():
    lam = {"name": "lambda_1", "input": "a0", "kind": "lambda", "volts": [0.5, 4.5], "values": [0.6, 1.4]}
    load = {"name": "map", "input": "a1", "kind": "linear", "unit": "kPa", "volts": [0.5, 4.5], "values": [20, 300]}

    def codes(board="rp2", engine=None, per_rev=2, values=(20, 300), place="a1", load_kpa=(40, 200)):
        channels = [lam, tach(per_rev, 8000), dict(load, values=list(values), input=place)]
        target = {"load": "map", "load_kpa": list(load_kpa), "lambda": [1.0, 0.8]}
        given = {"version": 1, "board": board, "engine": engine or {"cylinders": 4}, "channels": channels}
        given["target"] = target
        assert config.check(given) == []
        found = advice.advice(given)
        assert all(len(advice.explain(one)) == 3 for one in found)
        return [one[0] for one in found if one[0] not in ("soft_timer", "lean_after_warm_up")]

    assert codes() == codes("esp32") == codes("generic", place="a9") == []
    assert codes("pico") == ["board_unknown"]
    assert codes(place="a4") == codes("esp32", place="a4") == ["input_not_there"]
    assert codes(per_rev=4) == codes(engine={"cylinders": 6}, per_rev=2) == ["per_rev_unusual"]
    for per_rev in (0.5, 1, 2, 12, 36):
        assert codes(per_rev=per_rev) == []
    assert codes(engine={"cylinders": 2, "strokes": 2}) == []
    assert codes(values=(20, 105)) == codes(values=(20, 100)) == ["sensor_too_small"]
    assert codes(values=(20, 105), load_kpa=(40, 100)) == []


def test_a_target_that_no_engine_is_given_or_no_sensor_shows_is_told():
    def codes(target, values=(0.6, 1.4), fuel="petrol", **more):
        o2 = {"name": "lambda_1", "input": "a0", "kind": "lambda", "volts": [0.5, 4.5], "values": list(values), **more}
        load = {"name": "map", "input": "a1", "kind": "linear", "unit": "kPa", "volts": [0.5, 4.5], "values": [20, 300]}
        given = {"version": 1, "board": "rp2", "channels": [o2, tach(2, 8000), load], "target": target}
        given["fuel"] = {"name": fuel}
        assert config.check(given) == []
        found = [one for one in advice.advice(given) if one[0] in ("target_unusual", "lambda_range_short")]
        assert all(one[0] in advice.FIRST and len(advice.explain(one)) == 3 for one in found)
        return [(one[0], one[2].split(",")[0]) for one in found]

    def by_load(*values):
        return {"load": "map", "load_kpa": [40, 100, 200][: len(values)], "lambda": list(values)}

    by_speed = {"load": "map", "load_kpa": [40, 200], "rpm": [1000, 7000], "lambda": [[1.0, 0.8], [1.0, 1.3]]}
    assert codes(by_load(1.05, 0.9, 0.8)) == codes({"lambda": 0.8}) == codes(by_load(1.0, 0.95)) == []
    assert codes(by_load(1.0, 1.0, 1.3)) == codes({"lambda": 1.3}) == codes(by_speed) == [("target_unusual", "1.3")]
    assert codes({"lambda": 1.5}, (0.6, 2.4), fuel="hydrogen") == []
    assert codes(by_load(1.0, 0.6)) == codes([{**by_load(1.0, 0.6)}]) == [("target_unusual", "0.6")]
    assert codes(by_load(1.0, 0.9, 0.8), (0.5, 0.85)) == [("lambda_range_short", "0.85")]
    assert codes(by_load(1.0, 0.9, 0.8), (0.5, 0.9)) == codes(by_load(1.0, 0.9, 0.8), (1.4, 0.6)) == []
    afr = codes(by_load(1.0, 0.9, 0.8), (7, 12.5), scale="afr", stoich=14.7)
    assert afr == [("lambda_range_short", "0.85")]


def test_a_condition_that_ends_where_its_channel_does_is_told():
    def ends(least, most):
        throttle = {"name": "throttle", "input": "a1", "kind": "linear", "unit": "%", "volts": [0.5, 4.5]}
        when = {"channel": "throttle", "is": [least, most]}
        given = config_with(throttle | {"values": [0, 100]}, [{"lambda": 0.85, "when": when}, {"lambda": 1.0}])
        assert config.check(given) == []
        found = [one for one in advice.advice(given) if one[0] == "when_at_the_end"]
        assert all(len(advice.explain(one)) == 3 for one in found)
        return [detail for _, _, detail in found]

    assert ends(50, 100) == ["100"] and ends(0, 40) == ["0"] and ends(0, 100) == ["0", "100"]
    assert ends(50, 110) == ends(-10, 40) == []


def config_with(channel, target):
    o2 = {"name": "lambda_1", "input": "a0", "kind": "lambda", "volts": [0.5, 4.5], "values": [0.6, 1.4]}
    return {"version": 1, "board": "rp2", "channels": [o2, tach(2, 8000), channel], "target": target}


def test_a_fuel_pressure_that_no_sensor_reads_is_told():
    def codes(unit, most):
        return [code for code, _, _ in told("rp2", linear("fuel_pressure", unit, most))]

    assert codes("bar", 1000) == codes("kPa", 10) == codes("psi", 10000) == ["fuel_pressure_range"]
    assert codes("kPa", 1000) == codes("bar", 10) == codes("psi", 100) == codes("bar", 350) == []
    thought = told("rp2", linear("fuel_pressure", "bar", 1000))[0]
    assert "reaches 1000 bar" in advice.explain(thought)[0] and thought[0] in advice.FIRST


def linear(name, unit, most):
    return {"name": name, "input": "a1", "kind": "linear", "unit": unit, "volts": [0.5, 4.5], "values": [0, most]}


def test_a_heating_state_is_suggested_only_below_the_sensors_range():
    def code(volts):
        sensor = {"name": "lambda_1", "input": "a0", "kind": "lambda", "volts": volts, "values": [0.6, 1.4]}
        channels = [sensor, tach(2, 9000), linear("map", "kPa", 300)]
        given = {"version": 1, "board": "rp2", "channels": channels}
        given["target"] = {"load": "map", "load_kpa": [40, 200], "lambda": [1.0, 0.8]}
        return [code for code, _, _ in advice.advice(given) if code.startswith("lean_")]

    assert code([0.5, 4.5]) == ["lean_after_warm_up"] and code([0, 5]) == ["lean_no_room_for_state"]


def wired(board, *more, front="differential", converters=None):
    sensor = {"name": "lambda_1", "input": "a0", "kind": "lambda", "volts": [0.5, 4.5], "values": [0.6, 1.4]}
    given = {"version": 1, "board": board, "lean_warning": False, "channels": [sensor | {"front": front}, *more]}
    if converters:
        given["converters"] = converters
    assert config.check(given) == []
    return [one for one in advice.advice(given) if one[0] == "wire_unchecked"]


def plain(place):
    return {"name": f"n{place}", "input": place, "kind": "linear", "volts": [0.5, 4.5], "values": [0, 1]}


def test_a_ground_core_that_a_free_input_could_check_is_told():
    ((_, where, free),) = wired("rp2")
    assert "lambda_1" in where and free == "a1"
    sentences = advice.explain(wired("rp2", plain("a1"))[0])
    assert "input a2 is free" in sentences[0] and "0.63" in sentences[1] and '"checks"' in sentences[2]
    assert wired("rp2", plain("a1"), plain("a2")) == []  # a3 has no pin there
    assert [one[2] for one in wired("esp32", plain("a1"), plain("a2"))] == ["a3"]
    assert wired("generic") == [] and wired("rp2", front="plain") == []
    second = {**plain("x0"), "name": "lambda_2", "kind": "lambda", "values": [0.6, 1.4], "front": "differential"}
    assert [one[2] for one in wired("rp2", second, converters={"x": "mcp3208"})] == ["a1", "a2"], "one for each"
    pair = plain("x0-x1") | {"name": "pair"}
    assert [one[2] for one in wired("generic", pair, converters={"x": "mcp3304"})] == ["x2"]


def test_one_that_is_checked_needs_no_advice():
    wire = {"name": "wire", "input": "a1", "kind": "linear", "unit": "V", "volts": [0, 5], "values": [0, 5]}
    wire |= {"divider": {"top_ohm": 16800, "bottom_ohm": 10000}, "checks": "lambda_1"}
    for board in ("rp2", "esp32"):
        given = {"version": 1, "board": board, "lean_warning": False}
        given["channels"] = [{**plain("a0"), "name": "lambda_1", "kind": "lambda", "values": [0.6, 1.4]}, wire]
        given["channels"][0]["front"] = "differential"
        assert config.check(given) == []
        assert [one for one in advice.advice(given) if one[0] != "soft_timer"] == []


def test_a_check_without_a_divider_is_worth_a_look():
    wire = {"name": "wire", "input": "a1", "kind": "linear", "unit": "V", "volts": [0, 8], "values": [0, 8]}
    (told_of,) = [one for one in advice.advice(checked_by(wire)) if one[0] == "wire_divider"]
    what, _, step = advice.explain(told_of)
    assert "wire" in what and "lambda_1" in what and '"top_ohm": 16800' in step
    divided = wire | {"divider": {"top_ohm": 16800, "bottom_ohm": 10000}}
    assert "wire_divider" not in [code for code, _, _ in advice.advice(checked_by(divided))]


def checked_by(wire):
    """A lambda channel and the one that measures its signal wire once more."""
    first = {**plain("a0"), "name": "lambda_1", "kind": "lambda", "values": [0.6, 1.4], "front": "differential"}
    given = {"version": 1, "board": "rp2", "channels": [first, wire | {"checks": "lambda_1"}]}
    assert config.check(given) == []
    return given
