"""Trouble codes: how two or three bytes become a code, and what its structure says. The texts are our own; the list of
all codes is not here."""

_LETTERS = "PCBU"
_FIELDS = {
    "P": "engine and transmission",
    "C": "chassis",
    "B": "body",
    "U": "network between the computers",
}
# The third place of P0xxx and P2xxx (structure of SAE J2012 as public copies have it)
_GROUPS = {
    "0": "fuel and air metering, and auxiliary emission controls",
    "1": "fuel and air metering",
    "2": "fuel and air metering, injector circuits",
    "3": "ignition or misfire",
    "4": "auxiliary emission controls",
    "5": "speed, idle and auxiliary inputs",
    "6": "computer and its outputs",
    "7": "transmission",
    "8": "transmission",
    "9": "transmission",
    "A": "hybrid drive",
    "B": "hybrid drive",
    "C": "hybrid drive",
}
# Codes by which fuel trims in closed loop have reached a limit: (bank, whether too lean). Values from memory
_MIXTURE = {
    "P0171": (1, True),
    "P0172": (1, False),
    "P0174": (2, True),
    "P0175": (2, False),
    "P2177": (1, True),
    "P2178": (1, False),
    "P2179": (2, True),
    "P2180": (2, False),
    "P2187": (1, True),
    "P2188": (1, False),
    "P2189": (2, True),
    "P2190": (2, False),
}


def name(high, low):
    """The code of two bytes: 01 71 is P0171."""
    return "%s%d%X%02X" % (_LETTERS[high >> 6], high >> 4 & 3, high & 0x0F, low)


def listed(data):
    """Codes of a reply of service 03, 07 or 0A on CAN: names, or None where the reply is not whole.

    data: the bytes after the service; the first one is how many codes follow.
    """
    if not len(data) or len(data) < 1 + 2 * data[0]:
        return None
    out = []
    for at in range(1, 1 + 2 * data[0], 2):
        if data[at] or data[at + 1]:
            out.append(name(data[at], data[at + 1]))
    return out


def listed_with_status(data):
    """(name, failure type, status) of each code of a 59 02 reply (ISO 14229-1), or None where it is not whole.

    data: the bytes after 59 02: the mask of the states, then four bytes a code.
    """
    if not len(data) or (len(data) - 1) % 4:
        return None
    out = []
    for at in range(1, len(data), 4):
        out.append((name(data[at], data[at + 1]), data[at + 2], data[at + 3]))
    return out


def makers(code):
    """Whether a code's meaning is the maker's own, and not the standard's."""
    if code[0] == "P":
        return code[1] == "1" or (code[1] == "3" and code[2] in "0123")
    return code[1] in "12"


def mixture(code) -> "tuple | None":
    """(bank, whether too lean) of a code that says so of the mixture in closed loop; None for any other."""
    return _MIXTURE.get(code)


def text(code):
    """What a code says, in words: of the mixture in closed loop, else what its structure says."""
    found = mixture(code)
    if found:
        return "mixture too %s in closed loop, bank %d" % ("lean" if found[1] else "rich", found[0])
    field = _FIELDS[code[0]]
    if makers(code):
        return "%s; the maker's own code: its meaning is in the car's workshop manual" % field
    if code[0] == "P" and code[1] in "02":
        return "%s: %s" % (field, _GROUPS.get(code[2], "reserved"))
    return "%s; a standard code" % field
