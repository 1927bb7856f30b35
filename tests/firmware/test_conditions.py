"""Which of several targets counts on the device, by what a channel shows. Runs under MicroPython."""

import car

from shared_math.config import schema

LEAST_PER_METRE = schema.KINDS["pulses"]["per_metre"][1]
SWITCH = {"name": "high_boost", "input": "d0", "kind": "digital"}


def with_channels(*more):
    return {"channels": car.CONFIG["channels"] + list(more)}


def test_the_target_that_counts_is_chosen_by_its_condition():
    rich = {"when": {"channel": "high_boost", "is": 1}, "load": "map", "load_kpa": [40, 200], "lambda": [1.0, 0.75]}
    plain = {"load": "map", "load_kpa": [40, 200], "lambda": [1.0, 0.9]}
    changes = with_channels(SWITCH)
    changes["target"] = [rich, plain]
    one = car.Car(changes, glass=False)
    one.drive(5, lambda t: dict(car.cruise(t), high_boost=0))
    one.drive(3, lambda t: {"rpm": 4000, "map": 195.0, "lambda_1": 0.88})
    assert one.lean_times() == [] and one.panel.live.wanted > 890
    one.drive(3, lambda t: {"high_boost": 1})
    ((on, off),) = one.lean_times()
    assert 8.3 <= on <= 9.6 and off is None and one.panel.live.wanted < 770


def test_conditions_may_hang_on_a_state_or_a_value():
    fault = {"when": {"channel": "lambda_1", "is": "warm-up"}, "lambda": 1.0}
    fast = {"when": {"channel": "engine_speed", "is": [3000, 9000]}, "lambda": 0.8}
    one = car.Car({"target": [fault, fast, {"load": "map", "load_kpa": [40, 200], "lambda": [1.1, 0.9]}]}, glass=False)
    for rpm, value, wanted in ((5000, 0.9, 800), (2000, 0.9, 900), (5000, "warm-up", 1000)):
        one.drive(3, lambda t, rpm=rpm, value=value: {"rpm": rpm, "map": 200.0, "lambda_1": value})
        assert abs(one.panel.live.wanted - wanted) <= 2, (rpm, one.panel.live.wanted)


def test_a_condition_may_hang_on_an_injector():
    """On-time in ms as the decoded table has it: none of the long pulse, 0 while no pulse comes."""
    injector = {"name": "injector", "input": "p1", "kind": "pulse_width", "per_cycle": 1}
    long = {"when": {"channel": "injector", "is": [4, 20]}, "lambda": 0.8}
    cut = {"when": {"channel": "injector", "is": 0}, "lambda": 1.2}
    changes = with_channels(injector)
    changes["target"] = [long, cut, {"load": "map", "load_kpa": [40, 200], "lambda": [0.9, 0.9]}]
    one = car.Car(changes, glass=False)
    conditions = one.panel.live.conditions
    at = [column["n"] for column in one.table].index("injector") + 1
    cells = [0] * (len(one.table) + 1)
    # (count, age, on-time, engine speed) -> wanted lambda; a four-stroke's cycle at 3000 rpm lasts 40 ms
    for count, age, on, rpm, wanted in (
        (9, 5000, 4500, 3000, 800),
        (9, 5000, 3500, 3000, 900),
        (9, 84000, 4500, 3000, 800),
        (9, 85000, 4500, 3000, 1200),
        (9, 85000, 4500, 2900, 800),
        (9, 900000, 4500, 0, 800),
        (9, (1 << 20) - 1, 4500, 0, 1200),
        (9, 5000, (1 << 17) - 1, 3000, 900),
        (0, (1 << 20) - 1, 0, 0, 900),
    ):
        cells[at], cells[at + 1], cells[at + 3] = count, age, on
        one.panel.live.speeds[0][0].rpm = rpm
        want = conditions.want(cells, 0, one.panel.live.speeds)
        assert want.at(1000, rpm) == wanted, (count, age, on, rpm)


def test_the_slowest_pulses_that_can_be_configured_stay_small_integers():
    wheel = {"name": "wheel", "input": "p1", "kind": "pulses", "per_metre": LEAST_PER_METRE}
    changes = with_channels(wheel)
    fast = {"when": {"channel": "wheel", "is": [50, 300]}, "lambda": 0.8}
    changes["target"] = [fast, {"load": "map", "load_kpa": [40, 200], "lambda": [1.1, 0.9]}]
    one = car.Car(changes, glass=False)
    assert len(one.panel.live.speeds) == 2
    for live, _, _ in one.panel.live.speeds:
        assert live.minute_us < 1 << 30, live.minute_us
