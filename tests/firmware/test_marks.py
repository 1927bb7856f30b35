"""Button and marks: short, double and long presses, bounces, pulls that end by themselves. Runs under MicroPython."""

import micropython

from acquire import button, health, marks, rows
from panel import lamp
from shared_math import layout, ticks

RATE = 100
PERIOD = 10000


class Run:
    """Rows at 100 Hz; `at` maps seconds to True (pressed) or False."""

    def __init__(self, presses, seconds, throttle=None, edges=None):
        self.button = button.Button()
        self.marks = marks.Marks(self.button, RATE, (1, 0, 499) if throttle else None, 2 if edges else 0)
        self.seen = []
        last = (0, 0)
        cells = [0, 0, 0]
        presses = sorted(presses)
        for row in range(int(seconds * RATE)):
            cells[0] = row
            grid = row * PERIOD
            while presses and presses[0][0] * 1000000 <= grid:
                when, pressed = presses.pop(0)
                self.button.change(pressed, int(when * 1000000))
            self.marks.step(row, grid)
            state = (self.marks.mark, self.marks.flag)
            if state != last:
                self.seen.append((row / RATE,) + state)
                last = state
            cells[1] = throttle(row / RATE) if throttle else 0
            cells[2] = int(edges(row / RATE)) if edges else 0
            self.marks.watch(cells, 0)

    def changes(self):
        return self.seen


def press(at, length=0.1):
    return [(at, True), (at + length, False)]


def test_two_presses_are_one_pull():
    run = Run(press(1.0) + press(4.0), 6)
    assert run.changes() == [(1.02, 1, 0), (4.02, 2, 0)]


def test_press_between_rows_marks_the_next_row():
    run = Run(press(1.004) + press(4.0), 6)
    assert run.changes()[0] == (1.03, 1, 0)


def test_double_press_spoils_the_last_pull_and_begins_none():
    run = Run(press(1.0) + press(3.0) + press(6.0) + press(6.3), 8)
    spoiled = (1 << 1) | layout.FLAG_SPOILED
    void = (2 << 1) | layout.FLAG_VOID
    assert run.changes() == [(1.02, 1, 0), (3.02, 2, 0), (6.02, 3, 0), (6.32, 4, void), (6.33, 4, spoiled)]


def test_double_press_in_a_pull_ends_and_spoils_it():
    run = Run(press(1.0) + press(3.0) + press(3.3), 8)
    assert run.changes() == [(1.02, 1, 0), (3.02, 2, 0), (3.33, 2, (1 << 1) | layout.FLAG_SPOILED)]


def test_long_press_voids_what_it_began_and_asks_to_stop():
    run = Run(press(1.0, 2.0), 4)
    assert run.changes() == [(1.02, 1, 0), (2.5, 2, (1 << 1) | layout.FLAG_VOID)]
    assert run.marks.stop_wanted


def test_bounces_are_one_press():
    bounce = [(1.0 + 0.002 * n, n % 2 == 0) for n in range(9)] + [(1.1, False), (1.104, True), (1.106, False)]
    run = Run(bounce + press(3.0), 5)
    assert run.changes() == [(1.02, 1, 0), (3.02, 2, 0)]


class Contact:
    """A contact whose edges reach the button unless `deaf`; the button may ask its level."""

    def __init__(self):
        self.button = button.Button()
        self.button.level = lambda: self.down
        self.marks = marks.Marks(self.button, RATE)
        self.down = False
        self.deaf = False

    def at(self, tick, down):
        self.down = down
        if not self.deaf:
            self.button.change(down, tick & ticks.MASK)

    def rows(self, first, last):
        for row in range(first, last):
            self.button.look()
            self.marks.step(row, row * PERIOD & ticks.MASK)


def test_a_contact_of_less_than_20_ms_is_no_press():
    for us in (40, 500, 19000):
        one = Contact()
        one.at(1000000, True)
        one.at(1000000 + us, False)  # within the bounce time, and no edge follows
        one.rows(0, 500)
        assert not one.button.pressed and not one.marks.stop_wanted
        assert one.marks.id == 0, us
        one.at(6000000, True)
        one.rows(500, 620)
        assert one.marks.mark == 1  # and the next press is one


def test_one_of_more_is_a_press_however_it_bounces():
    for last_us in (21000, 24000, 26000, 30000):
        one = Contact()
        for us, down in ((0, True), (500, False), (900, True), (3000, False), (3100, True), (last_us, False)):
            one.at(1000000 + us, down)
        one.rows(0, 500)
        assert one.marks.mark == 1 and not one.button.pressed, last_us


