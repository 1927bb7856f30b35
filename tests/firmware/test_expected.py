"""Channels that must always read the same, and wires that two inputs measure. Runs under MicroPython."""

import car
import micropython

from acquire import expected, rows

WIRE = {
    "name": "lambda_1_wire",
    "kind": "linear",
    "unit": "V",
    "volts": [0, 5.5],
    "values": [0, 5.5],
    "checks": "lambda_1",
}
WIRE["divider"] = {"top_ohm": 16800, "bottom_ohm": 10000}
BOARD, SIGNED = "a4", "x2"
SMALL = 1 << 30  # numbers from here on are heap objects on boards


def filled(values):
    queue = rows.RowQueue(3, 8)
    for value in values:
        at = queue.at_head()
        queue.cells[at + 2] = value
        queue.head += 1
    return queue


def tells(watched, queue):
    """What this look tells, whatever was told before."""
    watched.told = None
    watched.look(queue)
    return watched.told


def test_what_was_told_stays_and_a_reference_comes_first():
    watched = expected.Expected([(1, 100, 110)])
    watched.told = "wires_apart"
    watched.look(filled([99]))
    assert watched.told == "wires_apart"
    watched.look(filled([99]))
    watched.look(filled([105]))
    assert watched.told == "reference_off"


def test_out_of_range_at_two_looks_is_told_and_once_is_not():
    watched = expected.Expected([(2, 100, 110)])
    assert not tells(watched, filled([50, 105]))
    assert not tells(watched, filled([105, 111]))
    assert not tells(watched, filled([100]))
    assert not tells(watched, filled([99]))
    assert tells(watched, filled([99])) == "reference_off"
    assert tells(watched, filled([300])) == "reference_off"
    assert not tells(watched, filled([110]))


def test_nothing_expected_is_never_off():
    watched = expected.Expected([])
    assert not tells(watched, filled([5])) and not tells(watched, filled([5]))


def planned(place, lambda_changes=None):
    """The plan of a car whose lambda_1 has a second input on its signal wire."""
    channels = [
        dict(one, **(lambda_changes or {}) if one["kind"] == "lambda" else {}) for one in car.CONFIG["channels"]
    ]
    changes = {"channels": channels + [dict(WIRE, input=place)], "converters": {"x": "mcp3304"}}
    return car.Car(changes, glass=False).plan


class Wired:
    """A row queue of a plan, filled from the volts of lambda_1 and of its wire against the logger's own ground."""

    def __init__(self, plan):
        self.columns = {one["n"]: (n + 1, one) for n, one in enumerate(plan.table)}
        self.queue = rows.RowQueue(len(plan.table), 8)
        self.watched = expected.Expected(plan.expected, plan.pairs)

    def put(self, lambda_v, wire_v):
        at = self.queue.at_head()
        for name, volts in (("lambda_1", lambda_v), ("lambda_1_wire", wire_v)):
            place, column = self.columns[name]
            self.queue.cells[at + place] = int((volts - column["o"]) / column["s"] + 0.5)
        self.queue.head += 1

    def looked(self, lambda_v, wire_v):
        """What two looks tell."""
        self.put(2.0, 2.0)
        tells(self.watched, self.queue)
        self.put(lambda_v, wire_v)
        first = tells(self.watched, self.queue)
        self.put(lambda_v, wire_v)
        assert first is None
        return tells(self.watched, self.queue)


def told_from_a_quarter_of_a_volt_on(place):
    one = Wired(planned(place))
    for lambda_v in (0.5, 1.7, 3.0, 4.3):
        for apart_v in (0.24, 0.1, 0.0, -0.1, -0.34):
            assert one.looked(lambda_v, lambda_v + apart_v) is None, (lambda_v, apart_v)
        for apart_v in (0.26, -0.36, 0.62, -0.45):
            assert one.looked(lambda_v, lambda_v + apart_v) == "wires_apart", (lambda_v, apart_v)


def test_a_wire_that_two_inputs_tell_differently_is_told():
    told_from_a_quarter_of_a_volt_on(BOARD)


def test_so_it_is_by_a_converter_whose_middle_count_is_0_v():
    told_from_a_quarter_of_a_volt_on(SIGNED)


def test_a_broken_core_is_told_and_one_on_ground_too():
    one = Wired(planned(BOARD))
    assert one.looked(0.627 * 1.5, 1.5) == "wires_apart"
    assert one.looked(1.25 * 1.5, 1.5) == "wires_apart"
    assert one.looked(1.25 * 1.3, 1.3) is None  # too lean, and the PC tells it by how it grows


def test_what_is_no_measurement_is_not_compared():
    """By hand: lambda's rails are 0.5 % of its range, the wire's limits 1 % of its own beyond 0 and 5.5 V."""
    one = Wired(planned(BOARD, {"volts": [0.5, 4.5]}))
    for lambda_v, wire_v in ((0.51, 1.4), (4.49, 3.2), (0.2, 1.0), (4.8, 4.0), (4.4, 5.6)):
        assert one.looked(lambda_v, wire_v) is None, (lambda_v, wire_v)
    assert one.looked(0.54, 1.4) == "wires_apart"
    assert one.looked(4.46, 3.2) == "wires_apart"
    assert one.looked(4.4, 5.5) == "wires_apart"


def test_a_calibration_counts_also_one_that_falls():
    """1.5 V are 1750 counts."""
    one = Wired(planned(BOARD, {"calibration": {"counts": [0, 2000], "volts": [5, 1]}}))
    assert one.looked(1.5, 1.8) == "wires_apart" and one.looked(1.5, 1.7) is None
    assert one.looked(4.9, 4.5) == "wires_apart" and one.looked(4.99, 4.5) is None


def test_a_reference_that_is_off_is_told_first():
    one = Wired(planned(BOARD))
    assert one.looked(1.0, 2.0) == "wires_apart"
    one.watched.ranges = [(one.columns["map"][0], 10, 20)]  # it has 0 counts
    assert tells(one.watched, one.queue) == "wires_apart"
    assert tells(one.watched, one.queue) == "reference_off"


def test_a_look_allocates_nothing_and_its_numbers_are_small():
    plan = planned(SIGNED)
    ((first, second, above, least, most),) = plan.pairs
    widest = 0
    for column, _, _, parts in (first, second):
        widest += abs(parts) << plan.table[column - 1]["b"]
    assert widest + abs(above) < SMALL and -SMALL < least < 0 < most < SMALL
    one = Wired(plan)
    one.put(1.0, 2.0)
    tells(one.watched, one.queue)
    micropython.heap_lock()
    try:
        one.watched.look(one.queue)
        told = one.watched.told
    except MemoryError:
        told = "no room"
    micropython.heap_unlock()
    assert told == "wires_apart"


def test_without_such_a_channel_nothing_is_compared():
    assert car.Car({}, glass=False).plan.pairs == []
