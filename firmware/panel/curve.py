"""The last pull as lambda against engine speed: gathered while it is open, in a fixed buffer; drawn when it is over.

As the sensor shows it at the moment: gas and sensor are late, so everything stands some 100 rpm further right than it
was burnt. The PC takes that out.
"""

from array import array

from panel import digits

_BINS = 96
_LEFT = 34
_RIGHT = 127
_TOP = 12
_BOTTOM = 52
_LEAST_SPAN = 200  # thousandths of lambda over the height


class Curve:
    """Mean lambda and target in each of 96 steps of engine speed; 1.2 kB."""

    def __init__(self, most_rpm):
        self.step_rpm = max(10, -(-int(most_rpm) // (10 * _BINS)) * 10)
        self.sums = array("i", bytearray(4 * _BINS))
        self.wants = array("i", bytearray(4 * _BINS))
        self.counts = array("i", bytearray(4 * _BINS))
        self.number = 0  # of the pull that is held

    def clear(self, number):
        """A new pull."""
        self.number = number
        for at in range(_BINS):
            self.sums[at] = self.wants[at] = self.counts[at] = 0

    def add(self, rpm, milli, wanted):
        """One look: thousandths of lambda and of its target (None: no target)."""
        at = min(rpm // self.step_rpm, _BINS - 1)
        if self.counts[at] < 100000:
            self.sums[at] += milli
            self.wants[at] += wanted or 0
            self.counts[at] += 1

    def value(self, at):
        """Mean thousandths in step `at`."""
        return (self.sums[at] + (self.counts[at] >> 1)) // self.counts[at]

    def want(self, at):
        """Mean target in step `at`, 0 for none."""
        return (self.wants[at] + (self.counts[at] >> 1)) // self.counts[at]

    def leanest(self):
        """The step furthest above target (without target: the highest), or -1 for an empty curve."""
        best = -1
        most = 0
        for at in range(_BINS):
            if self.counts[at]:
                above = self.value(at) - self.want(at)
                if best < 0 or above > most:
                    best, most = at, above
        return best

    def middle_rpm(self, at):
        """Engine speed in the middle of a step."""
        return at * self.step_rpm + self.step_rpm // 2

    def draw(self, frame, spoiled):
        """The whole page. Once a pull, some ten milliseconds on a small board."""
        frame.fill(0)
        frame.text("#", 0, 1)
        digits.small(frame, self.number, 8 + 8 * (1 + (self.number > 9) + (self.number > 99)), 1)
        worst = self.leanest()
        if worst < 0:
            frame.text("nothing seen", 16, 24)
            frame.text("under load", 16, 36)
            return
        value, want = self.value(worst), self.want(worst)
        x = digits.small(frame, self.middle_rpm(worst) // 10 * 10, 128, 1)
        frame.text("at", x - 24, 1)
        x = digits.small(frame, (value - want + 5) // 10 if want else (value + 5) // 10, x - 28, 1, 2)
        if want and value - want >= 5:
            frame.text("+", x - 8, 1)
        self._plot(frame, worst)
        if spoiled:
            frame.fill_rect(49, 41, 64, 11, 1)
            frame.fill_rect(50, 42, 62, 9, 0)
            frame.text("SPOILED", 53, 43)

    def _plot(self, frame, worst):
        first, last, low, high = self._bounds()
        if high - low < _LEAST_SPAN:
            middle = (high + low) // 2
            low, high = middle - _LEAST_SPAN // 2, middle + _LEAST_SPAN // 2
        low = (low - 20) // 50 * 50  # off the axis
        high = -(-high // 50) * 50
        frame.vline(_LEFT - 1, _TOP, _BOTTOM - _TOP + 1, 1)
        frame.hline(_LEFT - 1, _BOTTOM + 1, _RIGHT - _LEFT + 2, 1)
        digits.small(frame, high // 10, _LEFT - 2, _TOP, 2)
        digits.small(frame, low // 10, _LEFT - 2, _BOTTOM - 7, 2)
        digits.small(frame, first * self.step_rpm, _LEFT + 32, 56)
        digits.small(frame, (last + 1) * self.step_rpm, 128, 56)
        frame.text("rpm", 69, 56)
        span = max(1, last - first)
        scale = high - low
        height = _BOTTOM - _TOP
        before = -1
        x0 = y0 = 0
        for at in range(first, last + 1):
            if not self.counts[at]:
                continue
            x = _LEFT + 1 + (at - first) * (_RIGHT - _LEFT - 2) // span
            y = _BOTTOM - (self.value(at) - low) * height // scale
            if before >= 0:
                frame.line(x0, y0, x, y, 1)
                self._dots(frame, x0, x, before, at, low, scale)
            else:
                frame.pixel(x, y, 1)
            if at == worst:
                frame.rect(x - 2, y - 2, 5, 5, 1)
                for dot in range(y + 4, _BOTTOM, 3):
                    frame.pixel(x, dot, 1)
            before, x0, y0 = at, x, y

    def _dots(self, frame, x0, x1, at0, at1, low, scale):
        """The target between two steps, as dots at every third column."""
        want0, want1 = self.want(at0), self.want(at1)
        if not want0 or not want1:
            return
        for x in range(x0 + (3 - x0 % 3) % 3, x1, 3):
            want = want0 + (want1 - want0) * (x - x0) // max(1, x1 - x0)
            frame.pixel(x, _BOTTOM - (want - low) * (_BOTTOM - _TOP) // scale, 1)

    def _bounds(self):
        """(first step, last step, least, most thousandths shown)."""
        first = last = -1
        low, high = 10000, 0
        for at in range(_BINS):
            if self.counts[at]:
                if first < 0:
                    first = at
                last = at
                value, want = self.value(at), self.want(at)
                low, high = min(low, value), max(high, value)
                if want:
                    low, high = min(low, want), max(high, want)
        return first, last, low, high
