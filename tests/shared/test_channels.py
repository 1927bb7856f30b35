"""The columns of a ring file from a configuration, and the line from counts to volts at a terminal."""

from shared_math import channels, layout


def near(a, b):
    return abs(a - b) <= 1e-6 * abs(b)


def analog(**more):
    channel = {"name": "map", "input": "a1", "kind": "linear", "unit": "kPa", "volts": [0.5, 4.5], "values": [20, 300]}
    channel.update(more)
    return channel


BATTERY = {"name": "battery", "input": "a4", "kind": "linear", "unit": "V", "volts": [0, 18], "values": [0, 18]}
TAIL = ["mark", "flag", "late", "lamp"]


def columns(listed, spec=(12, 3.3, 5), **more):
    config = {"channels": listed}
    config.update(more)
    return channels.columns(config, lambda _input: spec)


def test_columns_of_each_kind_in_their_order():
    listed = [
        {"name": "tach", "input": "p0", "kind": "pulses", "per_rev": 2},
        {"name": "valve", "input": "p1", "kind": "pulse_width"},
        {"name": "ethanol", "input": "p2", "kind": "frequency", "hz": [50, 150], "values": [0, 100]},
        {"name": "valet", "input": "d0", "kind": "digital"},
        analog(),
    ]
    made = columns(listed)
    pulses = [layout.COUNT_BITS, layout.AGE_BITS, layout.REJECTED_BITS]
    assert [(one["n"], one["r"], one["b"]) for one in made[:12]] == [
        ("tach", "count", pulses[0]),
        ("tach.age", "age", pulses[1]),
        ("tach.rejected", "rejected", pulses[2]),
        ("valve", "count", pulses[0]),
        ("valve.age", "age", pulses[1]),
        ("valve.rejected", "rejected", pulses[2]),
        ("valve.on", "on_us", layout.ON_BITS),
        ("ethanol", "count", pulses[0]),
        ("ethanol.age", "age", pulses[1]),
        ("ethanol.rejected", "rejected", pulses[2]),
        ("valet", "digital", 1),
        ("map", "adc", 12),
    ]
    assert [one["n"] for one in made[12:]] == ["stall", "heap"] + TAIL
    bits = [layout.STALL_BITS, layout.HEAP_BITS, layout.MARK_BITS, layout.FLAG_BITS, layout.LATE_BITS, layout.LAMP_BITS]
    assert [one["b"] for one in made[12:]] == bits


def test_dips_are_counted_where_the_supply_is_measured():
    for channel, told in (
        (BATTERY, True),
        (dict(BATTERY, name="supply"), True),
        (dict(BATTERY, name="other"), False),
        (dict(BATTERY, unit="mV"), False),
        (dict(BATTERY, kind="table"), False),
        (analog(), False),
    ):
        names = [one["n"] for one in columns([analog(name="first"), channel])]
        assert ("dips" in names) == told, channel
    assert channels.supply_of({"channels": [analog(), BATTERY]}) == BATTERY


def test_a_count_in_volts():
    """A 12 bit step of 3.3 V is 0.805664 mV at the pin; 16.8 kohm over 10 kohm make it 1.353516 mV at the terminal, and
    a count stands for the middle of its step. 57 kohm over 10 kohm, for more than 5.5 V, make it 4.592285 mV."""
    adc = columns([analog()])[0]
    assert near(adc["s"], 1.353515625e-3) and near(adc["o"], 0.6767578125e-3) and adc["k"] == 5
    assert near(columns([BATTERY])[0]["s"], 4.592285156e-3)
    for most, divider in ((5.5, (6800, 10000)), (5.51, (47000, 10000))):
        assert channels.divider_of(analog(volts=[0, most])) == divider
    assert channels.divider_of({"kind": "thermistor"}) == (6800, 10000)
    own = {"top_ohm": 3300, "bottom_ohm": 6600}
    assert channels.divider_of(analog(divider=own)) == (3300, 6600)
    assert near(columns([analog(divider=own)])[0]["s"], 1.208496094e-3)  # 0.805664 mV x 1.5


