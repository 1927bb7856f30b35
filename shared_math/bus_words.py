"""How the car's bus is, in a sentence with what to do. Apart from bus_states.py, which a recording board keeps in
memory."""

from shared_math import bus_states

STATES = {
    bus_states.SILENT: ("Nothing was heard on the car's bus yet", "wait until the ignition is on"),
    bus_states.LISTENING: ("The car's bus was heard; nothing was sent", ""),
    bus_states.ASKING: ("The car's computer was asked, and had not answered yet", ""),
    bus_states.ANSWERED: ("The car's computer answered", ""),
    bus_states.NO_CAR: (
        "No computer answered on the car's bus",
        "there is no CAN at pins 6 and 14 (a car with K-line or J1850 has none), the ignition is off, or a stand-alone "
        "engine computer answers nothing but broadcasts: use channels of kind can for that",
    ),
    bus_states.OTHER_TESTER: (
        "Another tester asks on the car's bus; the logger was silent meanwhile",
        "unplug it: two testers take each other's answers",
    ),
    bus_states.ASLEEP: ("The car's computer stopped answering; it was asked no more", "the ignition was switched off"),
    bus_states.ERRORS: (
        "The car's bus showed errors as soon as something was sent; the logger is silent since",
        "look at both wires of the bus, at a terminating resistor too much, and at kbit",
    ),
    bus_states.REFUSES: (
        "The car's computer refused every value asked for",
        "take other values, or name another unit: ecu",
    ),
    bus_states.NO_CHIP: ("The bus controller does not answer", "look at its wires, its supply and chip in logger.json"),
}


def sentence(number):
    """(what it means, what to do or "") of a state, also of one that only newer firmware knows."""
    return STATES.get(number, ("The bus is in state %d, which is not known here" % number, "update this program"))
