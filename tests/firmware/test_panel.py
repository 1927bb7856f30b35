"""The panel on a car: lean warning by lamp and buzzer, from rows as the firmware takes them. Runs under MicroPython."""

import json

import car
import micropython

from shared_math import layout

SECOND = dict(car.CONFIG["channels"][0], name="lambda_2", input="a2", bank=2)
THROTTLE = {"name": "throttle", "input": "a3", "kind": "linear", "unit": "%", "volts": [0.5, 4.5], "values": [0, 100]}


def with_channels(*more):
    return {"channels": car.CONFIG["channels"] + list(more)}


def always(counts):
    return lambda: counts


def lean_times(one, hole=0.15):
    """A cruise, a pull from 5 s on whose hole is from 7.75 to 9 s, and a cruise."""
    one.drive(5, car.cruise)
    one.drive(5.5, car.pull(hole))
    one.drive(4, car.cruise)
    return one.lean_times()


def test_a_hole_lights_the_lamp_in_the_row_and_sounds_the_buzzer():
    one = car.Car(glass=False)
    ((on, off),) = lean_times(one)
    assert 8.1 <= on <= 8.7 and 9.8 <= off <= 11
    assert one.board.sounds == [(on, True), (off, False)]


def test_the_lamp_column_holds_it():
    one = car.Car(glass=False)
    seen = bytearray()
    lamp_at = one.sampler.queue.stride - 1
    turn = one.turn

    def look():
        queue = one.sampler.queue
        seen.append(queue.cells[((queue.head - 1) & queue.mask) * queue.stride + lamp_at])
        turn()

    one.turn = look
    ((on, off),) = lean_times(one)
    rows = [n for n in range(len(seen)) if seen[n] == layout.LAMP_LEAN]
    assert rows == list(range(rows[0], rows[-1] + 1))
    assert abs(rows[0] / 200 - on) <= 0.01 and abs(rows[-1] / 200 - off) <= 0.01


def test_where_the_loop_turns_seldom_lambda_is_looked_at_in_every_turn():
    one = car.Car({"rate_hz": 1000}, glass=False)
    looks = []
    look = one.panel._look

    def counted():
        looks.append(one.row)
        look()

    def turn():
        queue = one.sampler.queue
        queue.tail = queue.head
        if one.row % 40 == 39:  # pace.SLOW_TURNS_HZ
            one.panel.turn()

    one.panel._look, one.turn = counted, turn
    one.drive(0.6, car.cruise)
    assert looks == list(range(39, 600, 40))


def test_a_good_pull_lights_nothing():
    one = car.Car(glass=False)
    assert lean_times(one, hole=0) == [] and one.board.sounds == []


def test_no_buzzer_unless_configured():
    one = car.Car({"lean_warning": {}}, glass=False)
    assert len(lean_times(one)) == 1 and one.board.sounds == []


def test_margin_and_delay_are_the_configured_ones():
    assert lean_times(car.Car({"lean_warning": {"margin": 0.2}}, glass=False)) == []
    assert lean_times(car.Car({"lean_warning": {"after_s": 2}}, glass=False)) == []


def test_the_warning_can_be_turned_off():
    one = car.Car({"lean_warning": False}, glass=False)
    assert one.panel.live is None  # and costs no memory
    assert lean_times(one) == []


def test_without_a_target_by_load_there_is_none():
    _told_nothing({"target": {"lambda": 0.8}})


def test_without_a_target_there_is_none():
    _told_nothing({})


def _told_nothing(target):
    settings = dict(car.CONFIG)
    del settings["lean_warning"], settings["target"]
    settings.update(target)
    one = car.Car(text=json.dumps(settings).encode(), glass=False)
    assert one.plan.faults == [] and not one.panel.warns
    assert lean_times(one) == []


def test_the_leaner_bank_warns():
    def story(t):
        out = car.pull(0.15)(t)
        out["lambda_1"], out["lambda_2"] = 0.80, out["lambda_1"]
        return out

    one = car.Car(with_channels(SECOND), glass=False)
    one.drive(5, lambda t: dict(car.cruise(t), lambda_2=0.99))
    one.drive(5.5, story)
    ((on, _),) = one.lean_times()
    assert 8.1 <= on <= 8.7


