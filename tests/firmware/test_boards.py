"""The boards' own lines on a `machine` that only remembers: inputs, converters, what is missing. Runs under
MicroPython."""

import fake_board

fake_board.install()

from boards import esp32, generic, pin_table  # noqa: E402
from drivers import sdhost  # noqa: E402
from shared_math import boards as board_facts  # noqa: E402
from shared_math import channels, config  # noqa: E402


def bare(kind, pins):
    """A board without its card."""

    class Bare(kind):
        def _try_mount(self):
            return True

    pin_table.for_port = lambda _platform: pins
    return Bare()


def linear(name, place):
    return {"name": name, "input": place, "kind": "linear", "volts": [0, 5], "values": [0, 5]}


def configured(board, *listed, **more):
    given = {"version": 1, "channels": list(listed)}
    given.update(more)
    assert config.check(given) == []
    given = config.defaults(given)
    board.configure(given)
    return given


def test_esp32_stores_microvolts():
    board = bare(esp32.Esp32Board, pin_table.ESP32)
    given = configured(board, linear("boost", "a0"))
    column = channels.columns(given, board.converter)[0]
    fake_board.ADC.uv[36] = 1234567
    counts = board.reader(given["channels"][0])()
    assert counts == 1234567 >> 6 and column["b"] == 16
    top, bottom = channels.DIVIDER_5V
    volts = counts * column["s"] + column["o"]
    assert abs(volts - 1.234567 * (top + bottom) / bottom) < 1e-4
    fake_board.ADC.uv[36] = 3300000  # more than the converter ever tells
    assert board.reader(given["channels"][0])() < 1 << 16


def test_esp32_tells_what_its_converter_may_be_off_by():
    board = bare(esp32.Esp32Board, pin_table.ESP32)
    given = configured(board, linear("boost", "a0"))
    top, bottom = channels.DIVIDER_5V
    assert abs(channels.columns(given, board.converter)[0]["e"] - 0.060 * (top + bottom) / bottom) < 1e-6
    given["channels"][0]["calibration"] = {"counts": [10000, 30000], "volts": [1.0, 4.0]}
    slope = 3.0 / 20000
    span_v = (1 << 22) / 1e6
    assert abs(channels.columns(given, board.converter)[0]["e"] - 0.010 * slope * (1 << 16) / span_v) < 1e-6


def test_a_reference_that_the_configuration_tells():
    board = bare(generic.GenericBoard, pin_table.RP2)
    configured(board, linear("boost", "a1"), linear("coolant", "x1"), converters={"x": "mcp3208"}, reference_v=3.0)
    assert board.converter("a1") == (12, 3.0, 0) and board.converter("x1")[:2] == (12, 3.0)
    configured(board, linear("boost", "a1"))
    assert board.converter("a1") == (12, 3.3, 0)


def test_generic_board_reads_twelve_bits():
    board = bare(generic.GenericBoard, pin_table.ESP32)
    given = configured(board, linear("boost", "a1"))
    fake_board.ADC.u16[39] = 0xABCD
    assert board.reader(given["channels"][0])() == 0xABC
    assert board.converter("a1") == (12, 3.3, 0)


def test_inputs_a_board_does_not_have_are_a_fault_and_read_nothing():
    for listed in (
        [linear("boost", "a7")],
        [{"name": "wheel", "input": "p9", "kind": "pulses", "per_metre": 4}],
        [{"name": "valet", "input": "d5", "kind": "digital"}],
    ):
        board = bare(generic.GenericBoard, pin_table.RP2)
        given = configured(board, *listed)
        channel = given["channels"][0]
        assert board.trouble is None
        if channel["kind"] == "pulses":
            assert board.tach(channel, 100).count == 0
        elif channel["kind"] == "digital":
            assert board.level(channel)() == 0
        else:
            assert board.reader(channel)() == 0
        assert board.trouble == "input_missing"


def test_every_input_of_the_raw_default_can_be_asked_for():
    for pins in (pin_table.RP2, pin_table.ESP32):
        board = bare(generic.GenericBoard, pins)
        given = config.defaults(config.DEFAULT)
        board.configure(given)
        table = channels.columns(given, board.converter)
        for channel in given["channels"]:
            if channel["kind"] == "frequency":
                board.tach(channel, 100)
            else:
                fake_board.ADC.u16[pins["analog"].get(channel["input"])] = 16
                assert board.reader(channel)() in (0, 1)
        assert len(table) > 10


