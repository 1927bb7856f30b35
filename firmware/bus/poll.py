"""The values of kind obd, asked from one unit: the earliest deadline first, up to six in a request where a trial has
shown that six give what one gives."""

from bus import link as links
from shared_math import bus_states, ticks
from shared_math.compat import const, zeros
from shared_math.obd import replies, transport

MOST = const(6)
_QUIET_US = const(5000000)
_AHEAD_US = const(25000)  # the next request is laid ready so long before it is due
_HALF = const(0x1FFFFFFF)  # of a difference of ticks: more is negative
_LATER_US = const(1000000)  # after "busy" or "not now"
_ERRORS = const(96)
_MISSES = const(3)
_NEAR = const(5)  # a value of the trial may lie a 32nd of its range beside those asked for singly


class Poller:
    """car: bus.car.Car."""

    def __init__(self, car):
        plan = car.plan
        self.car = car
        self.link = car.link
        self.held = car.held
        self.pids = plan.pids
        self.count = len(plan.pids)
        self.periods = plan.periods
        self.parts = plan.parts  # of each parameter: ((channel, first byte, bytes, flip), ...)
        self.sizes = plan.sizes
        self.due = zeros(max(1, self.count))
        self.wanted = bytearray(self.count)  # 1: is asked for
        self.together = bytearray(self.count)  # 1: with others
        self.missed = bytearray(self.count)
        self.last = zeros(max(1, self.count))  # the first part's newest number, for the trial
        self.fresh = bytearray(self.count)
        self.asked = [bytearray(MOST) for _ in range(links.TAGS)]  # parameters of each request
        self.which = [bytearray(MOST) for _ in range(links.TAGS)]  # their places in `pids`
        self.many = bytearray(links.TAGS)
        self.order = bytearray(MOST)  # places of the most urgent ones,
        self.lefts = zeros(MOST)  # and how long they have
        self.at = [0] * MOST  # where data begin
        self.lost = 0  # requests that nothing came back for
        self.requests = 0
        self.unit = 0

    def choose_unit(self):
        """The unit that is asked: the one named, else the first that knows engine speed, else the first."""
        car = self.car
        self.unit = 0
        for n in range(car.known):
            if car.unit_ids[n] == car.plan.ecu:
                self.unit = n
                return
        least = 1 << 29
        for n in range(car.known):
            if car.supports(n, 0x0C) and car.unit_ids[n] & 0xFFF < least:
                least = car.unit_ids[n] & 0xFFF
                self.unit = n

    # ---- what comes ----------------------------------------------------------------------------------------------

    def reply(self, unit, data, length, first, tag):
        """An answer of service 01. first: tick of its first frame."""
        if unit != self.unit:
            return
        which = self.which[tag]
        found = replies.places(data, length, self.asked[tag], self.many[tag], self.sizes, self.at)
        if found < 0:  # not what is waited for: mostly the answer to a question that was given up
            self.car.counts[transport.LATE] += 1
            return
        sent = self.link.sent_at[tag]
        trip = (first - sent) & ticks.MASK
        self.held.tripped(trip)
        tick = ticks.add(sent, trip >> 1)
        for n in range(self.many[tag]):
            place = which[n]
            at = self.at[n]
            if not at:
                self._miss(place)
                continue
            self.missed[place] = 0
            self.fresh[place] = 1
            for channel, start, size, flip in self.parts[place]:
                raw = data[at + start]
                if size == 2:
                    raw = raw << 8 | data[at + start + 1]
                raw ^= flip
                if start == 0:
                    self.last[place] = raw
                self.held.hold(channel, raw, tick)
        self.many[tag] = 0  # a second answer to it is none

    def _miss(self, place):
        """A parameter was left out of an answer to several."""
        self.missed[place] += 1
        if self.missed[place] >= _MISSES:
            self.missed[place] = 0
            self.together[place] = 0

    def refused(self, service, reason, tag):
        """A unit refuses what request `tag` asked for."""
        if service != 0x01 and service != 0x22:
            return
        many = self.many[tag]
        which = self.which[tag]
        for n in range(many):
            if many > 1:
                self.together[which[n]] = 0
            elif reason in replies.NOT_KNOWN:
                self.wanted[which[n]] = 0
            else:
                self.due[which[n]] = ticks.add(self.car.now, _LATER_US)

    # ---- what is asked -------------------------------------------------------------------------------------------

    def _fill(self, places):
        """Lay a request for the parameters at `places` ready."""
        tag = self.link.next_tag()
        many = 0
        for place in places:
            self._add(tag, many, place)
            many += 1
        self._ready(tag, many)

    def _add(self, tag, many, place):
        self.asked[tag][many] = self.pids[place]
        self.which[tag][many] = place
        self.link.requests[tag & 1][2 + many] = self.pids[place]

    def _ready(self, tag, many):
        self.many[tag] = many
        request = self.link.requests[tag & 1]
        request[0] = 1 + many
        request[1] = 1
        for n in range(2 + many, 8):
            request[n] = 0
        if self.car.modern:
            request[0] = 3
            request[1] = 0x22
            request[3] = request[2]
            request[2] = replies.MODERN
        only = self.car.unit_ids[self.unit]
        self.link.lay(self._address(only), only)

    def _address(self, reply_id):
        asked = links.asked_of(reply_id)
        return asked if asked >= 0 else reply_id - 8  # a unit that the configuration names

    def pick(self, now):
        """Lay the most urgent request ready; whether there is one. What it asks for is due again a period later.

        Beside the parameter that is due first go, where a trial allowed it, the next ones of which at least half of the
        period has passed. One pass: this is the most costly thing that is done for a request.
        """
        due = self.due
        wanted = self.wanted
        together = self.together
        periods = self.periods
        order = self.order
        lefts = self.lefts
        best = -1
        least = _AHEAD_US + 1
        many = 0
        for n in range(self.count):
            if not wanted[n]:
                continue
            left = (due[n] - now) & ticks.MASK
            if left > _HALF:
                left -= ticks.MASK
                left -= 1
            if left < least:
                least = left
                best = n
            if not together[n] or left > _AHEAD_US and left > periods[n] >> 1:
                continue
            if many < MOST:
                at = many
                many += 1
            elif left < lefts[MOST - 1]:
                at = MOST - 1
            else:
                continue
            while at and lefts[at - 1] > left:
                lefts[at] = lefts[at - 1]
                order[at] = order[at - 1]
                at -= 1
            lefts[at] = left
            order[at] = n
        if best < 0:
            return False
        if not together[best]:
            many = 1
            order[0] = best
            lefts[0] = least
        tag = self.link.next_tag()
        for n in range(many):
            place = order[n]
            self._add(tag, n, place)
            # From when it was due, so that asking a little early makes it no faster. What is late by more than a period
            # is due at once: behind all that are, and in this order, so that each gets its turn
            if -lefts[n] < periods[place]:
                due[place] = ticks.add(due[place], periods[place])
            else:
                due[place] = ticks.add(now, n)
        self._ready(tag, many)
        return True

    def _trial(self):
        """Ask some singly, together, and singly again; those that stand between are asked together from now on."""
        first = zeros(MOST)
        both = zeros(MOST)
        begin = 0
        while begin < self.count:
            places = []
            while begin < self.count and len(places) < MOST:
                if self.wanted[begin] and self.sizes[self.pids[begin]]:
                    places.append(begin)
                begin += 1
            if len(places) < 2:
                continue
            for n in range(len(places)):
                yield from self._ask(places[n : n + 1])
                if not self.fresh[places[n]]:
                    first[n] = -1
                else:
                    first[n] = self.last[places[n]]
            yield from self._ask(places)
            for n in range(len(places)):
                both[n] = self.last[places[n]] if self.fresh[places[n]] else -1
            for n in range(len(places)):
                yield from self._ask(places[n : n + 1])
                place = places[n]
                if first[n] < 0 or both[n] < 0 or not self.fresh[place]:
                    continue
                _, _, size, _ = self.parts[place][0]
                room = 1 << 8 * size - _NEAR
                low, high = sorted((first[n], self.last[place]))
                self.together[place] = low - room <= both[n] <= high + room

    def _ask(self, places):
        """One request, and its answer or the end of the time for it. fresh[place]: whether a value came."""
        link = self.link
        car = self.car
        while not link.may_go(car.now):
            yield
        if self.ended():
            return
        for place in places:
            self.fresh[place] = 0
        self._fill(places)
        car.longer = False
        self.requests += 1
        link.send()
        while link.waiting and not car.late(link.sent_at[link.tag]):
            yield
        if link.waiting:
            self.lost += 1
            link.give_up()
            self._forget()
        yield

    def _forget(self):
        self.car.longer = False
        self.many[self.link.tag] = 0
        self.car.units[self.unit].forget()

    def ended(self):
        """Whether asking must end, and then why."""
        car = self.car
        if car.tester:
            self.held.state = bus_states.OTHER_TESTER
        elif car.port.errors() >= _ERRORS:
            self.held.state = bus_states.ERRORS
        elif car.port.failed() or car.unanswered and car.passed(car.asked_at) > _QUIET_US:
            self.held.state = bus_states.ASLEEP
        else:
            return False
        return True

    def run(self):
        """Ask until it must end."""
        car = self.car
        link = self.link
        self.choose_unit()
        now = car.now
        for n in range(self.count):
            self.wanted[n] = car.supports(self.unit, self.pids[n])
            self.together[n] = 0
            self.due[n] = now
        if not car.modern:
            yield from self._trial()
        if self.count and not max(self.wanted):
            self.held.state = bus_states.REFUSES
        turn = 0
        while True:
            # The controller is asked for its errors in every fourth turn: a question is waited for longer than that
            if (car.tester or not turn) and self.ended():
                return
            turn = (turn + 1) & 3
            now = car.now
            if link.waiting:
                if car.late(link.sent_at[link.tag]):
                    self.lost += 1
                    link.end_wait()
                    self._forget()
                elif link.may_lay():
                    self.pick(now)
            elif (link.laid != link.tag or self.pick(now)) and link.may_go(now):
                link.send()
            yield