def lean_under_pressure(throttle):
    return lambda t: {"rpm": 5500 - 300 * t, "map": 120.0, "lambda_1": 1.3, "throttle": throttle}


def test_a_closed_throttle_warns_of_nothing():
    one = car.Car(with_channels(THROTTLE), glass=False)
    one.drive(4, lambda t: dict(car.pull()(t), throttle=99.0))
    one.drive(4, lean_under_pressure(2.0))
    assert one.lean_times() == []


def test_the_same_with_an_open_throttle_warns():
    one = car.Car(with_channels(THROTTLE), glass=False)
    one.drive(4, lean_under_pressure(99.0))
    assert len(one.lean_times()) == 1


def test_a_target_by_throttle_counts_a_full_manifold_as_load_too():
    by_throttle = {"load": "throttle", "load_pct": [20, 60, 100], "lambda": [1.0, 0.88, 0.82]}

    def after(kpa):
        one = car.Car(dict(with_channels(THROTTLE), target=by_throttle), glass=False)
        one.drive(4, lambda t: {"rpm": 3000 + 300 * t, "map": kpa, "lambda_1": 1.1, "throttle": 38.0})
        return len(one.lean_times())

    assert after(97.0) == 1 and after(70.0) == 0


def test_values_are_true():
    one = car.Car(glass=False)
    one.drive(3, lambda t: {"rpm": 4321.0, "map": 133.0, "lambda_1": 0.873})
    live = one.panel.live
    assert abs(live.rpm - 4321) <= 4 and abs(live.load - 1330) <= 2 and abs(live.leaner() - 873) <= 1
    assert live.states == [None] and live.rails == [0]
    one.drive(1, lambda t: {"lambda_1": 1.4})
    assert live.at_end() == 1
    one.drive(1, lambda t: {"lambda_1": "warm-up"})
    assert live.leaner() is None and live.state() == "warm-up" and live.at_end() == 0
    one.drive(2, lambda t: {"rpm": 0.0})
    assert live.rpm == 0


def test_rows_lost_in_between_change_no_speed():
    one = car.Car(glass=False)
    for _ in range(20):
        one.drive(0.3, lambda t: {"rpm": 3000.0, "map": 100.0, "lambda_1": 0.9})
        assert one.row < 100 or abs(one.panel.live.rpm - 3000) <= 8, one.panel.live.rpm
        for _ in range(23):  # a stall: edges go on, no row is taken
            one.edges += 0.5
            one.row += 1
            if int(one.edges) > int(one.edges - 0.5):
                one.tach.edge(int(one.row * 5000 - (one.edges % 1) * 10000))
        one.board.now = one.row * 5000


def test_a_turn_allocates_nothing():
    one = car.Car(glass=False)
    one.drive(5, car.cruise)
    one.drive(3.3, car.pull(0.15))
    board = one.board
    board.buzzer = lambda _on: None
    panel = one.panel
    sampler = one.sampler
    sampler.reads = tuple([(column, always(read())) for column, read in sampler.reads])  # the car's own make floats
    first = sampler.row
    micropython.heap_lock()
    try:
        for _ in range(400):
            board.now += 5000
            one.tach.edge(board.now - 700)
            sampler.take()
            sampler.queue.tail = sampler.queue.head
            panel.turn()
    finally:
        micropython.heap_unlock()
    assert sampler.row == first + 400 and panel.number > first + 380


def test_nothing_stays_on_when_recording_ends():
    one = car.Car(glass=False)
    one.drive(5, car.cruise)
    one.drive(4, car.pull(0.15))
    assert one.lamp.state == layout.LAMP_LEAN and one.board.sounds[-1][1]
    one.panel.stop(True)
    assert one.lamp.state == layout.LAMP_CARD_OUT and not one.board.sounds[-1][1]


def test_what_is_not_configured_is_not_in_memory():
    """The screen's modules, and what only the start needs."""
    import sys

    one = car.Car(glass=False)
    for name in ("panel.screen", "panel.curve", "panel.digits", "panel.conditions", "drivers.oled"):
        assert name not in sys.modules, name
    for name in ("panel.live_build", "shared_math.transfer", "shared_math.target", "shared_math.config", "settings"):
        assert name not in sys.modules, name
    assert one.panel.screen is None and "panel.live" in sys.modules