def test_the_press_after_a_pull_that_ended_by_itself_ends_nothing_and_begins_nothing():
    run = Run(press(1.0) + press(12.0) + press(20.0), 22, throttle=lambda t: 900 if t < 6 else 100)
    assert [change[1:] for change in run.changes()] == [(1, 0), (2, 0), (3, 0)]
    assert run.changes()[2][0] == 20.02


def test_so_does_the_lamp_tell_for_five_seconds():
    run = Run(press(1.0), 8, throttle=lambda t: 900 if t < 4 else 100)
    row = run.marks.told_row
    assert run.marks.tells_end(row - 1) and not run.marks.tells_end(row) and 11.9 < row / RATE < 12.1


def test_a_second_press_soon_after_it_begins_a_pull():
    run = Run(press(1.0) + press(10.0) + press(11.0), 12, throttle=lambda t: 900 if t < 6 else 100)
    assert [change[1:] for change in run.changes()] == [(1, 0), (2, 0), (3, 0)]


def test_a_double_press_spoils_a_pull_that_ended_by_itself():
    run = Run(press(1.0) + press(10.0) + press(10.3), 12, throttle=lambda t: 900 if t < 6 else 100)
    assert [change[1:] for change in run.changes()] == [(1, 0), (2, 0), (2, (1 << 1) | layout.FLAG_SPOILED)]


def test_a_lost_release_is_no_long_press():
    one = Contact()
    one.at(1000000, True)
    one.rows(0, 110)
    one.deaf = True
    one.at(1200000, False)
    one.rows(110, 500)
    assert not one.button.pressed and not one.marks.stop_wanted and one.marks.mark == 1


def test_a_lost_press_counts_from_the_row_that_notices_it():
    one = Contact()
    one.deaf = True
    one.at(1000000, True)
    one.rows(0, 150)
    assert one.marks.mark == 1 and one.marks.began_row == 2


def test_presses_far_apart_are_no_double_press_when_the_ticks_come_round():
    one = Contact()
    one.at(1000000, True)
    one.at(1100000, False)
    one.rows(0, 2000)
    assert one.marks.mark == 1 and not one.marks.pressed_before
    round_again = (ticks.MASK + 1) // PERIOD + 120  # 0.2 s later on the circle of ticks
    one.at(round_again * PERIOD, True)
    one.rows(round_again, round_again + 5)
    assert (one.marks.mark, one.marks.next_flag, one.marks.flag) == (2, 0, 0)


