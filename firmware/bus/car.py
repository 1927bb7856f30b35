"""What is said to the car and when: silence first, then the questions that logger.json allows.

One generator is the whole course of things; a turn of the main loop is a step of it.
"""

from bus import link as links
from bus import poll
from drivers.can_frame import eight
from shared_math import bus_states, layout, ticks
from shared_math.compat import const, zeros
from shared_math.obd import replies, transport

UNITS = const(8)
ROOM = const(136)  # bytes of the longest answer: 64 codes
_LISTEN_US = const(2000000)
_GOOD = const(3)  # frames that settle the rate
_ANSWER_US = const(60000)  # P2, 50 ms, and a turn of the main loop
_LONGER_US = const(5100000)  # P2*
_QUIET_US = const(5000000)  # without an answer
_AGAIN_US = const(60000000)
_AHEAD_US = const(0x3FFFFFFF - 1000000)  # a difference from here on: later than the turn, not 18 minutes before it
_LONGEST_US = const(30000000)  # of an answer that is announced for later again and again
_SLEEP_US = const(10000000)  # a bus without any frame for so long sleeps
_ERRORS = const(96)  # of the controller's counters: the bus is disturbed ("error warning" of ISO 11898)
_RATES = (500, 250)
_MASKS = const(8)
_CODES = const(486)  # of layout.PAYLOAD
_FROZEN = (0x02, 0x04, 0x05, 0x06, 0x07, 0x0B, 0x0C, 0x0D, 0x0E, 0x0F, 0x11)


