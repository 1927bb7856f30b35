"""Trouble codes over the cable: what this session's question brought, or, at the bench, asked anew and cleared.

Clearing is done here alone: never by the button, never while recording, and only where engine and car stand.
"""

from shared_math import cable, cable_bench, ticks
from shared_math.compat import const

_LONGEST_US = const(60000000)
_TURNS = const(-1)


def tell(logger, talk):
    """What was answered in this session."""
    if _refused(logger, talk):
        return
    _told(logger.bus, talk)


def ask(logger, talk):
    """At the bench: ask the car's computers anew."""
    if _refused(logger, talk):
        return
    bus = logger.bus
    _run(logger, False)
    _told(bus, talk)


def clear(logger, talk):
    """At the bench: clear the codes, where nothing moves."""
    if _refused(logger, talk):
        return
    bus = logger.bus
    if _turns(logger):
        talk.put((cable_bench.CLEAR, str(_TURNS), str(bus.held.state)), 0)
        return
    _run(logger, True)
    _put(bus, talk, (cable_bench.CLEAR, str(bus.cleared), str(bus.held.state)))


def _refused(logger, talk):
    if logger.bus and logger.plan.bus.ask:
        return False
    talk.refuse("no_bus")
    return True


def _turns(logger):
    """Whether the tach sees a turning engine."""
    from cable import means

    for channel in logger.plan.config["channels"]:
        if "per_rev" in channel:
            taken = means.Rows(logger, channel["name"]).take(logger.plan.config["rate_hz"])
            if taken["edges"] or taken["refused"]:
                return True
    return False


def _run(logger, clearing):
    bus = logger.bus
    board = logger.board
    bus.at_the_bench(clearing)
    began = board.ticks_us()
    while not bus.over and (board.ticks_us() - began) & ticks.MASK < _LONGEST_US and board.powered():
        board.feed()
        bus.turn()
        board.idle()
    bus.end()


def _told(bus, talk):
    counts = ",".join([str(count) for count in bus.counts])
    _put(bus, talk, (cable.CODES, str(bus.held.state), str(int(bus.codes_whole)), counts))


def _put(bus, talk, words):
    size = bus.codes_at
    talk.block[:size] = memoryview(bus.codes)[:size]
    talk.put(words, size)
