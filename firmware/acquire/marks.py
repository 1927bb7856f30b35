"""Marked pulls from the button: the open pull, spoiled pulls, and pulls that end by themselves.

A short press begins a pull, the next one ends it. Two presses within 0.4 s flag the last pull as spoiled. A press held
for 1.5 s means that the card is to be taken out. A pull counts once its press has lasted 20 ms, and becomes void if the
press turns out to be part of a double or long press. A press within 5 s after a pull ended by itself was meant to end
it, and has no effect.
"""

from shared_math import layout, ticks
from shared_math.compat import const

_DOUBLE_US = const(400000)
_LONG_US = const(1500000)
_FORGOTTEN_US = const(10000000)  # presses during a stall are read later than they were made
_CLOSED_S = const(3)
_ENDED_S = const(5)  # a press within this time after a pull ended by itself was meant to end it
_LONGEST_S = const(60)
_RISE_EDGES = const(2)  # edges more in a quarter second, or a sixteenth more: more than chance
_ID_MASK = const(0x7FFF)
_COUNT_MASK = (1 << layout.COUNT_BITS) - 1


class Marks:
    """rate_hz: rows a second. throttle: (column + 1, first, last counts of the closed one) or None. tach: (column + 1)
    of the crank or 0."""

    def __init__(self, button, rate_hz, throttle=None, tach=0):
        self.button = button
        self.id = 0
        self.open = False
        self.mark = 0
        self.flag = 0
        self.next_flag = 0  # a second flag of the same press, written one row later so that both can be read
        self.stop_wanted = False  # long press: the main loop finishes the card
        self.stop_row = 0
        self.ended_row = -1  # row at which the last pull ended by itself, until a press
        self.ended_rows = _ENDED_S * rate_hz
        self.told_row = 0  # until this row the lamp shows that
        self.began_row = 0
        self.last_press = 0
        self.pressed_before = False
        self.began_by_press = False  # the press in progress began a pull, rather than ended one
        self.held = False
        self.real = 0  # id of the last pull that is not void
        self.longest_rows = _LONGEST_S * rate_hz
        self.closed_rows = _CLOSED_S * rate_hz
        self.window_rows = rate_hz // 4 if rate_hz >= 8 else 2
        self.throttle_column = throttle[0] if throttle else 0
        self.closed_first = throttle[1] if throttle else 0
        self.closed_last = throttle[2] if throttle else 0
        self.tach_column = tach
        self.closed_for = 0
        self.window_for = 0
        self.falling_for = 0
        self.window_count = 0
        self.best_count = 0
        self.least_count = 0

    def step(self, row, grid):
        """Process the button's changes up to tick `grid`, the instant of row `row`. Not needed while button.news[0] is
        0."""
        button = self.button
        button.news[0] = 0  # before looking, so that a change meanwhile sets it again
        self._step(row, grid)
        if (
            self.open
            or self.held
            or self.pressed_before
            or self.next_flag
            or button.unsure
            or button.head != button.tail
        ):
            button.news[0] = 1

    def _step(self, row, grid):
        if self.next_flag:
            self.flag = self.next_flag
            self.next_flag = 0
        button = self.button
        if button.unsure:
            button.settle(grid)
        if self.pressed_before and ((grid - self.last_press) & ticks.MASK) >= _FORGOTTEN_US:
            self.pressed_before = False  # before ticks wrap, which would turn two distant presses into a double press
        while True:
            kind = button.next(grid)
            if kind == 0:
                break
            if kind == 1:
                self._press(row, button.tick)
            else:
                self.held = False
        if self.held and ((grid - self.last_press) & ticks.MASK) >= _LONG_US:
            self.held = False
            self._undo()
            self.stop_wanted = True
            self.stop_row = row
        if self.open and row - self.began_row >= self.longest_rows:
            self._end_by_itself(row)

    def _press(self, row, tick):
        double = self.pressed_before and ((tick - self.last_press) & ticks.MASK) < _DOUBLE_US
        self.last_press = tick
        self.pressed_before = not double
        self.held = True
        if double:
            self._undo()
            if self.real:
                self.next_flag = layout.flag_of(self.real, layout.FLAG_SPOILED)
            return
        if self.open:
            self._end()
            self.began_by_press = False
        elif self.just_ended(row):
            self.ended_row = -1
            self.began_by_press = False
        else:
            self.told_row = 0
            self.id = (self.id + 1) & _ID_MASK
            self.open = True
            self.began_by_press = True
            self.began_row = row
            self.mark = layout.open_mark(self.id)
            self.closed_for = self.window_for = self.falling_for = self.best_count = self.least_count = 0

    def _end(self):
        self.open = False
        self.mark = layout.ended_mark(self.id)
        self.real = self.id

    def _end_by_itself(self, row):
        self._end()
        self.ended_row = row
        self.told_row = row + self.ended_rows

    def just_ended(self, row):
        """Whether a pull ended by itself a moment ago without a press since, so that the next press has no effect."""
        return self.ended_row >= 0 and row - self.ended_row < self.ended_rows

    def tells_end(self, row):
        """Whether the lamp is to show that a pull ended by itself, which a press meanwhile does not cut short."""
        return row < self.told_row and not self.open

    def _undo(self):
        """Make the pull void that the press began by mistake."""
        if self.open and self.began_by_press:
            self.open = False
            self.mark = layout.ended_mark(self.id)
            self.flag = layout.flag_of(self.id, layout.FLAG_VOID)

    def watch(self, cells, at):
        """End an open pull whose throttle stayed closed, or whose engine speed fell and did not rise again, for 3 s.

        A throttle that reads closed while engine speed rises is not believed.
        """
        if not self.open:
            return
        if self.throttle_column:
            if self.closed_first <= cells[at + self.throttle_column] <= self.closed_last:
                self.closed_for += 1
                if self.closed_for >= self.closed_rows:
                    self._end_by_itself(cells[at])
                    return
            else:
                self.closed_for = 0
        if self.tach_column:
            self.window_for += 1
            if self.window_for == 1:
                self.window_count = cells[at + self.tach_column]
            elif self.window_for > self.window_rows:
                edges = (cells[at + self.tach_column] - self.window_count) & _COUNT_MASK
                self.window_for = 0
                # one edge fewer may be chance; two mean falling engine speed, until it pulls again after a gear change
                rise = self.least_count >> 4
                rises = edges >= self.least_count + (rise if rise > _RISE_EDGES else _RISE_EDGES)
                if edges > 0 and (edges >= self.best_count - 1 or rises):
                    self.falling_for = 0
                    if edges > self.best_count or rises:
                        self.best_count = edges
                        if self.closed_for > self.window_rows:  # not closed in this window alone
                            self.closed_for = self.window_rows
                    self.least_count = edges
                else:
                    if edges < self.least_count:
                        self.least_count = edges
                    self.falling_for += self.window_rows + 1
                    if self.falling_for >= self.closed_rows:
                        self._end_by_itself(cells[at])
