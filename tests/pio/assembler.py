"""The few words of MicroPython's PIO assembler that the firmware's programs use, so that they can be read on a PC.

Encodings: RP2040 data sheet, 3.4. That MicroPython's own assembler gives the same words is checked in
test_pio_edges.py.
"""

from __future__ import annotations

import sys
import types
from dataclasses import dataclass, field
from pathlib import Path

JMP = {None: 0, "not_x": 1, "x_dec": 2, "not_y": 3, "y_dec": 4, "x_not_y": 5, "pin": 6, "not_osre": 7}
SOURCES = {"x": 1, "y": 2, "null": 3}
DESTINATIONS = {"x": 1, "y": 2, "isr": 6}


@dataclass
class Program:
    """words: opcodes, jumps counted from the program's first word. wrap_target, wrap: first and last word of its
    loop."""

    words: list[int] = field(default_factory=list)
    wrap_target: int = 0
    wrap: int = 0


def assemble(function) -> Program:
    """Run a program's function twice: to find its labels, then to make its words."""
    labels: dict[str, int] = {}
    program = Program()
    words = program.words

    def jmp(condition, label=None):
        if label is None:
            condition, label = None, condition
        words.append(JMP[condition] << 5 | labels.get(label, 0))

    def mark(name):
        labels[name] = len(words)

    def wrap_target():
        program.wrap_target = len(words)

    def wrap():
        program.wrap = len(words) - 1

    names = {
        "jmp": jmp,
        "label": mark,
        "wrap_target": wrap_target,
        "wrap": wrap,
        "mov": lambda to, source: words.append(0xA000 | DESTINATIONS[to] << 5 | source),
        "push": lambda _block: words.append(0x8000),
        "invert": lambda source: 1 << 3 | SOURCES[source],
        "noblock": 0,
        **{name: name for name in (*SOURCES, *DESTINATIONS, "x_dec", "pin")},
    }
    for _ in range(2):
        words.clear()
        types.FunctionType(function.__code__, names)()
    return program


def load(path: Path) -> dict[str, object]:
    """Names of a driver's module, its programs assembled, without a board's modules."""
    pio = types.SimpleNamespace(JOIN_RX=2)
    fakes = {
        "rp2": types.SimpleNamespace(asm_pio=lambda **_options: assemble, PIO=pio),
        "machine": types.ModuleType("machine"),
    }
    before = {name: sys.modules.get(name) for name in fakes}
    sys.modules.update(fakes)  # type: ignore[arg-type]
    try:
        space: dict[str, object] = {"__name__": path.stem}
        exec(compile(path.read_text(), str(path), "exec"), space)
        return space
    finally:
        for name, module in before.items():
            if module is None:
                del sys.modules[name]
            else:
                sys.modules[name] = module