def test_a_press_is_believed_however_the_ticks_stand_to_the_last():
    one = Contact()
    one.at(1000000, True)
    one.at(1100000, False)
    one.rows(0, 200)
    one.at(ticks.MASK + 1 + 1100000 + 3000, True)  # looks like 3 ms after the release
    assert not one.button.pressed
    one.rows((ticks.MASK + 1) // PERIOD + 110, (ticks.MASK + 1) // PERIOD + 115)
    assert one.button.pressed and one.marks.mark == 2


def test_more_changes_than_are_kept_end_with_the_true_level():
    one = Contact()
    for n in range(13):
        one.at(1000000 + n * 30000, n % 2 == 0)
    assert one.button.head == 8
    one.rows(0, 300)
    assert one.button.pressed and one.button.head == 9


def test_presses_in_a_stall_belong_to_the_rows_of_their_time():
    """No row is taken for 0.5 s; the handler of the pin runs on. Nothing a hand does in that time is lost."""
    knob = button.Button()
    state = marks.Marks(knob, RATE)
    now = [0]
    queue = rows.RowQueue(4 + health.Health().columns, 128)
    sampler = rows.Sampler(queue, PERIOD, [], state, lamp.Lamp(None), lambda: now[0], health.Health())
    sampler.start(0)
    for row in range(100):
        now[0] = row * PERIOD
        sampler.take()
    for ms, pressed in ((1052, True), (1130, False), (1300, True), (1380, False), (1460, True), (1490, False)):
        knob.change(pressed, ms * 1000)
    now[0] = 1500000
    sampler.take()
    assert sampler.lost == 50
    # First press: pull 1; second within 0.4 s: nothing was meant but its flag; third: pull 2 from 1.46 s on
    assert (state.mark, state.began_row) == (3, 146)
    assert state.flag == (1 << 1) | layout.FLAG_VOID


def test_sixty_seconds_end_a_pull():
    run = Run(press(1.0), 65)
    assert run.changes() == [(1.02, 1, 0), (61.02, 2, 0)]


def test_closed_throttle_ends_a_pull_after_three_seconds():
    run = Run(press(1.0), 15, throttle=lambda t: 900 if t < 6 else 100)
    (_, begun, _), (ended_at, ended, _) = run.changes()
    assert (begun, ended) == (1, 2) and 8.9 <= ended_at <= 9.1


def test_a_throttle_that_reads_closed_while_the_engine_climbs_does_not_end_a_pull():
    """Its wire is off: the pull ends by the falling speed, as without a throttle."""
    edges = _count([(0, 60), (8, 240), (12, 100)])
    run = Run(press(1.0), 14, throttle=lambda t: 100, edges=edges)
    (_, begun, _), (ended_at, ended, _) = run.changes()
    assert (begun, ended) == (1, 2) and 10.6 <= ended_at <= 11.3


def test_falling_engine_ends_a_pull_after_three_seconds():
    def edges(t):
        return 100 * t + 5 * t * t if t < 6 else 100 * 6 + 180 + 160 * (t - 6) - 8 * (t - 6) * (t - 6)

    run = Run(press(1.0), 15, edges=edges)
    changes = run.changes()
    assert len(changes) == 2 and 8.5 <= changes[1][0] <= 10.5


def test_steady_engine_does_not_end_a_pull():
    run = Run(press(1.0), 20, edges=lambda t: 133.4 * t)
    assert run.changes() == [(1.02, 1, 0)]


def _climbs(rate, per_s):
    """Edges of an engine that climbs in first gear for 2 s, changes up, and climbs on from two thirds by `per_s`."""

    def edges(t):
        first = min(t, 3)
        count = rate * (first / 2 + first * first / 12)
        if t > 3:
            count += rate * (t - 3) * 2 / 3 + per_s * (t - 3) * (t - 3) / 2
        return int(count + 0xFFFF00) & 0xFFFFFF  # the counter wraps on the way

    return edges


def test_a_gear_change_does_not_end_a_pull():
    """It pulls on from a lower speed and takes longer than 3 s to come back to the highest there was."""
    for rate, per_s in ((233, 14), (233, 4), (58, 3), (7000, 200)):  # half a pulse a turn to sixty
        run = Run(press(1.0), 12, edges=_climbs(rate, per_s))
        assert run.changes() == [(1.02, 1, 0)], (rate, per_s, run.changes())


def _count(knots):
    """Edges up to a time: straight lines of the rate between `knots`, (seconds, edges a second)."""

    def edges(t):
        count = 0.0
        for (t0, rate0), (t1, rate1) in zip(knots, knots[1:]):
            if t <= t0:
                break
            end = min(t, t1)
            rate = rate0 + (rate1 - rate0) * (end - t0) / (t1 - t0)
            count += (rate0 + rate) / 2 * (end - t0)
        return count

    return edges


def test_a_pull_that_rises_slowly_after_a_gear_change_stays_open():
    """A window of 26 rows holds 36 edges before the change, 24 after it, 30 after 2 s of pulling, 31 seven seconds
    later: from then on the highest since the change counts, which the engine holds, and not the 36 of the lower
    gear."""
    run = Run(press(1.0), 12, edges=_count([(0, 80), (3, 140), (3.01, 93), (5, 117), (12, 120.5)]))
    assert run.changes() == [(1.02, 1, 0)]


def test_speed_that_falls_again_after_a_gear_change_ends_the_pull():
    """As above, but the throttle is closed 2 s after the change: 3 s of falling speed later the pull is over."""
    run = Run(press(1.0), 12, edges=_count([(0, 80), (3, 140), (3.01, 93), (5, 117), (12, 60)]))
    (_, begun, _), (ended_at, ended, _) = run.changes()
    assert (begun, ended) == (1, 2) and 8.0 <= ended_at <= 9.1  # a fall of 2 edges, then 3 s, in whole windows


def test_handlers_allocate_nothing():
    knob = button.Button()
    state = marks.Marks(knob, RATE, (1, 0, 499), 2)
    cells = [0, 900, 0]
    micropython.heap_lock()
    try:
        for row in range(500):
            if row % 50 == 0:
                knob.change(row % 100 == 0, row * PERIOD)
            state.step(row, row * PERIOD)
            cells[2] = row
            state.watch(cells, 0)
    finally:
        micropython.heap_unlock()
    assert state.id > 0
