"""What can go wrong on the device: name -> number, sentence, likely cause, next step.

The lamp blinks the number (tens long, ones short) and the ring file stores it. A number is never given a new meaning.
"""

LAST_OF_CONFIG = 19  # numbers up to here concern logger.json and arise at the start; the others may arise at any time

OF_SELFTEST = 51  # from here on: of the self-test alone, never while recording

FAULTS = {
    "no_config": (
        11,
        "There is no logger.json on the card or the board",
        "the card was made without it, or the file has another name",
        "put logger.json beside drive.rpl; until then every input is logged raw",
    ),
    "bad_config": (
        12,
        "logger.json can't be used",
        "a key, a number or a bracket in it is wrong",
        "check it on the PC, correct it and start again; until then every input is logged raw",
    ),
    "card_missing": (
        21,
        "There is no card",
        "it is not pushed in to the stop, or a wire of its socket is loose",
        "push it in; memory keeps the newest rows until then",
    ),
    "card_full": (
        22,
        "The card has no room for the ring files",
        "other files fill it",
        "move them to a PC and start again",
    ),
    "card_readonly": (
        23,
        "The card can't be written",
        "its lock slide is down, or it has worn out and protects itself",
        "move the slide up, or use another card",
    ),
    "card_dead": (
        24,
        "The card stopped answering",
        "a loose contact, a supply dip or a worn card",
        "push it in again and look at its supply; use another card if it comes back",
    ),
    "storage_foreign": (
        25,
        "A ring file on the card is not in this logger's format",
        "the file is damaged, or comes from a newer version",
        "copy it to a PC, then make new ring files",
    ),
    "ring_new": (
        26,
        "A new ring was begun, because nothing in the card's old one could be used",
        "the file was damaged, or a newer version wrote it",
        "before recording on, look for the earlier drives on a PC: a newer version's file is kept under another name",
    ),
    "pull_not_copied": (
        27,
        "A marked pull could not be copied into pulls.rpl",
        "the card can't write that part of the file: it is worn",
        "copy the card to a PC, where drive.rpl still has that pull; then use another card",
    ),
    "card_format": (
        28,
        "The card is not formatted as FAT32",
        "cards of 64 GB and more are sold as exFAT, which the logger can't write",
        "copy its files, format it as FAT32 on a PC, then make the ring files again",
    ),
    "rows_lost": (
        31,
        "Rows were lost",
        "the card took longer to write than the queue can hold, or the rate is too high for this board",
        "use another card, a lower rate_hz or fewer channels; the gap is marked in the file",
    ),
    "converter_silent": (
        44,
        "A converter does not answer, or not as it should",
        "a wire of it is loose, it has no supply, or it is not the part that logger.json names",
        "look at its wires and at converters in logger.json; until then its channels are invalid",
    ),
    "input_missing": (
        45,
        "logger.json names an input that this board does not have",
        "it was written for another board, or the wiring table lacks a line",
        "use an input of this board's wiring table; until then the channel reads 0",
    ),
    "reference_off": (
        46,
        "A channel that measures a known value reads outside its limits",
        "the converter's reference has moved, the supply is too low, or that channel's wire is loose",
        "measure that voltage; until it reads as expected, every analog channel is in doubt",
    ),
    "button_stuck": (
        47,
        "The button stays pressed",
        "its wire touches ground, or it jams",
        "free it; until then no pull can be marked",
    ),
    "wires_apart": (
        48,
        "A lambda controller's signal reads differently against the logger's own ground",
        "its ground core is broken or touches ground, the logger's own ground wire is bad, or block W0 is not built",
        "do not trust lambda, it may read too rich; mend that core, then compare with the controller's own display",
    ),
    "test_card": (
        51,
        "Self-test: the card is too slow, or does not give back what was written",
        "it is worn, or no genuine one; or a wire of its socket is loose",
        "use another card; ringpull selftest shows its write times, ringpull prepare --check tests it on the PC",
    ),
    "test_converter": (
        52,
        "Self-test: an input stands still, has a bit that never changes, or is noisy",
        "its wire is loose, its supply is noisy, or the converter is hurt; or the engine was running",
        "ringpull selftest names the input; repeat it with the engine off",
    ),
    "test_memory": (
        53,
        "Self-test: too little memory is free in one piece",
        "logger.json asks for more channels than this board can hold",
        "fewer channels or a lower rate_hz, or a board with more memory",
    ),
    "test_supply": (
        54,
        "Self-test: the car's supply is out of its range",
        "the car's battery is low, the alternator charges too high, or that channel's divider is wrong",
        "measure it with a multimeter at the logger's terminal",
    ),
}


def fault(number):
    """(name, sentence, likely cause, next step) of a fault number; a number from newer firmware is named as unknown."""
    for name in FAULTS:
        if FAULTS[name][0] == number:
            return (name,) + FAULTS[name][1:]
    return (
        "unknown",
        "Fault number %d is not known here" % number,
        "the device's firmware is newer than this program",
        "update this program",
    )
