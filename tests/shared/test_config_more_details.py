"""As test_config_details.py: pulses, targets, and the rules that all checks share. Apart, for a small heap's sake."""

from config_good import good
from config_mistaken import ETHANOL, GONE, INJECTOR, TACH, WHEEL, ch, mistaken

from shared_math import config
from shared_math.config import checker


def told(path, value):
    return config.check(mistaken(path, value))


def assert_told(cases):
    """Each case: (path, value, problems)."""
    for path, value, problems in cases:
        assert told(path, value) == problems, (path, value, told(path, value))


def test_how_a_value_is_shown():
    for value, words in (
        (999999999999, "999999999999"),
        (1000000000000, "a huge number"),
        (-999999999999, "-999999999999"),
        (-1000000000000, "a huge number"),
        (True, "true"),
        (False, "false"),
        (None, "null"),
        ([1], "[...]"),
        ({"a": 1}, "{...}"),
        ("x" * 38, '"' + "x" * 38 + '"'),
        ("x" * 39, '"' + "x" * 36 + "..."),
    ):
        assert checker.shown(value) == words, value
    for value, yes in (
        (1, True),
        (1.5, True),
        (True, False),
        (float("inf"), False),
        (float("nan"), False),
        ("1", False),
    ):
        assert checker.is_number(value) == yes
    for numbers, way in (
        ([1, 2, 3], 1),
        ([3, 2, 1], -1),
        ([1, 1], 0),
        ([1, 2, 2], 0),
        ([2, 1, 3], 0),
        ([1], 0),
        ([], 0),
    ):
        assert checker.direction(numbers) == way, numbers


def test_what_was_probably_meant():
    words = ("volts", "values", "unit", "kind", "no")
    for word, one in (
        ("volt", "volts"),  # begins it
        ("vol", "volts"),
        ("VOLTS", "volts"),
        ("vlots", "volts"),  # two letters changed places: two edits
        ("volxxx", None),  # three edits
        ("ki", None),  # too short to begin one, and two edits away
        ("kin", "kind"),
        ("kid", "kind"),  # one edit of three letters
        ("kxd", None),  # two edits of three letters
        ("uni", "unit"),
        ("niut", "unit"),  # an edit at either end
        ("on", None),
        ("mo", "no"),
        ("valuess", "values"),
        ("wvalues", "values"),
    ):
        assert checker.meant(word, words) == one, (word, checker.meant(word, words))
    assert told(("vehicle", "mas_kg"), 900) == [("unknown_key", 'vehicle: "mas_kg"', '; did you mean "mass_kg"?')]
    assert told(("wheels",), 4) == [("unknown_key", '"wheels"', "")]


def test_plain_rules():
    rate, gears = ("rate_hz",), ("vehicle", "gears")
    out = "out_of_range"
    assert_told(
        (
            (rate, 1000, []),
            (rate, 1001, [(out, "rate_hz", "1001 (allowed: 1 to 1000)")]),
            (rate, 0, [(out, "rate_hz", "0 (allowed: 1 to 1000)")]),
            (rate, True, [("bool_for_number", "rate_hz", "true")]),
            (rate, "200", [("text_for_number", "rate_hz", '"200"')]),
            (rate, [200], [("not_number", "rate_hz", "[...]")]),
            (rate, 200.0, [("not_whole", "rate_hz", "200.0")]),
            (rate, float("nan"), [("not_finite", "rate_hz", "")]),
            (("engine", "strokes"), 2, []),
            (("engine", "strokes"), 3, [("bad_choice", "engine: strokes", "3 (allowed: 2, 4)")]),
            (("engine", "strokes"), 4.0, [("bad_choice", "engine: strokes", "4.0 (allowed: 2, 4)")]),
            (("screen",), 1, [("not_yes_no", "screen", "1")]),
            (("board",), "", [("empty_text", "board", "")]),
            (("note",), "", []),
            (("note",), 7, [("not_text", "note", "7")]),
            (("board",), "x" * 24, []),
            (("board",), "x" * 25, [("long_text", "board", "25 letters (allowed: 24)")]),
            (gears, [100], []),
            (gears, [100, 100], [("gears_order", "vehicle: gears", "")]),
            (gears, [], [("list_length", "vehicle: gears", "0 (wanted: 1 to 12)")]),
            (gears, list(range(112, 100, -1)), []),
            (gears, list(range(113, 100, -1)), [("list_length", "vehicle: gears", "13 (wanted: 1 to 12)")]),
            (
                gears,
                [1001, "2"],
                [
                    (out, "vehicle: gears", "1001 (allowed: 1 to 1000)"),
                    ("text_for_number", "vehicle: gears", '"2"'),
                ],
            ),
            (("version",), 2, [("newer_version", "version", "2")]),
            (("version",), 0, [("bad_version", "version", "0")]),
            (("version",), True, [("bad_version", "version", "true")]),
            (("version",), GONE, [("missing_key", "version", "")]),
            (("vehicle",), 7, [("not_object", "vehicle", "7")]),
            (("lean_warning",), False, []),
            (("lean_warning", "margin"), 0.01, []),
            (
                ("channels", TACH, "label"),
                "x" * 61,
                [("long_text", 'channel 6 ("engine_speed"): label', "61 letters (allowed: 60)")],
            ),
        )
    )
    assert config.check([]) == [("not_object", "", "[...]")]
    assert config.check({"version": 1}) == [("missing_key", "channels", "")]
    one = checker.Checker()
    assert one.good({"a": 3}, "a", ("whole", 1, 3)) == 3 and one.good({"a": 4}, "a", ("whole", 1, 3)) is None
    assert one.good({}, "a", ("whole", 1, 3)) is None
    for rule, right, wrong in ((("choice", (2, 4)), 2, 3), (("yes_no",), False, 0), (("text", 3), "abc", "abcd")):
        assert one.good({"a": right}, "a", rule) == right and one.good({"a": wrong}, "a", rule) is None
    assert one.good({"a": [1, 3]}, "a", ("numbers", 2, 2, 1, 3)) == [1, 3]
    for wrong in ([1], [1, 4], [0, 3], [1, 2, 3], 5):
        assert one.good({"a": wrong}, "a", ("numbers", 2, 2, 1, 3)) is None
    assert one.problems == []


