"""The self-test without a PC: the button pressed at power-on and let go. The lamp tells; then it records."""

import memory
from cable import bench, means, proof
from panel import lamp
from shared_math import channels, layout, proving, ticks
from shared_math.compat import const

GOOD = (250, b"\1\1\1\1\0\0" * 3 + b"\0\0\0\0\0\0")
_GOOD_US = const(6000000)
_BAD_US = const(20000000)
# Faults of shared_math/faults.py
_CARD = const(51)
_CONVERTER = const(52)
_MEMORY = const(53)
_SUPPLY = const(54)


def run(logger):
    """All tests that need nobody's hands; shows the result and begins again as after power-on."""
    board = logger.board
    board.light.pattern = bench.LAMP
    memory.forget_opening()
    logger.give_back()
    number = failed(logger)
    show(board, logger.button, number)
    logger.released()
    board.reset()


def failed(logger):
    """Number of the fault that the first failed test means, or 0."""
    told = proof.card(logger.board, proving.WRITES)
    if told is not None and proving.writes(told) == proving.BAD:
        return _CARD
    if proving.memory(proof.memory()) == proving.BAD:
        return _MEMORY
    config = logger.plan.config
    supply = channels.supply_of(config)
    for column in logger.plan.table:
        if column["r"] == "adc":
            told = means.Rows(logger, column["n"]).take(config["rate_hz"] + 2)
            if proving.converter(told, column["b"]) == proving.BAD:
                return _CONVERTER
            if supply and supply["name"] == column["n"]:
                volts = column["o"] + column["s"] * (told["base"] + told["sum"] / told["rows"])
                if proving.supply(volts) == proving.BAD:
                    return _SUPPLY
    return 0


def show(board, button, number):
    """The result on the lamp, for a while or until a press."""
    board.light.pattern = lamp.pattern_of(layout.LAMP_FAULT + number) if number else GOOD
    us = _BAD_US if number else _GOOD_US
    began = board.ticks_us()
    while board.powered() and (board.ticks_us() - began) & ticks.MASK < us and not button.level():
        board.feed()
        board.idle()
