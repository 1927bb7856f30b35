"""A PIO program run cycle by cycle against edges at exact cycles; long waits, which repeat every two cycles, are jumped
over."""

from collections import deque
from dataclasses import replace

import pioemu
from assembler import Program
from pioemu import State

SETTLE = 24  # cycles after an edge that are run one by one
TURN = 2


def run(program: Program, changes: list[tuple[int, int]], end: int, level: int) -> list[int]:
    """Words that the program pushes. changes: (cycle, level) in order; level: at the start; end: last cycle."""
    now = [level]

    def pins(clock: int) -> int:
        return now[0]

    state = State(x_register=0xFFFFFFFF)
    words: list[int] = []
    for (begin, value), until in zip([(0, level), *changes], [*(cycle for cycle, _ in changes), end]):
        now[0] = value
        assert state.clock == begin
        while state.clock < until:
            state = _steps(program, pins, state, min(until, state.clock + SETTLE))
            words += state.receive_fifo
            state = replace(state, receive_fifo=deque())
            if until - state.clock > 4 * TURN:
                after = _steps(program, pins, state, state.clock + TURN)
                assert after == replace(state, clock=state.clock + TURN, x_register=(state.x_register - 1) % (1 << 32))
                turns = (until - state.clock) // TURN - 1
                x = (state.x_register - turns) % (1 << 32)
                state = replace(state, clock=state.clock + turns * TURN, x_register=x)
    return words


def _steps(program: Program, pins, state: State, until: int) -> State:
    stepper = pioemu.emulate(
        program.words,
        stop_when=lambda _opcode, now: now.clock >= until,
        initial_state=state,
        input_source=pins,
        jmp_pin=0,
        wrap_target=program.wrap_target,
        wrap_top=program.wrap,
    )
    for _before, after in stepper:
        state = after
    return state