def test_how_fast_pulses_may_come():
    tach, wheel, tank = 'channel 6 ("engine_speed")', 'channel 7 ("wheel_speed")', 'channel 8 ("ethanol")'
    filter_of = tach + ": min_period_us"
    # 9000 rpm with 2 pulses a turn: 3333 us; with 300 us of ringing the filter may be 300 to 1666 us
    assert_told(
        (
            (ch(TACH, "min_period_us"), 300, []),
            (ch(TACH, "min_period_us"), 299, [("filter_too_short", filter_of, "299 us, but 300 us of ringing")]),
            (ch(TACH, "min_period_us"), 1666, []),
            (ch(TACH, "min_period_us"), 1667, [("filter_over_half", filter_of, "1667 us, edges 3333 us apart")]),
            (ch(TACH, {"min_period_us": 3332, "ringing_us": GONE}), None, []),
            (
                ch(TACH, {"min_period_us": 3333, "ringing_us": GONE}),
                None,
                [("filter_too_long", filter_of, "3333 us, edges 3333 us apart")],
            ),
            (ch(TACH, "ringing_us"), 1666, []),
            (ch(TACH, "ringing_us"), 1667, [("ringing_too_long", tach, "1667 us of ringing, edges 3333 us apart")]),
            # 10,000 edges a second, 100 us apart, are the most: 60e6 / (max_rpm x per_rev)
            (ch(TACH, {"per_rev": 60, "max_rpm": 10000, "ringing_us": GONE}), None, []),
            (
                ch(TACH, {"per_rev": 60, "max_rpm": 10100, "ringing_us": GONE}),
                None,
                [("pulses_too_fast", tach, "99 us apart (allowed on this board: 100 us)")],
            ),
            (ch(ETHANOL, "hz"), [50, 10000], []),
            (
                ch(ETHANOL, "hz"),
                [50, 10200],
                [("pulses_too_fast", tank, "98 us apart (allowed on this board: 100 us)")],
            ),
            (ch(WHEEL, "per_rev"), 4, [("per_both", wheel, "")]),
            (ch(WHEEL, "per_metre"), GONE, [("per_missing", wheel, "")]),
            (ch(WHEEL, "max_rpm"), 9000, [("max_of_other", wheel + ": max_rpm", "max_rpm goes with per_rev")]),
            (ch(TACH, "max_kmh"), 90, [("max_of_other", tach + ": max_kmh", "max_kmh goes with per_metre")]),
            (
                ch(TACH, {"max_rpm": 10000, "ringing_us": 1500}),  # 3000 us apart
                None,
                [("ringing_too_long", tach, "1500 us of ringing, edges 3000 us apart")],
            ),
            (ch(TACH, {"max_rpm": 10000, "ringing_us": 1499}), None, []),
            (ch(INJECTOR, "ringing_us"), 5000, []),
        )
    )


def test_how_many_pulses_a_board_keeps_between_two_rows():
    """A board that stamps pulses takes them 50 us apart, and 1008 between two rows: at one row a second 992 us apart
    are 1008, and 991 us are 1009."""

    def on_rp2(rate_hz, hz):
        like = {"name": "flow", "input": "p0", "kind": "frequency", "unit": "Hz", "hz": [0, hz], "values": [0, 1]}
        return config.check({"version": 1, "board": "rp2", "rate_hz": rate_hz, "channels": [like]})

    here = 'channel 1 ("flow")'
    assert on_rp2(1, 1008.06) == []
    assert on_rp2(1, 1009.08) == [("pulses_for_rate", here, "1009, at rate_hz 1 (allowed: 1008)")]
    assert on_rp2(200, 20000) == []
    assert on_rp2(200, 20400) == [("pulses_too_fast", here, "49 us apart (allowed on this board: 50 us)")]


