"""The 128 x 64 screen: which page is shown when, drawn whole and sent in pieces, one at each turn of the main loop.

While driving: lambda. After a pull: its curve for 20 s, or until the next press. With the engine standing: lambda, last
curve and health by turns. With a fault and no pull open: the fault in words by turns with the rest. No button beyond
the logger's own.
"""

from panel import curve, digits
from shared_math import layout, ticks
from shared_math.compat import const

_DRAW_US = const(200000)
_CURVE_S = const(20)
_TURN_S = const(6)
_LINE = const(16)  # letters
_LINES = const(6)
WAIT = const(0)
LIVE = const(1)
CURVE = const(2)
HEALTH = const(3)
FAULT = const(4)
OUT = const(5)


class Screen:
    """frame: what the board gave, a frame buffer with `send`. words: fault number -> sentence. panel: what is shown."""

    def __init__(self, frame, words, panel):
        self.frame = frame
        self.words = words
        self.panel = panel
        self.logger = self.curve = None
        self.page = WAIT
        self.sending = False
        self.drawn = -1  # tick of the last drawing
        self.now_s = 0
        self.curve_until_s = 0
        self.was_open = False
        self.flag = 0
        self.spoiled = 0  # number of the pull flagged last
        self.curve_drawn = -1  # which curve stands on the glass, twice its number and 1 if it is spoiled
        self.waiting_curve = False  # a pull is open and nothing of it is in the curve yet
        self.lines = ()
        self.lines_of = -1

    def begin(self, logger):
        """Recording begins."""
        self.logger = logger
        live = self.panel.live
        most_rpm = live.speeds[0][2]["max_rpm"] if live.has_engine else 0
        if self.curve is None:
            self.curve = curve.Curve(most_rpm)
        self.curve.clear(0)
        self.now_s = self.curve_until_s = self.flag = self.spoiled = 0
        self.was_open = self.waiting_curve = False
        self.page = LIVE

    def stopped(self, card_out):
        """Recording is over, or can't begin."""
        self.page = OUT if card_out else FAULT
        self.sending = False
        self.drawn = -1

    def look(self):
        """After each look at a row: what the pull's curve needs. Nothing is allocated."""
        panel = self.panel
        marks = panel.marks
        self.now_s = panel.number // panel.rate_hz
        if marks.flag != self.flag:
            self.flag = marks.flag
            if layout.flag_kind(marks.flag) == layout.FLAG_SPOILED:
                self.spoiled = layout.flag_pull(marks.flag)
                self.curve_until_s = self.now_s + _CURVE_S
        if marks.open:
            if not self.was_open:
                self.waiting_curve = True
            self._gather(panel)
        elif self.was_open:
            self.curve_until_s = self.now_s + _CURVE_S
            if self.waiting_curve and marks.real == marks.id:
                self.curve.clear(marks.id)  # no void one, and without load: said, not the last curve shown
        self.was_open = marks.open

    def _gather(self, panel):
        live = panel.live
        watch = panel.watch
        value = live.leaner()
        # What a double or long press makes void has no load in it: the last pull's curve stays
        if value is None or live.at_end() or live.rpm <= 0 or (watch and not watch.under_load):
            return
        if self.waiting_curve:
            self.waiting_curve = False
            self.curve.clear(panel.marks.id)
        self.curve.add(live.rpm, value, live.wanted)

    def turn(self):
        """One piece of the picture, or a new picture. Text that changes in length is drawn digit by digit."""
        if self.sending:
            self.sending = not self.frame.send()
            return
        tick = self.panel.board.ticks_us()
        if self.drawn >= 0 and ((tick - self.drawn) & ticks.MASK) < _DRAW_US:
            return
        self.drawn = tick
        page = self._choose()
        curve_drawn = self.curve_drawn
        self.curve_drawn = -1
        if page == CURVE:
            self.curve_drawn = self.curve.number << 1 | (self.spoiled == self.curve.number)
            if self.curve_drawn == curve_drawn:
                return  # it is there already
        self.page = page
        self._draw(page)
        self.sending = True

    def _choose(self):
        page = self.page
        panel = self.panel
        if page == OUT or self.logger is None or not panel.sampler.on:
            return page
        if panel.marks.open or panel.lean:
            if panel.lamp.reading and not panel.lean and self.now_s >> 1 & 1:
                return FAULT  # by turns: what is shown of lambda is not true
            return LIVE
        if self.now_s < self.curve_until_s:
            return CURVE
        part = self.now_s // _TURN_S % 3
        if panel.lamp.number():
            return (LIVE, FAULT, HEALTH)[part]
        if panel.live.rpm == 0:
            if part == 1 and not self.curve.number:
                return LIVE
            return (LIVE, CURVE, HEALTH)[part]
        return LIVE

    def _draw(self, page):
        frame = self.frame
        if page == CURVE:
            self.curve.draw(frame, self.spoiled == self.curve.number)
            return
        frame.fill(0)
        if page == LIVE:
            self._live(frame)
        elif page == HEALTH:
            self._health(frame)
        elif page == FAULT:
            self._fault(frame)
        elif page == OUT:
            _title(frame, "NOT RECORDING")
            frame.text("The card may be", 0, 16)
            frame.text("taken out.", 0, 26)
            frame.text("Press the button", 0, 42)
            frame.text("to go on.", 0, 52)
        else:
            _title(frame, "RINGPULL")
            frame.text("starting", 0, 24)

    def _live(self, frame):
        panel = self.panel
        live = panel.live
        marks = panel.marks
        seconds = panel.sampler.row // panel.rate_hz
        if marks.open:
            # Bars above and below: the picture itself is reversed for lean alone
            frame.fill_rect(0, 0, 128, 1, 1)
            frame.fill_rect(0, 9, 128, 2, 1)
            frame.text("PULL", 1, 1)
            digits.small(frame, marks.id, 40 + 8 * (1 + (marks.id > 9) + (marks.id > 99)), 1)
            digits.small(frame, (panel.sampler.row - marks.began_row) // panel.rate_hz, 120, 1)
            frame.text("s", 120, 1)
        else:
            frame.text("REC", 0, 1)
            x = digits.small(frame, seconds % 60, 128, 1)
            if seconds % 60 < 10:
                x -= 8
                frame.text("0", x, 1)
            frame.text(":", x - 8, 1)
            digits.small(frame, seconds // 60, x - 8, 1)
        value = live.leaner()
        colour = 1
        if panel.lean:
            frame.fill_rect(0, 10, 128, 44, 1)
            colour = 0
        digits.large(frame, value, 0, 12, colour)
        self._beside(frame, live, value, colour)
        x = digits.small(frame, live.rpm // 10 * 10, 40, 56)
        frame.text("rpm", 40, 56)
        if live.load is not None:
            right = 128 - 8 * len(live.unit)
            frame.text(live.unit, right, 56)
            digits.small(frame, (live.load + 5) // 10, right, 56)

    def _beside(self, frame, live, value, colour):
        """Right of lambda: the target and how far above it, or why there is no number."""
        if value is None:
            frame.text(live.state() or "no lambda", 0, 14, colour)
            return
        if self.panel.lean:
            frame.text("LEAN", 84, 12, colour)
        elif live.at_end():
            frame.text("at end", 80, 12, colour)
        elif live.wanted is not None:
            frame.text("target", 80, 12, colour)
        else:
            frame.text("no", 84, 16, colour)
            frame.text("target", 80, 26, colour)
        if live.wanted is not None:
            digits.small(frame, (live.wanted + 5) // 10, 124, 24, 2, colour)
            above = (value + 5) // 10 - (live.wanted + 5) // 10
            x = digits.small(frame, above, 124, 40, 2, colour)
            if above > 0:
                frame.text("+", x - 8, 40, colour)

    def _health(self, frame):
        logger = self.logger
        _title(frame, "HEALTH")
        _line(frame, 14, "lost rows", logger.sampler.lost + logger.recorder.writer.outbox.dropped, "")
        _line(frame, 23, "late", logger.sampler.late_max_us, "us")
        _line(frame, 32, "stall", logger.health.stall_us // 1000, "ms")
        _line(frame, 41, "heap", logger.health.heap_least // 1024, "kB")
        frame.text("card no answer" if logger.recorder.writer.dead else "card ok", 0, 50)
        if not self.panel.warns:
            frame.text("no lean warning", 0, 57)

    def _fault(self, frame):
        number = self.panel.lamp.number()
        _title(frame, "FAULT")
        digits.small(frame, number, 72, 1)
        if number != self.lines_of:
            self.lines_of = number
            self.lines = wrapped(self.words.get(number, ""))
        y = 11
        for line in self.lines:
            frame.text(line, 0, y)
            y += 9


def _title(frame, text):
    frame.fill_rect(0, 9, 128, 1, 1)
    frame.text(text, 1, 1)


def _line(frame, y, name, value, unit):
    frame.text(name, 0, y)
    right = 128 - 8 * len(unit)
    frame.text(unit, right, y)
    digits.small(frame, value, right, y)


def wrapped(sentence):
    """The sentence in at most six lines of 16 letters; what does not fit is cut off and ends in two points."""
    lines = []
    line = ""
    for word in sentence.split(" "):
        while len(word) > _LINE:
            room = _LINE - len(line) - 1 if line else _LINE
            if room > 4:
                line = line + " " + word[:room] if line else word[:room]
                word = word[room:]
            lines.append(line)
            line = ""
        if line and len(line) + 1 + len(word) > _LINE:
            lines.append(line)
            line = word
        else:
            line = line + " " + word if line else word
    lines.append(line)
    if len(lines) > _LINES:
        lines = lines[:_LINES]
        lines[-1] = lines[-1][: _LINE - 2] + ".."
    return tuple(lines)
