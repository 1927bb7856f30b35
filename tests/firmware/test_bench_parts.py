"""What the bench asks of board and flash: outputs for the loop-back wire, a configuration replaced whole. Runs under
MicroPython."""

import os

import fake_board

fake_board.install()

from boards import config_file, esp32, generic, pin_table  # noqa: E402


def bare(kind, pins, **config):
    """A board without its card, configured."""

    class Bare(kind):
        def _try_mount(self):
            return True

    pin_table.for_port = lambda _platform: pins
    board = Bare()
    given = {"channels": [{"name": "boost", "input": "a0"}]}
    given.update(config)
    board.configure(given)
    return board


def test_the_outputs():
    board = bare(generic.GenericBoard, pin_table.RP2)
    assert board.output("hz", 200)
    assert fake_board.PWM.made[2].told == [("hz", 200), ("share", 32768)]
    assert board.output("mv", 1650)
    assert fake_board.PWM.made[3].told[1] == ("share", 32768)
    assert board.output("mv", 0) and fake_board.PWM.made[3].told == [("off",)]
    assert not board.output("light", 1)


def test_an_output_that_a_converter_uses_is_not_driven():
    assert bare(esp32.Esp32Board, pin_table.ESP32).output("hz", 200)
    given = {"channels": [{"name": "boost", "input": "x0"}], "converters": {"x": "mcp3208"}}
    board = bare(esp32.Esp32Board, pin_table.ESP32, **given)
    assert not board.output("hz", 200) and not board.output("mv", 200)


def test_a_configuration_is_replaced_whole():
    os.mkdir("card")
    assert config_file.text_of("card") is None
    config_file.replace("card", b"first")
    config_file.replace("card", b"second")
    assert config_file.text_of("card") == b"second" and os.listdir("card") == ["logger.json"]


def test_power_that_goes_meanwhile_leaves_the_old_or_the_new():
    """While the new one is written; and once it is, between its old name and the one it takes."""
    os.mkdir("card")
    config_file.replace("card", b"old")
    with open("card/logger.new", "wb") as f:
        f.write(b"ne")
    assert config_file.text_of("card") == b"old"
    with open("card/logger.new", "wb") as f:
        f.write(b"new")
    os.remove("card/logger.json")
    assert config_file.text_of("card") == b"new"
    config_file.replace("card", b"newer")
    assert config_file.text_of("card") == b"newer" and os.listdir("card") == ["logger.json"]
