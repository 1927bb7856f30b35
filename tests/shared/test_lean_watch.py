"""The lean warning: it fires when it must, late by what is configured, and never where lambda means nothing."""

from shared_math import lean_watch

try:
    from micropython import heap_lock, heap_unlock
except ImportError:

    def heap_lock():
        """A PC has no heap to lock."""

    heap_unlock = heap_lock

STEP_MS = 100
LEAN = 900  # with 800 wanted


def drive(seconds, given, watch=None, warm=(True,), step_ms=STEP_MS, **options):
    """Times (s) at which the warning went on and off. given: seconds -> (rpm, load, wanted, closed, lambdas, rails)."""
    watch = watch or lean_watch.LeanWatch(len(warm), 0.05, options.get("after_s", 0.3), options.get("kpa", True), warm)
    changes = []
    was = watch.on
    for n in range(int(seconds * 1000) // step_ms + 1):
        t = n * step_ms / 1000
        rpm, load, wanted, closed, lambdas, rails = given(t)
        throttle = closed if closed in (-1, 1) and closed is not True else -1 if closed else 0
        on = watch.step(step_ms, rpm, load, wanted, throttle, lambdas, rails)
        if on != was:
            changes.append(t)
            was = on
    return changes


def pull(value=LEAN, rail=0, rpm=None, load=None, closed=False, wanted=800):
    """Full load from 2 s on; each may be a function of time."""

    def now(t):
        def of(what, otherwise=None):
            return what(t) if callable(what) else (otherwise if what is None else what)

        engine = of(rpm, 3000 + int(500 * t))
        pressure = of(load, 1700 if t >= 2 else 450)
        return engine, pressure, of(wanted), of(closed), (of(value),), (of(rail),)

    return now


def test_lean_under_load_warns_after_settling_and_delay():
    on, *off = drive(6, pull())
    assert 2.8 <= on <= 3.2 and not off


def test_a_hole_in_a_good_pull():
    on, off = drive(10, pull(lambda t: LEAN if 4 <= t < 5 else 810))
    assert 4.3 <= on <= 4.4
    assert 6.3 <= off <= 6.5  # shown for a while after it


def test_shorter_than_the_delay_is_no_warning():
    assert drive(8, pull(lambda t: LEAN if 4 <= t < 4.25 else 810)) == []
    on, _ = drive(8, pull(lambda t: LEAN if 4 <= t < 4.75 else 810), after_s=0.6)
    assert 4.6 <= on <= 4.8


def test_below_the_margin_is_no_warning():
    assert drive(8, pull(845)) == []
    assert drive(8, pull(lambda t: 845 if int(t * 10) % 2 else 856)) != []  # hovering about it is one
    assert drive(8, pull(lambda t: 820 if int(t * 10) % 2 else 856)) == []


def test_no_target_no_warning():
    assert drive(8, pull(wanted=lambda t: None)) == []


def test_overrun_is_no_warning():
    # From a pull into the overrun and back: the pipe is full of air
    def value(t):
        return 1399 if 5.05 < t < 7.4 else 805

    def load(t):
        return 250 if 5 <= t < 7 else 1600

    assert drive(10, pull(value, load=load)) == []
    # pressure measured before the throttle stays: the throttle tells
    assert drive(10, pull(value, load=1600, closed=lambda t: 5 <= t < 7)) == []


def test_overrun_at_the_lean_end_is_no_warning():
    assert drive(10, pull(1400, rail=1, load=lambda t: 250 if t < 5 else 1600)) == []


def test_warm_up_and_controller_states_are_no_warning():
    assert drive(8, pull(lambda t: None)) == []
    # known again in the middle of a pull: its first values are of the state before
    assert drive(8, pull(lambda t: None if t < 4 else (LEAN if t < 4.5 else 805))) == []
    assert drive(8, pull(lambda t: 805 if t < 4 else None if t < 5 else (LEAN if t < 5.5 else 805))) == []
    on, *_ = drive(8, pull(lambda t: None if t < 4 else LEAN))
    assert 4.8 <= on <= 5.1


def test_a_controller_that_cannot_tell_its_warm_up_is_given_time():
    assert drive(25, pull(), warm=(False,)) == []
    on, *_ = drive(40, pull(rpm=3000), warm=(False,))
    assert 30 <= on <= 30.5
    # and again after the engine stood
    assert len(drive(70, pull(rpm=lambda t: 0 if 35 <= t < 40 else 3000), warm=(False,))) == 2


def test_rails_begin_nothing_and_end_nothing():
    assert drive(8, pull(1400, rail=1)) == []
    assert drive(8, pull(600, rail=-1)) == []
    # a wire that comes off in the middle of a good pull; and the first values after it is back
    assert drive(8, pull(lambda t: 805 if t < 5 else 1400, lambda t: 0 if t < 5 else 1)) == []
    assert drive(8, pull(lambda t: 1400 if t < 5 else (LEAN if t < 5.5 else 805), lambda t: 1 if t < 5 else 0)) == []
    # measured lean first, then beyond the range: that is lean indeed
    on, *off = drive(8, pull(lambda t: min(1400, 810 + int(max(0, t - 4) * 1500)), lambda t: 1 if t > 4.35 else 0))
    assert 4.2 <= on <= 4.6 and not off


def test_a_standing_engine_is_no_warning():
    assert drive(8, pull(rpm=0, load=1010)) == []
    assert drive(8, pull(rpm=300, load=1010)) == []  # the starter


def test_tip_in_is_no_warning():
    # every half second another stab at the throttle, lean at each
    def load(t):
        return 900 + 500 * (int(t * 2) % 2)

    assert drive(12, pull(lambda t: LEAN if int(t * 2) % 2 else 860, load=load)) == []


def test_gear_change_at_full_throttle_is_no_warning():
    def rpm(t):
        return 3000 + int(800 * t) if t < 5 else 7000 - int(min(t - 5, 0.4) * 5500)

    assert drive(7, pull(lambda t: 1000 if 5.05 < t < 5.6 else 805, rpm=rpm)) == []


def test_a_missing_edge_delays_no_warning():
    """One low speed in every eight steps is a missing edge, and no gear change."""
    on, *_ = drive(8, pull(rpm=lambda t: 5600 if int(t * 10) % 8 == 0 else 6000))
    assert 2.8 <= on <= 3.2


def test_two_banks_the_leaner():
    def banks(first, second):
        return lambda t: (4000, 1700, 800, False, (first, second), (0, 0))

    assert drive(6, banks(800, LEAN), warm=(True, True)) != []
    assert drive(6, banks(LEAN, None), warm=(True, True)) != []
    assert drive(6, banks(800, 820), warm=(True, True)) == []
    assert drive(6, banks(None, None), warm=(True, True)) == []


def test_high_up_the_pressure_of_full_load_is_lower():
    watch = lean_watch.LeanWatch(1, 0.05, 0.3, True, (True,))
    load = 710  # of an engine without a turbo at 2500 m, where it stands at 75 kPa
    assert drive(6, pull(load=load, rpm=4000), watch) == []
    drive(1, pull(load=750, rpm=0), watch)
    assert drive(6, pull(load=load, rpm=4000), watch) != []


def test_full_load_at_part_throttle_is_load():
    """Where a throttle tells all that is less, pressure begins to tell load where the manifold is nearly full."""

    def watch():
        return lean_watch.LeanWatch(1, 0.05, 0.3, True, (True,), True)

    assert drive(6, pull(load=970, rpm=3000), watch()) != []
    assert drive(6, pull(load=890, rpm=3000), watch()) == []
    assert drive(6, pull(load=700, rpm=3000, closed=lambda t: 1), watch()) != []  # wide open, high up
    assert drive(6, pull(load=970, rpm=3000, closed=lambda t: -1), watch()) == []


def test_an_engine_without_vacuum_tells_no_load_by_pressure():
    """It idles and is driven slowly at the pressure of the air around; lambda is rightly 1 there."""

    def cruising(t):
        return 900 if t < 6 else 3000

    def lean(t):
        return LEAN if t >= 6 else 805

    assert drive(20, pull(lean, load=1000, rpm=cruising)) == []
    throttled = lean_watch.LeanWatch(1, 0.05, 0.3, True, (True,), True)
    assert drive(20, pull(lean, load=1000, rpm=3000, closed=lambda t: -1 if t < 4 else 0), throttled) == []
    assert drive(6, pull(load=1000, rpm=3000, closed=lambda t: 1), throttled) != []
    assert drive(20, pull(lean, load=lambda t: 350 if t < 6 else 1000, rpm=cruising)) != []


def test_load_in_per_cent():
    assert drive(6, pull(load=lambda t: 950 if t > 2 else 100), kpa=False) != []
    assert drive(6, pull(load=lambda t: 700 if t > 2 else 600), kpa=False) != []
    assert drive(6, pull(load=lambda t: 550 if t > 2 else 100), kpa=False) == []


def test_steps_of_other_length_warn_alike():
    for step_ms in (20, 50, 125):
        on, off = drive(10, pull(lambda t: LEAN if 4 <= t < 5 else 810), step_ms=step_ms)
        assert 4.3 <= on <= 4.45 and 6.2 <= off <= 6.6


def test_what_is_lacking():
    lambda_1 = {"name": "lambda_1", "kind": "lambda"}
    speed = {"name": "n", "kind": "pulses", "per_rev": 2}
    map_ = {"name": "map", "kind": "linear", "unit": "kPa"}
    target = {"load": "map", "load_kpa": [1, 2], "lambda": [1, 1]}
    listed = [lambda_1, speed, map_]
    assert lean_watch.lacking({"channels": listed, "target": target}) == []
    assert lean_watch.lacking({"channels": listed, "target": [{"lambda": 1}, target]}) == []
    assert lean_watch.lacking({"channels": listed, "target": {"lambda": 0.8}}) == ["load"]
    by_hertz = [lambda_1, speed, {"name": "map", "kind": "frequency", "unit": "kPa"}]
    assert lean_watch.lacking({"channels": by_hertz, "target": target}) == ["load"]  # the panel reads it nowhere
    commanded = {"name": "lambda_commanded", "kind": "lambda"}
    assert lean_watch.lacking({"channels": [commanded]}) == ["lambda", "speed", "load"]


def test_nothing_is_allocated():
    watch = lean_watch.LeanWatch(2, 0.05, 0.3, True, (True, True))
    values = ((3000, (900, None), (0, 0)), (6000, (900, 1400), (0, 1)), (0, (None, 600), (0, -1)))
    heap_lock()
    try:
        for _ in range(40):
            for rpm, lambdas, rails in values:
                watch.step(100, rpm, 1700, 800, 0, lambdas, rails)
    finally:
        heap_unlock()