def test_a_calibration_wins_over_divider_and_reference():
    """0.2 V at 100 counts and 5 V at 3940: 4.8 V over 3840 counts are 1.25 mV, and 0 counts are 0.2 - 0.125 V."""
    adc = columns([analog(calibration={"counts": [100, 3940], "volts": [0.2, 5.0]})])[0]
    assert near(adc["s"], 1.25e-3) and near(adc["o"], 0.075)


def test_how_far_a_converter_is_known_to_bend():
    """20 mV of the pin are 33.6 mV at the terminal, by 16.8 over 10 kohm; of a calibrated one 4 mV are left, at 1.25 mV
    a count and 0.805664 mV a count of the pin 6.206 mV."""
    spec = (12, 3.3, 5, (0.020, 0.004))
    assert near(columns([analog()], spec)[0]["e"], 0.0336)
    calibrated = analog(calibration={"counts": [3940, 100], "volts": [0.2, 5.0]})
    assert near(columns([calibrated], spec)[0]["e"], 4e-3 * 1.25e-3 / 0.8056640625e-3)
    assert "e" not in columns([analog()])[0]


def test_inputs_of_external_converters():
    """A signed converter's middle count stands for 0 V: 13 bits over 6.6 V, step 0.805664 mV, 4096 steps below. A slow
    one has a column for how old its value is."""
    signed = columns([analog(input="x0-x1")], (13, 6.6, 5), converters={"x": "mcp3304"})
    assert [one["n"] for one in signed[:2]] == ["map", "stall"]
    assert near(signed[0]["s"], 1.353515625e-3) and near(signed[0]["o"], -4096 * 1.353515625e-3)
    slow = columns([analog(input="y0")], (16, 8.192, 5), converters={"y": "ads1115"})
    assert (slow[1]["n"], slow[1]["r"], slow[1]["b"]) == ("map.held", "held", layout.HELD_BITS)
    plain = columns([analog(input="x0")], converters={"x": "mcp3208"})
    assert plain[1]["n"] == "stall" and plain[0]["o"] > 0
    assert columns([analog(input="x0")])[0]["o"] > 0  # the usual one, where none is told of


def test_units_and_names_of_decoded_columns():
    for channel, unit, name in (
        ({"name": "l", "kind": "lambda"}, "", "l"),
        ({"name": "t", "kind": "pulses", "per_rev": 2}, "rpm", "t_rpm"),
        ({"name": "w", "kind": "pulses", "per_metre": 12}, "km/h", "w_kmh"),
        ({"name": "c", "kind": "rtd"}, "degC", "c_degc"),
        ({"name": "c", "kind": "thermistor"}, "degC", "c_degc"),
        ({"name": "c", "kind": "thermocouple"}, "degC", "c_degc"),
        ({"name": "i", "kind": "pulse_width"}, "ms", "i_ms"),
        ({"name": "d", "kind": "digital"}, "", "d"),
        ({"name": "x", "kind": "table", "unit": "kg/m3 2"}, "kg/m3 2", "x_kgm32"),
        ({"name": "x", "kind": "linear"}, "", "x"),
    ):
        assert (channels.unit_of(channel), channels.column_name(channel)) == (unit, name)
    tach = {"name": "t", "kind": "pulses", "per_rev": 2}
    assert channels.crank_of([{"name": "w", "kind": "pulses", "per_metre": 12}, {"name": "x"}, tach]) == tach
    assert channels.crank_of([]) is None


def test_a_line_without_a_word_of_signs_is_of_an_unsigned_converter():
    """Half a step at count 0; a signed one has half of its range below."""
    channel = {"name": "x", "divider": {"top_ohm": 6800, "bottom_ohm": 10000}}
    step, at_zero = channels.nominal_line(channel, 12, 3.3)
    assert at_zero == step / 2
    assert channels.nominal_line(channel, 12, 3.3, True)[1] == -2048 * step
