"""PIO programs that stamp edges, one for each polarity, and the state machine that runs one of them.

A counter falls once every two clock cycles for as long as the program runs; at each edge its inverse, the number of
steps so far, goes to the FIFO. An edge itself costs four cycles in which the counter stands, so edge n (from 0) with
the word w happened 2 w + 4 n cycles after the start: exact to two cycles, however far apart edges are. The pin may be
at either level at the start without an edge being seen.
"""

import machine
import rp2

EDGE_CYCLES = 4

_PIO0 = 0x50200000  # RP2040 data sheet, 3.7, RP2350 alike: FIFOs at 0x20 (receive), atomic set of CTRL at 0x2000
_RECEIVE = 0x20
_SET = 0x2000
_DREQ_RX = 4  # data sheet, table 120: PIO0 RX0; one more for each state machine


@rp2.asm_pio(fifo_join=rp2.PIO.JOIN_RX)
def rising():
    label("high")
    jmp(x_dec, "still_high")
    label("still_high")
    jmp(pin, "high")
    wrap_target()
    label("low")
    jmp(pin, "edge")
    jmp(x_dec, "low")
    wrap()
    label("edge")
    mov(isr, invert(x))
    push(noblock)
    jmp("high")


@rp2.asm_pio(fifo_join=rp2.PIO.JOIN_RX)
def falling():
    wrap_target()
    label("low")
    jmp(pin, "high")
    jmp(x_dec, "low")
    wrap()
    label("high")
    jmp(x_dec, "still_high")
    label("still_high")
    jmp(pin, "high")
    mov(isr, invert(x))
    push(noblock)
    jmp("low")


class Stamper:
    """State machine `number` (0 to 3, of PIO 0) on `pin`. polarity: "rising" or "falling"."""

    def __init__(self, number, pin, polarity):
        self.fifo = _PIO0 + _RECEIVE + 4 * number
        self.dreq = _DREQ_RX + number
        self.control = _PIO0 + _SET
        self.bit = 1 << number
        self.machine = rp2.StateMachine(number, falling if polarity == "falling" else rising, jmp_pin=pin)
        self.machine.exec("mov(x, invert(null))")

    def start(self, go, timer):
        """Run from now on. go: viper_edges.go. timer: address of the running microseconds. Returns the microsecond tick
        of the start."""
        state = machine.disable_irq()
        tick = go(self.control, self.bit, timer)
        machine.enable_irq(state)
        return tick
