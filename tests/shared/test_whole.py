"""Whole-number values agree with the floating definitions they were made from, and allocate nothing."""

from shared_math import channels, target, transfer, whole_numbers_build

try:
    from micropython import heap_lock, heap_unlock
except ImportError:

    def heap_lock():
        """A PC has no heap to lock."""

    heap_unlock = heap_lock

LAMBDA = {
    "kind": "lambda",
    "volts": [0.5, 4.5],
    "values": [0.6, 1.4],
    "states": [{"name": "warm-up", "volts": [0.0, 0.2]}, {"name": "fault", "volts": [4.8, 5.0]}],
}
FALLING = {"kind": "lambda", "volts": [0.0, 5.0], "values": [21.6, 8.4], "scale": "afr", "stoich": 14.7}
BENT = {"kind": "table", "unit": "kPa", "volts": [0.5, 1.7, 3.1, 4.5], "values": [10, 80, 120, 300]}
MAP = {"kind": "linear", "unit": "kPa", "volts": [0.5, 4.5], "values": [20, 300]}


def column(channel, bits):
    slope, zero = channels.volts_line(channel, bits, 3.3)
    return {"b": bits, "s": slope, "o": zero}


def test_readings_are_what_the_transfer_tells():
    for channel, scale in ((LAMBDA, 1000), (FALLING, 1000), (BENT, 10), (MAP, 10)):
        for bits in (10, 12, 16):
            made = column(channel, bits)
            reading = whole_numbers_build.reading(channel, made, scale)
            unlike = 0
            for count in range(0, 1 << bits, 1 if bits < 16 else 37):
                volts = transfer.counts_to_volts(count, made["s"], made["o"])
                true = transfer.to_value(channel, volts)
                got = reading.value(count)
                if (true is None) != (got is None):
                    unlike += 1
                elif true is not None:
                    assert abs(got - true * scale) <= 1.01, (channel, bits, count, got, true)
            assert unlike <= 2  # a count right on an end may fall to either side


def test_states_have_their_names():
    reading = whole_numbers_build.reading(LAMBDA, column(LAMBDA, 12), 1000)
    made = column(LAMBDA, 12)
    for volts, name in ((0.1, "warm-up"), (4.9, "fault"), (2.5, None)):
        count = int((volts - made["o"]) / made["s"])
        at = reading.state(count)
        assert (reading.names[at] if at >= 0 else None) == name == transfer.state_of(LAMBDA, volts)


def test_rails_are_told_by_the_value_not_the_volts():
    for channel in (LAMBDA, FALLING):
        made = column(channel, 12)
        reading = whole_numbers_build.reading(channel, made, 1000)
        for count in range(0, 4096, 3):
            volts = transfer.counts_to_volts(count, made["s"], made["o"])
            if reading.value(count) is None:
                continue
            end = transfer.at_rail(channel, volts)
            assert reading.rail(count) == (-end if channel is FALLING else end), (count, volts)


def test_targets_are_what_the_shared_target_tells():
    plain = {"load": "map", "load_kpa": [40, 100, 200], "lambda": [1.0, 0.88, 0.79]}
    table = {"load": "t", "load_pct": [0, 50, 100], "rpm": [1000, 4000], "lambda": [[1, 0.9, 0.8], [0.98, 0.85, 0.77]]}
    for entry in (plain, table, {"lambda": 0.85}):
        made = whole_numbers_build.wanted(entry)
        for load in range(0, 2500, 53):
            for rpm in range(0, 8000, 611):
                true = target.lambda_target(entry, load / 10, rpm)
                assert abs(made.at(load, rpm) - 1000 * true) <= 1.5, (entry, load, rpm)
    assert whole_numbers_build.wanted(plain).at(None, 3000) is None
    assert whole_numbers_build.wanted({"lambda": 0.85}).at(None, 3000) == 850


def test_the_target_that_holds():
    first = {"when": {"channel": "boosted", "is": 1}, "lambda": 0.8}
    last = {"lambda": 0.9}
    assert target.holding([first, last], {"boosted": 1}) is first
    assert target.holding([first, last], {"boosted": 0}) is last
    assert target.holding([first], {}) is None
    assert target.holding(last) is last and target.holding(None) is None


def test_nothing_is_allocated():
    reading = whole_numbers_build.reading(LAMBDA, column(LAMBDA, 12), 1000)
    wanted = whole_numbers_build.wanted(
        {"load": "m", "load_kpa": [40, 200], "rpm": [1000, 7000], "lambda": [[1, 0.8], [1, 0.7]]}
    )
    heap_lock()
    try:
        for count in range(0, 4096, 16):
            reading.value(count)
            reading.rail(count)
            wanted.at(count, count + 500)
    finally:
        heap_unlock()


def test_no_product_leaves_the_small_integers():
    for bits in (12, 16, 24):
        reading = whole_numbers_build.reading(LAMBDA, column(LAMBDA, bits), 1000)
        xs, ys = reading.line.xs, reading.line.ys
        for at in range(1, len(xs)):
            assert (xs[at] - xs[at - 1]) * abs(ys[at] - ys[at - 1]) < 1 << 30
