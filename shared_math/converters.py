"""External converters: the known parts, the inputs and differences of each, and the volts of its counts.

Figures are from the data sheets: MCP3208 (DS21298), MCP3304 (DS21697), ADS1115 (SBAS444).
"""

LETTERS = "xy"  # inputs of the first and of the second external converter
USUAL = {"x": "mcp3208"}  # if the configuration does not name the fitted converters

_EIGHT = ("0-1", "1-0", "2-3", "3-2", "4-5", "5-4", "6-7", "7-6")
_FOUR = ("0-1", "0-3", "1-3", "2-3")

# part -> (inputs, differences it can measure, bits, signed, full scale in volts or None: its reference, slow)
_PARTS = {
    "mcp3208": (8, (), 12, False, None, False),
    "mcp3304": (8, _EIGHT, 13, True, None, False),
    "ads1115": (4, _FOUR, 16, True, 4.096, True),
}
NAMES = ("ads1115", "mcp3208", "mcp3304")


def parse(name):
    """(letter, number of the input, number of the input it is measured against or None); None for no such name.

    "a0", "p1", "x3" are single inputs, "x0-x1" is a difference: plus, then minus, on one external converter.
    """
    plus, dash, minus = name.partition("-")
    first = _one(plus)
    if first is None or not dash:
        return None if first is None else (first[0], first[1], None)
    second = _one(minus)
    if second is None or second[0] != first[0] or first[0] not in LETTERS or second == first:
        return None
    return first[0], first[1], second[1]


def _one(name):
    if not 2 <= len(name) <= 3 or name[0] not in "apd" + LETTERS:
        return None
    for digit in name[1:]:
        if digit not in "0123456789":
            return None
    return name[0], int(name[1:])


def part_of(config, name):
    """The part that input `name` belongs to; None for an input of the board or of a converter that isn't configured."""
    if name[0] not in LETTERS:
        return None
    return config.get("converters", USUAL).get(name[0])


def inputs(part):
    """The number of the part's inputs, which are numbered from 0."""
    return _PARTS[part][0]


def differences(part):
    """The differences that the part can measure, as "plus-minus"."""
    return _PARTS[part][1]


def signed(part):
    """Whether the part's counts are signed; they are stored with half of the range added, to be never negative."""
    return _PARTS[part][3]


def slow(part):
    """Whether the part is too slow for rows: it is read in the main loop, and its value is held with its age."""
    return _PARTS[part][5]


def scale(part, reference_v):
    """(bits, volts from the lowest to the highest count) with a reference of `reference_v`."""
    _, _, bits, both, full_v, _ = _PARTS[part]
    if full_v is None:
        full_v = reference_v
    return bits, 2 * full_v if both else full_v
