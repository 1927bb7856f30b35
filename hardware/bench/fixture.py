"""Loop-back test on the logger's own board: a known frequency into the tach input, known volts into analog input a0.

Wire it as hardware/README.md says, then, with the firmware on the board: `mpremote run hardware/bench/fixture.py`.
Volts come from a pulse-width output and a filter, so they follow the board's own 3.3 V, and so does the converter: this
proves divider, clamps, filter and wiring. The 3.3 V itself is proved with the multimeter.
"""

import sys
import time

import machine

from acquire.tach import Tach
from boards import pin_table
from shared_math import channels, speed, ticks

OUTPUTS = {"rp2": {"tach": 2, "volts": 3}, "esp32": {"tach": 13, "volts": 14}}
FILTER_OHM = 1000  # from the volts output to the free end of A0-R1, with 10 uF to ground
INPUT_OHM = 26800  # R1, R2 and R3 of block A0
BOARD_V = 3.3
PER_REV = 2
TACH_HZ = (7, 33, 200, 400)  # 200, 1000, 6000, 12000 rpm with two edges a revolution
SHARES = (0.15, 0.30, 0.50, 0.80, 0.95)
WRONG_V = 0.040  # more than tolerance, converter and filter together explain
COUNT_S = 3


def terminal_volts(share):
    """What stands at A0-R1: the share of 3.3 V, divided by the filter's resistor and the input's own."""
    return BOARD_V * share * INPUT_OHM / (INPUT_OHM + FILTER_OHM)


def volts_test(pins, output):
    """Print a line per step; returns the number that are wrong."""
    top, bottom = channels.DIVIDER_5V
    out = machine.PWM(machine.Pin(output))
    out.freq(20000)
    converter = machine.ADC(machine.Pin(pins["analog"]["a0"]))
    if hasattr(converter, "atten"):
        converter.atten(machine.ADC.ATTN_11DB)  # ESP32: the whole range
    wrong = 0
    for share in SHARES:
        out.duty_u16(int(share * 65535))
        time.sleep_ms(200)
        total = 0
        for _ in range(64):
            total += converter.read_u16()
            time.sleep_ms(1)
        read = total / 64 / 65536 * BOARD_V * (top + bottom) / bottom
        good = abs(read - terminal_volts(share)) < WRONG_V
        wrong += not good
        print("A0-R1 should be at %.3f V, reads %.3f V: %s" % (terminal_volts(share), read, "good" if good else "BAD"))
    out.deinit()
    return wrong


def tach_test(pins, output):
    """Print a line per frequency; returns the number that are wrong."""
    wrong = 0
    for hertz in TACH_HZ:
        tach = Tach(speed.glitch_limit_us({"kind": "pulses", "per_rev": PER_REV, "max_rpm": 12500}))
        pin = machine.Pin(pins["pulse"]["p0"], machine.Pin.IN)
        pin.irq(lambda _pin, t=tach: t.edge(time.ticks_us() & ticks.MASK), machine.Pin.IRQ_RISING)
        out = machine.PWM(machine.Pin(output))
        out.freq(hertz)
        out.duty_u16(32768)
        time.sleep_ms(500)
        before = tach.count
        time.sleep_ms(COUNT_S * 1000)
        edges = tach.count - before
        out.deinit()
        pin.irq(None)
        good = abs(edges - hertz * COUNT_S) <= 1 and tach.rejected <= 1
        wrong += not good
        line = "%d rpm should give %d edges, gave %d, refused %d: %s"
        print(line % (60 * hertz // PER_REV, hertz * COUNT_S, edges, tach.rejected, "good" if good else "BAD"))
    return wrong


def main():
    """All of it; the last line says whether anything is wrong."""
    pins = pin_table.for_port(sys.platform)
    outputs = OUTPUTS["esp32" if sys.platform == "esp32" else "rp2"]
    wrong = volts_test(pins, outputs["volts"]) + tach_test(pins, outputs["tach"])
    print("all good" if not wrong else "%d BAD: see the table of readings in hardware/README.md" % wrong)


main()
