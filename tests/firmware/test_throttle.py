"""Which column tells a closed throttle and a falling engine. Runs under MicroPython."""

import car

FALLING = {"name": "throttle", "input": "a3", "kind": "linear", "unit": "%", "volts": [4.5, 0.5], "values": [0, 100]}
LEAN = {"rpm": 5000, "map": 120.0, "lambda_1": 1.3}


def test_volts_that_fall_as_the_throttle_opens_tell_the_same():
    """By hand: 12 % are 4.02 V, closed is above; the pull ends after 3 s of it."""
    one = car.Car({"channels": car.CONFIG["channels"] + [FALLING]}, glass=False)
    column = one.table[one.plan.throttle[0] - 1]
    volts = [column["o"] + column["s"] * counts for counts in one.plan.throttle[1:3]]
    assert column["n"] == "throttle" and abs(volts[0] - 4.02) < 0.003 and volts[1] > 4.5
    one.drive(4, lambda t: dict(car.pull()(t), throttle=99.0))
    one.drive(4, lambda t: dict(LEAN, throttle=2.0))
    assert one.lean_times() == []
    one.drive(4, lambda t: dict(LEAN, throttle=99.0))
    assert len(one.lean_times()) == 1


def test_a_pull_is_ended_by_the_crank_not_by_what_pulses_first():
    flow = {"name": "air_flow", "input": "p1", "kind": "frequency", "hz": [0, 1000], "values": [0, 100]}
    plan = car.Car({"channels": [flow] + car.CONFIG["channels"]}, glass=False).plan
    assert plan.table[plan.crank() - 1]["n"] == "engine_speed"