def test_external_converters_are_read_where_the_wiring_table_puts_them():
    board = bare(generic.GenericBoard, pin_table.RP2)
    given = configured(board, linear("one", "x0-x1"), linear("two", "y3"), converters={"x": "mcp3304", "y": "mcp3208"})
    assert board.converter("x0-x1") == (13, 6.6, 0)
    assert board.converter("y3")[:2] == (12, 3.3) and board.converter("y3")[2] > 0  # read after the first
    one, two = [board.reader(channel) for channel in given["channels"]]
    fake_board.SPI.answers = {9: b"\xff\xc1\x23", 1: b"\xff\xe4\x56"}
    assert one() == 0x0123 + 4096 and two() == 0x456
    board.loop()
    assert board.trouble is None
    fake_board.SPI.answers = {1: b"\xff\xe4\x56"}
    assert one() == 8191 and two() == 0x456
    board.fitted.looked -= 10000000
    board.loop()
    assert board.trouble == "converter_silent"


def test_slow_converter_that_is_not_there_holds_nothing_and_is_told():
    board = bare(generic.GenericBoard, pin_table.RP2)
    given = configured(board, linear("oil", "x0-x1"), converters={"x": "ads1115"})
    table = channels.columns(given, board.converter)
    assert [column["n"] for column in table[:2]] == ["oil", "oil.held"] and table[0]["b"] == 16
    read, age = board.reader(given["channels"][0]), board.age(given["channels"][0])
    board.loop()
    assert read() == 32768 and age() == 4095
    board.fitted.looked -= 10000000
    board.loop()
    assert board.trouble == "converter_silent"


def test_esp32_timer_has_a_number_and_exact_microseconds():
    board = bare(esp32.Esp32Board, pin_table.ESP32)
    assert board.start_timer(3333, None) is None
    timer = fake_board.Timer.made
    assert timer.number == 0 and timer.options["period"] == 3333 and timer.options["tick_hz"] == 1000000


def test_esp32_card_on_its_sd_host():
    pins = dict(pin_table.ESP32)
    pins["sd_host"] = {"slot": 1, "width": 1}
    board = bare(esp32.Esp32Board, pins)
    card = board.open_card()
    assert card.wake() and isinstance(card, sdhost.HostCard) and card.ioctl(4, 0) == 8 and card.ioctl(5, 0) == 512
    block = bytearray([n & 0xFF for n in range(512)])
    card.writeblocks(3, block)
    got = bytearray(512)
    card.readblocks(3, got)
    assert got == block
    first = board.host
    assert board.open_card() is not card and first.where is None  # the socket is let go before it is taken again


def test_a_block_that_the_sd_host_did_not_write_is_an_error():
    fake_board.SDCard.fails = False
    card = sdhost.HostCard(fake_board.SDCard(1, 1))
    fake_board.SDCard.fails = True
    for act in (card.readblocks, card.writeblocks):
        try:
            act(1, bytearray(512))
        except OSError as error:
            assert error.errno == 5
        else:
            raise AssertionError("a failed block passed for written")
    fake_board.SDCard.fails = False
    card.retired = True
    try:
        card.writeblocks(1, bytearray(512))
    except OSError as error:
        assert error.errno == 19
    else:
        raise AssertionError("a retired card was written")


def test_no_card_in_the_sd_host_is_told():
    fake_board.SDCard.there = False
    try:
        sdhost.HostCard(fake_board.SDCard(1, 1)).wake()
    except OSError as error:
        assert error.errno == 19
    else:
        raise AssertionError("no card was taken for one")


class Clock:
    """Microseconds that pass when they are told to."""

    us = 0

    def ticks_us(self):
        return self.us


def test_pulse_width_hears_both_edges_and_knows_which_level_is_on():
    clock = Clock()
    real, generic.time = generic.time, clock
    try:
        _hears_both_edges(clock)
    finally:
        generic.time = real


def _hears_both_edges(clock):
    for polarity, on in (("low", 0), ("high", 1)):
        board = bare(generic.GenericBoard, pin_table.RP2)
        injector = {"name": "injector", "input": "p1", "kind": "pulse_width", "polarity": polarity}
        given = configured(board, injector)
        meter = board.pulse(given["channels"][0], 200)
        pin = fake_board.Pin.made[pin_table.RP2["pulse"]["p1"]]
        handler, trigger, _ = pin.handlers[-1]
        assert trigger == fake_board.Pin.IRQ_RISING | fake_board.Pin.IRQ_FALLING
        for level, us in ((on, 2000), (1 - on, 500), (on, 50), (1 - on, 0)):
            pin.level = level
            handler(pin)
            clock.us += us
        assert meter.count == 1 and meter.widths[1] == 2000 and not meter.on


def test_pulse_width_on_an_input_that_is_not_there_is_a_fault():
    board = bare(generic.GenericBoard, pin_table.RP2)
    given = configured(board, {"name": "injector", "input": "p9", "kind": "pulse_width"})
    assert board.pulse(given["channels"][0], 200).count == 0 and board.trouble == "input_missing"


def test_what_check_says_of_inputs_is_what_is_wired():
    for name, pins in (("rp2", pin_table.RP2), ("rp2350", pin_table.RP2), ("esp32", pin_table.ESP32)):
        listed = [one for group in ("analog", "pulse", "digital") for one in pins[group]]
        assert sorted(listed) == sorted(board_facts.INPUTS[name])