def test_targets():
    one, two = "target 1", "target 2"
    flat = {"lambda": 0.85}
    axis = {"load": "map", "load_kpa": [40, 200], "lambda": [1.0, 0.8]}
    table = dict(axis, rpm=[1000, 7000], **{"lambda": [[1.0, 0.8], [1.0, 0.7]]})
    t = ("target",)
    bare = good()
    bare["lean_warning"] = False

    def of(target):
        bare["target"] = target
        return config.check(bare)

    unit = "target: load"
    for target, problems in (
        (flat, []),
        ({"lambda": 0.4}, []),
        ({"lambda": 0.39}, [("out_of_range", "target: lambda", "0.39 (allowed: 0.4 to 1.6)")]),
        ({"lambda": 1.61}, [("out_of_range", "target: lambda", "1.61 (allowed: 0.4 to 1.6)")]),
        ({}, [("missing_key", "target: lambda", "")]),
        (axis, []),
        (table, []),
        (dict(axis, load_kpa=[40, 40]), [("target_order", "target: load_kpa", "")]),
        (dict(table, rpm=[7000, 1000]), [("target_order", "target: rpm", "")]),
        (
            dict(axis, load_pct=[0, 100]),
            [
                ("target_two_loads", "target", ""),
                ("target_load_unit", unit, '"kPa" (wanted: "%")'),
            ],
        ),
        ({"load": "map", "lambda": 0.8}, [("target_no_axis", "target", "")]),
        ({"rpm": [1000, 2000], "lambda": 0.8}, [("target_no_axis", "target", "")]),
        ({"lambda": [0.8, 0.9]}, [("target_no_axis", "target: lambda", "")]),
        ({"load_kpa": [40, 200], "lambda": [1.0, 0.8]}, [("missing_key", "target: load", "")]),
        (dict(axis, load="boost"), [("channel_unknown", unit, '"boost"')]),
        (dict(axis, load="air_flow"), [("target_load_unit", unit, '"g/s" (wanted: "kPa")')]),
        (dict(axis, **{"lambda": [1.0, 0.9, 0.8]}), [("list_length", "target: lambda", "3 (wanted: 2)")]),
        (dict(table, **{"lambda": [[1.0, 0.8]]}), [("target_rows", "target: lambda", "1 rows for 2 speeds")]),
        (dict(table, **{"lambda": 0.8}), [("not_list", "target: lambda", "0.8")]),
        (dict(table, **{"lambda": [[1.0, 0.8], [1.0]]}), [("list_length", "target: lambda", "1 (wanted: 2)")]),
        (dict(flat, when={"channel": "map", "is": 1}), [("when_alone", "target: when", "")]),
        ([flat, axis], [("target_unreachable", one, "")]),
        ([], [("list_length", "target", "0 (wanted: 1 to 8)")]),
    ):
        assert of(target) == problems, (target, of(target))

    def when(**states):
        return of([dict(flat, when=states), axis])

    high = {"channel": "high_boost"}
    for states, problems in (
        (dict(high, **{"is": 1}), []),
        (dict(high, **{"is": [0, 1]}), []),
        (dict(high, **{"is": [-1000000, 1000000]}), []),
        (dict(high, **{"is": [1, 1]}), [("range_order", one + ": when: is", "")]),
        (dict(high, **{"is": [1]}), [("list_length", one + ": when: is", "1 (wanted: 2)")]),
        (dict(high, **{"is": "warm_up"}), [("state_unknown", one + ": when: is", '"warm_up"')]),
        ({"channel": "lambda_1", "is": "warm_up"}, []),
        ({"channel": "lambda_1", "is": "cold"}, [("state_unknown", one + ": when: is", '"cold"')]),
        ({"channel": "valet", "is": 1}, [("channel_unknown", one + ": when: channel", '"valet"')]),
        ({"is": 1}, [("missing_key", one + ": when: channel", "")]),
        (high, [("missing_key", one + ": when: is", "")]),
        (
            dict(high, **{"is": 1000001}),
            [("out_of_range", one + ": when: is", "1000001 (allowed: -1000000.0 to 1000000.0)")],
        ),
    ):
        assert when(**states) == problems, (states, when(**states))
    guarded = dict(flat, when=dict(high, **{"is": 1}))
    assert of([guarded] * 8) == [] and of([guarded] * 9) == [("list_length", "target", "9 (wanted: 1 to 8)")]
    assert of([guarded, flat, axis]) == [("target_unreachable", two, "")]
    assert of([7, axis]) == [("not_object", one, "7")]
    assert told(t, 7)[0] == ("not_object", "target", "7")


def test_what_is_filled_in():
    full = config.defaults(good())
    assert full["lean_warning"] == {"margin": 0.05, "after_s": 0.3, "buzzer": True}
    without = good()
    del without["lean_warning"], without["converters"]
    full = config.defaults(without)
    assert full["lean_warning"]["buzzer"] is False and set(full["lean_warning"]) == {"margin", "after_s", "buzzer"}
    assert full["converters"] == {"x": "mcp3208"}
    assert full["channels"][WHEEL]["max_kmh"] == 300 and "max_rpm" not in full["channels"][WHEEL]
    del without["channels"][0]
    assert config.defaults(without)["lean_warning"] is False  # it can't warn without lambda
