"""Fault numbers and their sentences."""

from shared_math import faults

NEEDED = ("card_missing", "card_full", "card_readonly", "card_dead", "bad_config", "no_config", "rows_lost")


def test_numbers_are_single_and_can_be_blinked():
    numbers = [faults.FAULTS[name][0] for name in faults.FAULTS]
    assert len(set(numbers)) == len(numbers)
    for number in numbers:
        assert 11 <= number <= 99 and number % 10, number  # the lamp blinks tens, then ones


def test_sentences():
    for name in NEEDED + ("storage_foreign", "ring_new", "converter_silent"):
        number, sentence, cause, step = faults.FAULTS[name]
        assert faults.fault(number) == (name, sentence, cause, step)
        assert sentence and cause and step


def test_a_number_of_a_newer_firmware():
    name, sentence, _, step = faults.fault(98)
    assert name == "unknown" and "98" in sentence and "update" in step


def test_a_number_keeps_its_meaning():
    """The lamp blinks it and old ring files hold it."""
    assert {faults.FAULTS[name][0]: name for name in faults.FAULTS} == {
        11: "no_config",
        12: "bad_config",
        21: "card_missing",
        22: "card_full",
        23: "card_readonly",
        24: "card_dead",
        25: "storage_foreign",
        26: "ring_new",
        27: "pull_not_copied",
        28: "card_format",
        31: "rows_lost",
        44: "converter_silent",
        45: "input_missing",
        46: "reference_off",
        47: "button_stuck",
        48: "wires_apart",
        51: "test_card",
        52: "test_converter",
        53: "test_memory",
        54: "test_supply",
    }


def test_which_numbers_arise_when():
    """Tens of 1 at the start, of logger.json; of 5 in the self-test alone; the others at any time."""
    numbers = [entry[0] for entry in faults.FAULTS.values()]
    assert {number for number in numbers if number <= faults.LAST_OF_CONFIG} == {n for n in numbers if n // 10 == 1}
    assert {number for number in numbers if number >= faults.OF_SELFTEST} == {n for n in numbers if n // 10 == 5}
    assert (faults.LAST_OF_CONFIG, faults.OF_SELFTEST) == (19, 51)
