"""Limits of the self-test: what is good, what is not, and what says nothing."""

from shared_math import proving


def mean(values):
    """As the logger tells of these readings."""
    off = [value - values[0] for value in values]
    ones, always = 0, values[0]
    for value in values:
        ones |= value
        always &= value
    told = {"rows": len(values), "base": values[0], "sum": sum(off), "squares": sum([one * one for one in off])}
    told.update({"least": min(values), "most": max(values), "ones": ones, "always": always})
    return told


def ramp(low, high, count=400):
    return [low + n * 7919 % (high - low + 1) for n in range(count)]


def test_the_standard_deviation_of_readings():
    told = mean([1000, 1002, 1004, 1006])
    assert abs(proving.sigma(told) - (20 / 3) ** 0.5) < 1e-3
    assert proving.sigma(mean([7, 7, 7])) == 0


def test_a_quiet_input_is_good():
    assert proving.converter(mean(ramp(2040, 2052)), 12) == proving.GOOD


def test_a_noisy_or_standing_input_is_not():
    assert proving.converter(mean(ramp(2000, 2060)), 12) == proving.BAD
    assert proving.converter(mean([2047] * 400), 12) == proving.BAD


def test_an_input_at_an_end_says_nothing():
    assert proving.converter(mean(ramp(0, 4)), 12) == proving.ABSENT
    assert proving.converter(mean(ramp(4090, 4095)), 12) == proving.ABSENT


def test_a_stuck_bit_is_found_whichever_way_it_is_stuck():
    good = ramp(2040, 2056)
    assert proving.stuck_bit(mean(good), 12) == -1
    for bit in range(2):
        assert proving.stuck_bit(mean([value | 1 << bit for value in good]), 12) == bit
        assert proving.stuck_bit(mean([value & ~(1 << bit) for value in good]), 12) == bit
        assert proving.converter(mean([value | 1 << bit for value in good]), 12) == proving.BAD


def test_a_high_bit_that_no_reading_reached_is_not_called_stuck():
    assert proving.stuck_bit(mean(ramp(2049, 2057)), 12) == -1


def test_the_card():
    told = {"wrong": 0, "failed": 0, "worst_us": 499999}
    assert proving.writes(told) == proving.GOOD
    for change in ({"wrong": 1}, {"failed": 5}, {"worst_us": 500001}):
        worse = dict(told)
        worse.update(change)
        assert proving.writes(worse) == proving.BAD


def test_the_supply():
    assert proving.supply(0.2) == proving.ABSENT
    assert proving.supply(8.9) == proving.BAD
    assert proving.supply(12.6) == proving.GOOD
    assert proving.supply(16.0) == proving.BAD


def test_memory():
    assert proving.memory({"largest": proving.LEAST_FREE}) == proving.GOOD
    assert proving.memory({"largest": proving.LEAST_FREE - 1}) == proving.BAD