class Car:
    """port: the controller. plan: bus/plan.py's. held: acquire.bus_columns. ticks_us: the board's clock."""

    def __init__(self, port, plan, held, ticks_us):
        self.port = port
        self.plan = plan
        self.held = held
        self.ticks_us = ticks_us
        self.counts = zeros(transport.COUNTS)
        self.link = links.Link(port, ticks_us, ROOM)
        self.unit_ids = zeros(UNITS)
        self.units = [transport.Receiver(ROOM, self.counts) for _ in range(UNITS)]
        self.masks = [bytearray(4 * _MASKS) for _ in range(UNITS)]
        self.began = zeros(UNITS)  # ticks of their first frames,
        self.last = zeros(UNITS)  # and of their last ones
        self.known = 0  # units that have answered
        self.kbit = 0
        self.extended = False
        self.modern = False  # it speaks SAE J1979-2: parameters as F4nn by service 22, codes by 19 and 14
        self.now = ticks_us()
        self.seen = 0  # frames of others at this rate
        self.seen_at = self.now
        self.tester_at = self.now
        self.tester = False
        self.answered = 0  # messages that came whole
        self.answered_at = self.now
        self.sent = 0  # requests, as far as they were looked at
        self.unanswered = False  # a request was sent since the last answer,
        self.asked_at = self.now  # the first one then
        self.longer = False  # the answer was announced for later
        self.refused = 0  # reason of the last refusal
        self.poller = poll.Poller(self)
        self.marked = None  # function: whether a pull is open
        self.codes = bytearray(_CODES)  # answers about codes, as the ring file keeps them
        self.codes_at = 0
        self.codes_whole = False  # they can be written
        self.codes_stored = False
        self.over = False  # what was to be done at the bench
        self.cleared = 0
        self.moving = -1  # 1 once a unit told of a speed, 0 where all told that nothing moves, -1 where none told
        self.asking_codes = False
        self.looked = self.now
        self.life = self._life()

    def turn(self):
        """Once a turn of the main loop."""
        self.now = self.ticks_us()
        if self.sent != self.link.sent:
            self.sent = self.link.sent
            if not self.unanswered:
                self.unanswered = True
                self.asked_at = self.now
        self.port.look()
        self._drain()
        self.held.lost = self.counts[transport.LOST] + self.poller.lost + self.link.lost + self.port.missed()
        if (self.now - self.looked) & ticks.MASK > _AGAIN_US:
            self.looked = self.now
            self.held.look(self.now)
        next(self.life)

    def end(self):
        """The recording ends: nothing is sent any more."""
        self._silence()

    def at_the_bench(self, clear):
        """Nothing is recorded: find the car and ask for its codes anew, by turns as ever. clear: clear them first.

        `over` is set at the end. `cleared` is then what became of clearing: 0x44 done, -1 not asked for since something
        moves, -2 not asked for since nothing says that all stands, 0 no answer, else the reason of the refusal.
        """
        self.codes_at = 0
        self.codes_whole = False
        self.over = False
        self.cleared = 0
        self.life = self._bench_life(clear)

    def _bench_life(self, clear):
        self.tester = False
        self._silence()
        yield from self._listen(False)
        yield from self._find()
        if self.held.state == bus_states.ANSWERED:
            if clear:
                yield from self._clear()
            yield from self._about_codes()
        self._silence()
        self.over = True
        while True:
            yield

    def _clear(self):
        """Service 04, where the engine stands and the car too."""
        self.moving = -1
        for pid in (0x0C, 0x0D):
            if not self._stop():
                yield from self._ask_for(pid)
        if self.moving:
            self.cleared = self.moving - 1 if self.moving < 0 else -1
            return
        self.refused = 0
        if not self._stop():
            if self.modern:
                yield from self.ask_all(0x14, 0xFF, 0xFF, 0x33)  # what concerns emissions: ISO 14229-1, from memory
            else:
                yield from self.ask_all(0x04)
            self.cleared = self.refused or self.cleared

    def codes_due(self):
        """Whether answers about codes are there and not yet in the ring file."""
        return self.codes_whole and self.codes_at > 0 and not self.codes_stored

    def store(self, writer, span):
        """Write what was answered about codes, where nothing else waits for the card. span: the recorder's rows."""
        self.codes_stored = writer.write_text(layout.CODES, memoryview(self.codes)[: self.codes_at], span[0])

    def passed(self, since):
        """Microseconds since a tick; 0 where the interrupt noted it after this turn began."""
        us = (self.now - since) & ticks.MASK
        return us if us < _AHEAD_US else 0

    # ---- what comes ----------------------------------------------------------------------------------------------

    def _drain(self):
        link = self.link
        while link.tail != link.head:
            at = link.tail & links.SLOTS - 1
            self._frame(link.ids[at], link.data, at << 3, link.lengths[at], link.times[at], link.tags[at])
            link.tail = (link.tail + 1) & ticks.MASK

    def _frame(self, frame_id, room, start, length, tick, tag):
        self.seen += 1
        self.seen_at = tick
        if self.plan.signals:
            self.plan.signals.take(frame_id, room, start, length, tick, self.held)
        if links.of_a_tester(frame_id):
            self.tester = True
            self.tester_at = tick
            return
        if not self.link.may_send:
            return
        unit = self._unit_of(frame_id)
        if unit < 0:
            if not self.plan.signals or frame_id not in self.plan.signals.ids:
                self.counts[transport.STRANGE] += 1
            return
        receiver = self.units[unit]
        since = (tick - self.last[unit]) & ticks.MASK
        self.last[unit] = tick
        data = self.plan.frame
        eight(data, 0, room, start)  # pyright: ignore[reportCallIssue]
        if data[0] >> 4 == 1:
            self.began[unit] = tick
        elif data[0] >> 4 == 2 and receiver.open and since > transport.N_CR_US:
            self.counts[transport.LATE] += 1
            receiver.forget()
            return
        if receiver.take(data, length) == transport.WHOLE:
            first = self.began[unit] if receiver.length > 7 else tick
            self._message(unit, receiver.payload, receiver.length, first, tick, tag)

    def _unit_of(self, frame_id):
        """The number of the unit that answers with this id; -1 for none."""
        for n in range(self.known):
            if self.unit_ids[n] == frame_id:
                return n
        if self.known == UNITS or (links.asked_of(frame_id) < 0 and frame_id != self.plan.ecu):
            return -1
        self.unit_ids[self.known] = frame_id
        self.known += 1
        return self.known - 1

    def _message(self, unit, data, length, first, tick, tag):
        """An answer is whole."""
        self.unanswered = False
        if data[0] == replies.REFUSED:
            if length >= 3:
                if data[2] == replies.PENDING:
                    self.longer = True
                    self.answered_at = tick
                    return
                self.refused = data[2]
                self.longer = False
                self.poller.refused(data[1], data[2], tag)
                self.answered_at = tick
            return
        self.answered += 1
        self.answered_at = tick
        self.longer = False
        if data[0] == 0x44 or data[0] == 0x54:
            self.cleared = 0x44
        elif self.asking_codes:
            self._keep(unit, data, length)
        elif data[0] == 0x41 or data[0] == 0x62 and data[1] == replies.MODERN:
            start = 2 if data[0] == 0x62 else 1
            pid = data[start]
            if length >= start + 5 and pid & 0x1F == 0 and (length - start) % 5 == 0:
                mask = self.masks[unit]
                at = pid >> 5 << 2
                for n in range(4):
                    mask[at + n] = data[start + 1 + n]
            else:
                if pid == 0x0C or pid == 0x0D:
                    self._moves(data, start + 1, length)
                self.poller.reply(unit, data, length, first, tag)

    def _moves(self, data, start, length):
        """Engine or road speed was told."""
        for n in range(start, length):
            if data[n]:
                self.moving = 1
        if self.moving < 0:
            self.moving = 0

    def _keep(self, unit, data, length):
        """An answer about codes goes into the block that the ring file keeps: id, length, bytes; without bytes, so that
        it is known, where they find no room."""
        at = self.codes_at
        if at + 5 + length > _CODES - 5:
            length = 0
        if at + 5 > _CODES:
            return
        who = self.unit_ids[unit]
        room = self.codes
        for n in range(4):
            room[at + n] = who >> 8 * n & 0xFF
        room[at + 4] = length
        for n in range(length):
            room[at + 5 + n] = data[n]
        self.codes_at = at + 5 + length

    def supports(self, unit, pid):
        """Whether a unit's masks name a parameter."""
        bit = pid - 1
        return bool(self.masks[unit][bit >> 3] & 0x80 >> (bit & 7))

    # ---- the course of things ------------------------------------------------------------------------------------

    def _state(self, state):
        self.held.state = state

    def _life(self):
        heard_before = False
        while True:
            if self.passed(self.tester_at) >= _AGAIN_US:
                self.tester = False
            self._silence()
            yield from self._listen(heard_before)
            heard_before = True
            if not self.plan.ask:
                self._state(bus_states.LISTENING)
                self.port.listen(self.kbit, self.plan.only)
                while True:
                    yield
            heard = self.seen > 0
            yield from self._find()
            if self.held.state == bus_states.NO_CAR and heard:
                yield from self._until_quiet()
            if self.held.state == bus_states.ANSWERED:
                yield from self._about_units()
                yield from self._about_codes()
                yield from self.poller.run()
                self._silence()
                if self.held.state == bus_states.ERRORS:
                    while True:
                        yield
                began = self.now
                while self.passed(began) < _AGAIN_US or (self.tester and self.passed(self.tester_at) < _AGAIN_US):
                    yield

    def _silence(self):
        self.link.silent()
        if not self.port.listen(self.kbit or _RATES[0], None):
            self._state(bus_states.NO_CHIP)

    def _listen(self, until_heard):
        """Find the rate of what is on the bus, listening alone. until_heard: go on for as long as nothing is; else give
        up after each rate was tried once, where asking comes next."""
        rates = (self.plan.kbit,) if self.plan.kbit else _RATES
        while True:
            for kbit in rates:
                self.seen = 0
                self.port.listen(kbit, None)
                began = self.now
                while self.passed(began) < _LISTEN_US:  # to its end: another tester may be there
                    yield
                if self.seen >= _GOOD or (self.seen and until_heard):
                    self.kbit = kbit
                    return
            if self.plan.ask and not until_heard:
                self.kbit = 0
                return

    def _until_quiet(self):
        """Nobody answered on a bus that is alive: nothing more is asked before it has slept and woken again."""
        self.seen_at = self.now
        while self.passed(self.seen_at) < _SLEEP_US:
            yield

    def _find(self):
        """Ask all units what they know; at most four frames. Where the rate is known, two of them as a car of SAE
        J1979-2 understands them: it is silent on service 01."""
        rates = (self.kbit or self.plan.kbit,) if self.kbit or self.plan.kbit else _RATES
        heard = self.seen > 0
        self._state(bus_states.ASKING)
        for modern in (False, True)[: 3 - len(rates)]:
            for kbit in rates:
                for extended in (False, True):
                    if self.tester and self.passed(self.tester_at) < _AGAIN_US:
                        self._state(bus_states.OTHER_TESTER)
                        self._silence()
                        return
                    self.extended = extended
                    self.kbit = kbit
                    self.port.normal(kbit, self.plan.only)
                    self.link.may_send = True
                    if (yield from self._meets(modern)):
                        self._state(bus_states.ANSWERED)
                        return
                    failed = self.port.failed() or self.port.errors() >= _ERRORS
                    self._silence()
                    if failed and heard:
                        self._state(bus_states.ERRORS)
                        while True:
                            yield
        self.kbit = 0
        self._state(bus_states.NO_CAR)

    def _meets(self, modern):
        """Whether a unit answers the first question, or refuses it; then the other way is tried too."""
        self.modern = modern
        self.refused = 0
        before = self.answered
        yield from self._ask_for(0)
        if self.refused in replies.NOT_KNOWN and self.answered == before:
            self.modern = not modern
            yield from self._ask_for(0)
            if self.answered == before:
                self.modern = modern
        return self.answered != before or self.refused > 0

    def _ask_for(self, pid):
        """Ask all units for a parameter."""
        if self.modern:
            yield from self.ask_all(0x22, replies.MODERN, pid)
        else:
            yield from self.ask_all(0x01, pid)

    def ask_all(self, *asked):
        """Ask all units, and wait for what they answer. asked: the service and what follows it, seven bytes at most."""
        link = self.link
        while not link.may_go(self.now):
            yield
        request = link.requests[link.next_tag() & 1]
        request[0] = len(asked)
        for n in range(7):
            request[1 + n] = asked[n] if n < len(asked) else 0
        link.lay(links.everybody(self.extended), -1)
        self.longer = False
        link.send()
        yield from self._wait()

    def _wait(self):
        link = self.link
        begun = self.link.sent_at[link.tag]
        self.answered_at = begun
        while not self.late(self.answered_at) or self._open():
            if self.passed(begun) > _LONGEST_US:
                break
            yield
        for n in range(self.known):
            self.units[n].forget()
        link.give_up()

    def late(self, asked_at):
        """Whether no answer may come any more to what was asked then, or announced for later since."""
        if self.longer:
            return self.passed(self.answered_at) >= _LONGER_US
        return self.passed(asked_at) >= _ANSWER_US

    def _open(self):
        """Whether an answer is begun and still on its way."""
        for n in range(self.known):
            if self.units[n].open and self.passed(self.seen_at) < transport.N_CR_US:
                return True
        return False

    def _about_units(self):
        """Which parameters each unit has."""
        for first in range(_MASKS):
            more = first == 0
            for n in range(self.known):
                if first and self.masks[n][4 * first - 1] & 1:
                    more = True
            if not more:
                return
            if first and not self._stop():
                yield from self._ask_for(0x20 * first)
        return

    def _stop(self):
        """Whether asking must end now."""
        return self.tester or self.port.errors() >= _ERRORS or self.port.failed()

    def _about_codes(self):
        """Codes, lamp, readiness and the freeze frame: asked once, while no pull is open."""
        if self.codes_whole or self.codes_at:
            return
        while self.marked and self.marked():
            yield
        self.asking_codes = True
        if not self._stop():
            yield from self._ask_for(0x01)
        if self.modern:
            if not self._stop():
                yield from self.ask_all(0x19, 0x02, 0x0C)  # confirmed or pending
            if not self._stop():
                yield from self.ask_all(0x19, 0x15)  # permanent
            at = self._confirmed()
            if at and not self._stop():
                yield from self.ask_all(0x19, 0x04, *self.codes[at : at + 3], 0xFF)  # all records of its freeze frame
        else:
            for service in (0x03, 0x07, 0x0A):
                if not self._stop():
                    yield from self.ask_all(service)
            for pid in _FROZEN:
                if not self._stop():
                    yield from self.ask_all(0x02, pid, 0)
                if pid == 0x02 and not self._frozen():
                    break
        if self.plan.vin and not self._stop():
            if self.modern:
                yield from self.ask_all(0x22, 0xF8, 0x02)
            else:
                yield from self.ask_all(0x09, 0x02)
        self.asking_codes = False
        self.codes_whole = True

    def _confirmed(self):
        """Where in `codes` the first confirmed code of a 59 02 answer stands (ISO 14229-1); 0 for none."""
        at = 0
        room = self.codes
        while at < self.codes_at:
            end = at + 5 + room[at + 4]
            if room[at + 5] == 0x59 and room[at + 6] == 0x02:
                for code in range(at + 8, end - 3, 4):
                    if room[code + 3] & 0x08:
                        return code
            at = end
        return 0

    def _frozen(self):
        """Whether a unit answered that it keeps a freeze frame."""
        at = 0
        room = self.codes
        while at < self.codes_at:
            whole = room[at + 4] > 4
            if whole and room[at + 5] == 0x42 and room[at + 6] == 0x02 and (room[at + 8] or room[at + 9]):
                return True
            at += 5 + room[at + 4]
        return False
