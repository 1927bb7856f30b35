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


def test_the_air_is_not_what_the_starter_leaves_in_the_manifold():
    """Speed still reads 0 in the first turns, while pressure falls already."""
    starting = [1000] * 4 + [900, 730, 560]

    def after_the_start(spell, load):
        watch = lean_watch.LeanWatch(1, 0.05, 0.3, True, (True,), True)
        for standing in spell:
            watch.step(STEP_MS, 0, standing, 800, 0, (805,), (0,))
        return drive(6, pull(load=load, rpm=4000), watch) != []

    assert not after_the_start(starting, 700) and after_the_start(starting, 930)
    assert not after_the_start([700, 560], 700)  # and none from a logger that wakes with the starter
    assert after_the_start([750, 754, 747, 750], 700)  # high up, with a sensor's noise
    assert after_the_start([400, 600, 750, 751, 750, 750], 700)  # the engine stopped: the manifold fills


def test_the_air_is_known_once_the_engine_has_stood_for_its_time_and_no_sooner():
    """0.3 s at one pressure, counted from the step after the one that brought it."""
    for step_ms in (50, 100):
        watch = lean_watch.LeanWatch(1, 0.05, 0.3, True, (True,), True)
        unknown = watch.full
        for step in range(300 // step_ms + 1):
            assert watch.full == unknown, (step_ms, step)
            watch.step(step_ms, 0, 800, 800, 0, (805,), (0,))
        assert watch.full != unknown, step_ms


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


def test_an_engine_without_vacuum_is_under_load_by_its_charger_s_pressure():
    """From one and a half times the pressure of the air around: common practice, no source."""
    for kpa, warned in ((1450, False), (1550, True)):

        def rising(t, kpa=kpa):
            return 1000 if t < 6 else kpa

        def cruising(t):
            return 900 if t < 6 else 3000

        assert (drive(20, pull(lambda t: LEAN if t >= 6 else 805, load=rising, rpm=cruising)) != []) is warned, kpa


def test_load_in_per_cent():
    assert drive(6, pull(load=lambda t: 950 if t > 2 else 100), kpa=False) != []
    assert drive(6, pull(load=lambda t: 700 if t > 2 else 600), kpa=False) != []
    assert drive(6, pull(load=lambda t: 550 if t > 2 else 100), kpa=False) == []


def test_load_in_per_cent_beside_a_manifold_pressure():
    """A full manifold behind a half-open throttle is load, as it is in the report."""

    def warned(opening, pressure, throttle=0):
        watch = lean_watch.LeanWatch(1, 0.05, 0.3, False, (True,), True)
        on = False
        for n in range(60):
            on = watch.step(STEP_MS, 3000 + 10 * n, opening, 800, throttle, (LEAN,), (0,), pressure)
        return on

    assert warned(380, 970) and warned(620, 970) and warned(620, None) and warned(620, 700)
    assert not warned(380, 900) and not warned(380, None)
    assert not warned(50, 970, -1)  # closed


def test_steps_of_other_length_warn_alike():
    for step_ms in (20, 50, 125):
        on, off = drive(10, pull(lambda t: LEAN if 4 <= t < 5 else 810), step_ms=step_ms)
        assert 4.3 <= on <= 4.45 and 6.2 <= off <= 6.6


class Steps:
    """Steps of 100 ms at 3000 rpm under 170 kPa with 100 above target, each of which may be told otherwise."""

    def __init__(self, margin=0.05, after_s=0.3, kpa=True, warm=(True,)):
        self.watch = lean_watch.LeanWatch(len(warm), margin, after_s, kpa, warm)

    def go(self, count=1, ms=100, rpm=3000, load=1700, wanted=800, closed=False, value=900, rail=0):
        """The number of the step at which the warning changed, 0 for none of them."""
        was = self.watch.on
        for n in range(1, count + 1):
            if self.watch.step(ms, rpm, load, wanted, -1 if closed else 0, (value,), (rail,)) != was:
                return n
        return 0


def test_when_a_warning_comes_and_goes_to_the_step():
    """Settled after 600 ms, at the 6th step, in which it begins; on at the 9th, when it lasts more than 300 ms. Off at
    the 15th step without, after 1500 ms."""
    steps = Steps()
    assert steps.go(20) == 9
    assert steps.go(20, value=800) == 15
    steps = Steps()
    steps.go(20)
    assert (
        steps.go(1, ms=200, value=800) == 0
        and steps.go(1299, ms=1, value=800) == 0
        and steps.go(1, ms=1, value=800) == 1
    )
    assert Steps(after_s=0.5).go(20) == 11
    assert Steps().go(20, ms=50) == 18  # settled at the 12th, and 6 more
    assert Steps().go(20, ms=1000) == 5  # of a pause 200 ms are counted: settled at the 3rd, 1 + 200 + 200 at the 5th
    assert Steps().go(20, ms=200) == 5


def test_a_controller_without_a_state_for_it_warms_up_for_thirty_seconds_of_running():
    steps = Steps(warm=(False,))
    assert steps.go(400) == 303  # 300 steps of running, and it begins in the last of them
    assert steps.go(100, value=800) == 15
    assert steps.go(30, rpm=499) == 0  # it stands, and begins anew
    assert steps.go(400) == 303


def test_the_margin_and_half_of_it():
    assert Steps().go(50, value=850) == 0 and Steps().go(50, value=851) == 9
    assert Steps(margin=0.1).go(50, value=900) == 0 and Steps(margin=0.1).go(50, value=901) == 9
    for value, on in ((825, False), (826, True)):  # half the margin ends what has begun, a little more does not
        steps = Steps()
        steps.go(7)
        steps.go(1, value=value)
        assert (steps.go(2) > 0) == on, value
    assert Steps().go(50, wanted=None) == 0


def test_what_is_under_load():
    for kpa, load, on in ((True, 849, 0), (True, 850, 9), (False, 599, 0), (False, 600, 9)):
        assert Steps(kpa=kpa).go(50, load=load) == on, load
    assert Steps().go(50, rpm=499) == 0 and Steps().go(50, rpm=500) == 9
    assert Steps().go(50, closed=True) == 0 and Steps().go(50, load=None) == 0
    # 85 % of what the standing engine shows, between 60 and 85 kPa: of 800 are 680, of 705 are 599, of 1010 are 858
    for standing, least in ((800, 680), (705, 600), (1010, 850)):
        for load, on in ((least - 1, 0), (least, 9)):
            steps = Steps()
            steps.go(4, rpm=0, load=standing)
            steps.go(2, load=load)
            steps.go(1, closed=True)  # settles from here on
            assert steps.go(50, load=load) == on, (standing, load)
    steps = Steps(kpa=False)
    steps.go(5, rpm=0, load=100)  # per cent tell nothing of height
    assert steps.go(50, load=599) == 0


def test_what_unsettles():
    """From the next step on it takes 9 again, where nothing did 3."""

    def after(**one):
        steps = Steps()
        steps.go(6)
        steps.go(1, **one)
        return steps.go(30)

    assert after() == 2
    assert after(closed=True) == 9
    assert after(load=849) == 11  # the way back up is a tip-in of two steps more
    assert after(load=None) == 9
    assert after(value=None) == 9
    assert after(rpm=499) == 9
    assert after(rail=-1) == 4  # the rich end: what had begun is over

    def rise(first, second, step_3):
        steps = Steps()
        for load in (first, second):
            steps.go(6, load=load)
        steps.go(1, load=step_3)
        return steps.watch.steady_ms

    assert rise(1000, 1000, 1400) == 600 and rise(1000, 1000, 1401) == 0  # 40 kPa within two steps
    steps = Steps(kpa=False)  # of throttle 20 % are the most
    steps.go(6, load=700)
    steps.go(1, load=900)
    assert steps.watch.steady_ms == 600
    steps.go(1, load=901)
    assert steps.watch.steady_ms == 0
    steps = Steps()
    steps.go(6, load=1000)
    steps.go(1, load=1300)
    assert steps.watch.steady_ms == 600
    steps.go(1, load=1401)
    assert steps.watch.steady_ms == 0
    # 1500 rpm a second are 150 a step; two speeds must be low, a single one is a missing edge
    for second, steady in ((2850, 600), (2849, 0)):
        steps = Steps()
        steps.go(6)
        steps.go(1, rpm=2800)
        assert steps.watch.steady_ms == 600
        steps.go(1, rpm=second)
        assert steps.watch.steady_ms == steady, second


def test_the_lean_end_goes_on_with_what_began():
    steps = Steps()
    steps.go(7)
    assert steps.go(10, rail=1, value=1400) == 2
    steps = Steps()
    steps.go(7, value=800)
    assert steps.go(20, rail=1, value=1400) == 0
    steps = Steps()
    steps.go(7)
    assert steps.go(1, rail=-1, value=600) == 0 and steps.go(20) == 4  # begins anew, and 300 ms more
    steps = Steps()  # what stood at the end all along is not known
    assert steps.go(20, rail=1, value=1400) == 0 and steps.go(20) == 9


def test_sensors_and_entries():
    named = [
        {"name": name, "kind": "lambda"}
        for name in ("lambda_1", "lambda_commanded", "commanded_lambda", "lambda_target")
    ]
    assert lean_watch.sensors(named + [{"name": "map", "kind": "linear"}]) == named[:1]
    assert lean_watch.entries(None) == [] and lean_watch.entries({"a": 1}) == [{"a": 1}]
    assert lean_watch.entries([{"a": 1}]) == [{"a": 1}]


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
