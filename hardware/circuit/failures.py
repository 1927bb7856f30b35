"""What each fault does to car, logger and reading: ngspice runs of the whole build in the whole car.

Every run begins sound; the fault comes at FAULT_S, with the engine turning at TURNING_FAULT_S. A fuse or fusible
resistor that would open is opened in a second run.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from hardware.circuit import car, faults, netlist, spice, spread, stress
from hardware.circuit.boards import Board
from hardware.circuit.bom import fitted
from hardware.circuit.builds import Build, Use
from hardware.circuit.faults import OPEN, STRAY_PF, TO_GROUND, Fault
from hardware.circuit.model import Part

FAULT_S, TURNING_FAULT_S = 0.05, 0.01
LEAN_S = 1.5  # from then on the mixture is lean
LAST_S = 2.0
_SETTLED_S = 0.2
FUSE_A = 1.35  # a blade fuse of 1 A opens above that, and
FUSE_A2S = 1.0  # at once above that (from memory of makers' curves: 3.5 A open it in a tenth of a second)
_AT_ONCE_S = 0.1
FUSIBLE_W = 8.0  # a fusible resistor of half a watt opens above that
_SWITCHES = [
    "vfault fault 0 pwl(0 0 {0:g} 0 {1:g} 1)",
    ".model makes SW(vt=0.5 ron=0.01 roff=1g)",
    ".model breaks SW(vt=-0.5 ron=0.001 roff=1g)",
    "vsound sound 0 pwl(0 0 {0:g} 0 {1:g} -1)",
]
_BOARD = [  # what the board's pins do, its loads, and what is wired to its pins
    "xboard vboard 3v3 BOARD",
    "rlit 3v3 lamp 40",
    "rcs 3v3 cs 40",
    "rsck sck 0 40",
    "rmosi mosi 0 40",
    "ra0 a0 0 10meg",
    "rbutton 3v3 button 50k",
]
_ON_LINE = "first=0.02 second=100meg"  # the jumper of the tach sources on pins 1 and 2
_DARK = {"rlit 3v3 lamp 40": "rlit 0 lamp 40", "rbuzzer 3v3 buzzer 40": "rbuzzer 0 buzzer 40"}
_IDLE = {  # what stands at further pins, where a build uses them: the firmware at rest, its pull-ups
    "buzzer": ["rbuzzer 3v3 buzzer 40"],
    "a1": ["ra1 a1 0 10meg"],
    "a2": ["ra2 a2 0 10meg"],
    "x_sck": ["rxsck x_sck 0 40", "rxmosi x_mosi 0 40", "rxmiso 3v3 x_miso 50k"],
    "x_cs": ["rxcs 3v3 x_cs 40"],
    "bus_cs": ["rbuscs 3v3 bus_cs 40", "rbusint 3v3 bus_int 50k"],
    "p1": ["rp1 p1 0 10meg"],
    "line_1": ["rp0 p0 0 10meg"],
}
_REFERENCE = ["rvref 3v3 ref 200", "ivref ref 0 150u"]  # the RP2040 board's own way to its ADC_VREF
_RESET = "rrun 3v3 run 50k"  # the RP2040's own pull-up at RUN (its data sheet, from memory)
_LOAD_OHM = {"card_socket": 165.0, "screen": 220.0, "buzzer": 200.0}
_AGND, _LEG = "agnd", ".leg"  # analog ground where it is parted; a node on the board's side of a leg that came off
_SUPPLIES = {"card_socket": ("3V3", "GND"), "screen": ("VCC", "GND"), "buzzer": ("+", "-")}


@dataclass(frozen=True)
class Bench:
    """A build on a board, with the engine turning (`sparks`, a few milliseconds) or at rest with the key on
    (seconds).

    extra: faults that the build's blocks do not show. parted: analog ground is a node of its own, as where the leg
    that joins it to ground came off. joined: what else there is, as netlist lines. down: clamp transistors are unlike,
    so that what they carry takes readings down (1) or up (-1). pressed: the button is. dark: lamp and sounder are off,
    else on.
    """

    build: Build
    board: Board
    sparks: bool = False
    extra: tuple[Fault, ...] = ()
    parted: bool = False
    joined: tuple[str, ...] = ()
    down: float = 0.0
    pressed: bool = False
    dark: bool = False

    @property
    def fault_s(self) -> float:
        """When the fault comes."""
        return TURNING_FAULT_S if self.sparks else FAULT_S

    @property
    def terminals(self) -> list[str]:
        return list(self.build.terminals)

    @property
    def uses(self) -> list[Use]:
        return fitted(self.build, self.board)

    def nets(self, use: Use, part: Part) -> dict[str, str]:
        """Pin -> node of a part in the whole build."""
        nets = netlist.nets_of(
            part, use.prefix.lower(), use.joins, (*self.terminals, *map(str.lower, self.terminals), "0")
        )
        return nets | {pin: _AGND for pin, net in part.pins.items() if self.parted and net == "AGND"}

    @property
    def analog_ground(self) -> str:
        """Its node."""
        return _AGND if self.parted else "0"

    def faults(self) -> list[Fault]:
        """All of them, wires first."""
        return [*faults.of_build(self.build, self.board), *self.extra]


def _wire(terminal: str, area_mm2: float, fault: Fault) -> list[str]:
    """A wire of the harness and what happens to it."""
    t = terminal.lower()
    near = "0" if terminal == "T2" else t
    far = "0f" if terminal == "T2" else f"{t}f"
    half = car.wire_ohm(area_mm2) / 2
    out = [f"rw.{t}a {far} {t}m {half:g}"]
    if fault.is_wire and fault.place == terminal and fault.what == OPEN:
        return [*out, f"sw.{t} {t}m {t}n sound 0 breaks", f"rw.{t}b {t}n {near} {half:g}"]
    moved = dict(fault.moved)
    if terminal in moved:
        out += [f"rw.{t}b {t}m {t}n {half:g}", f"sw.{t} {t}n {near} sound 0 breaks"]
        socket = "0" if moved[terminal] == "T2" else moved[terminal].lower()
        return [*out, *([f"sv.{t} {t}n {socket} fault 0 makes"] if socket else [])]
    out.append(f"rw.{t}b {t}m {near} {half:g}")
    if fault.is_wire and fault.place == terminal:
        out.append(f"sw.{t} {t}m {'chassis' if fault.what == TO_GROUND else 'hot'} fault 0 makes")
    return out


def _load(part: Part, name: str, nets: dict[str, str]) -> list[str]:
    plus, minus = _SUPPLIES[part.stock]
    return [f"r{name}.load {nets[plus]} {nets[minus]} {_LOAD_OHM[part.stock]:g}"]


def _part(bench: Bench, use: Use, part: Part, fault: Fault, blown: tuple[str, ...]) -> list[str]:
    """A part of the build and what happens to it."""
    place, name = f"{use.prefix}-{part.ref}", f"{use.prefix}.{part.ref}".lower()
    nets = bench.nets(use, part)
    out = []
    mine = fault.part is part and fault.use is use
    if mine and fault.shorted:
        ends = [nets[pin] if pin in nets else pin[1:] for pin in fault.shorted]
        out.append(f"sf.{name} {ends[0]} {ends[1]} fault 0 makes")
    cut = fault.opened if mine and fault.opened else next(iter(part.pins)) if place in blown else ""
    if cut:
        leg = "0.5p" if bench.sparks else "20p"  # sparks would pass through more; at rest it helps the solver
        stray = "100n" if part.stock == "reg_5v" else leg
        out += [f"so.{name} {nets[cut]} {name}.cut sound 0 breaks", f"rl.{name} {name}.cut 0 100meg"]
        out.append(f"cl.{name} {name}.cut 0 {stray}")
        nets = nets | {cut: f"{name}.cut"}
    if part.stock in _LOAD_OHM:
        return out + _load(part, name, nets)
    value = "0.01" if part.stock == "button" and bench.pressed else part.value
    parameters = _ON_LINE if part.stock == "jumper3" and fault.on_line else ""
    lines = netlist.part_lines(part, use.prefix.lower(), nets, value, parameters)
    if bench.down and spread.is_clamp(part):
        lines = [f"{line} {spread.area(part, bench.down):.4f}" for line in lines]
    if (use.prefix, part.ref) in fault.unfed:
        lines = [line.replace(" 3v3 ", " unfed ") for line in lines]
    return out + lines


def _own(bench: Bench, fault: Fault) -> list[str]:
    """The board's own side of its legs, and what happens to them."""
    body = list(_BOARD)
    for signal, there in _IDLE.items():
        body += there if bench.build.reaches(signal) else []
    if bench.dark:
        body = [_DARK.get(line, line) for line in body]
    if any(use.block == "reference" for use in bench.uses):
        body += _REFERENCE
    if "run" in fault.legs:
        body.append(_RESET)
    if len(fault.legs) == 2:
        body.append(f"s.legs {fault.legs[0]} {fault.legs[1]} fault 0 makes")
    elif fault.legs == (_AGND,):
        body.append(f"s.legs {_AGND} 0 sound 0 breaks")
    elif fault.legs:
        leg = fault.legs[0]
        body = [" ".join(leg + _LEG if word == leg else word for word in line.split()) for line in body]
        body += [f"s.legs {leg} {leg}{_LEG} sound 0 breaks", f"rl.legs {leg}{_LEG} 0 100meg"]
    if fault.unfed:
        body += ["s.unfed 3v3 unfed sound 0 breaks", "rl.unfed unfed 0 10"]  # a chip without supply
    return body


def deck(bench: Bench, fault: Fault, blown: tuple[str, ...] = ()) -> str:
    """The netlist of one run."""
    at = bench.fault_s
    switches = [line.format(at, at + 1e-4) for line in _SWITCHES]
    body = [f"* {fault.name}", *switches, *_own(bench, fault), *car.lines(bench.build, bench.sparks), *bench.joined]
    for terminal, end in bench.build.terminals.items():
        body += _wire(terminal, end.area_mm2, fault)
    if fault.stray:  # half of it at either half of the wire
        t = fault.stray.lower()
        body += [f"cstray{end} {t}{end} chassis {STRAY_PF / 2:g}p" for end in ("", "m")]
    for use in bench.uses:
        for part in use.data.parts:
            body += _part(bench, use, part, fault, blown)
    step, seconds = (1e-5, at + 16e-3) if bench.sparks else (4e-3, LAST_S)
    start = at - 1e-3 if bench.sparks else 0.0
    body.append(".options savecurrents method=gear reltol=1e-3 abstol=1e-9 itl4=100 gmin=1e-10 rshunt=1e11")
    body += [f".tran {step:g} {seconds:g} {start:g} {step:g}", ".save all"]
    return netlist.deck("failure", body)


@dataclass(frozen=True)
class Run:
    """What one run gave, before and after the fault."""

    bench: Bench
    fault: Fault
    result: dict[str, np.ndarray]

    def volts(self, plus: str, minus: str = "0", at_s: float | None = None) -> float:
        """Volts between two nodes: as they stay, or as they were at that moment."""
        wave = self._node(plus) - self._node(minus)
        time = self.result["time"]
        return stress.lasting(time, wave) if at_s is None else float(wave[np.searchsorted(time, at_s) - 1])

    def _node(self, name: str) -> np.ndarray:
        return np.zeros(len(self.result["time"])) if name == "0" else self.result[f"v({name})"]

    def pin(self, name: str, at_s: float | None = None) -> float:
        """Volts as the board itself has them at one of its legs."""
        return self.volts(name + _LEG if self.fault.legs == (name,) and name != _AGND else name, "0", at_s)

    def wave(self, name: str) -> np.ndarray:
        """Volts over time at one of the board's legs."""
        return self._node(name + _LEG if self.fault.legs == (name,) else name)

    def change(self, plus: str, minus: str = "0") -> float:
        """Volts by which the fault moves it."""
        return self.volts(plus, minus, LEAN_S) - self.volts(plus, minus, FAULT_S)

    def wire_amps(self, terminal: str) -> float:
        """The current that stays in a wire of the harness, in the half that carries more."""
        t = terminal.lower()
        halves = (stress.lasting(self.result["time"], np.square(self.result[f"i(@rw.{t}{h}[i])"])) for h in "ab")
        return float(np.sqrt(max(halves)))

    def amps(self, name: str) -> float:
        """A current as it stays."""
        return stress.lasting(self.result["time"], self.result[f"i({name})"])

    def clamps_carry(self) -> bool:
        """Whether any clamp transistor still carries current after the fault, so that it matters whether all are
        alike."""
        late = self.result["time"] > FAULT_S + _SETTLED_S
        return any(
            float(np.max(np.abs(self.result[f"i(@q{use.prefix}.{part.ref}[ic])".lower()][late]))) > spread.CARRIES_A
            for use in self.bench.uses
            for part in use.data.parts
            if spread.is_clamp(part)
        )

    def overloads(self) -> list[str]:
        """Parts that would not bear it for good, with the figure: "P-D3 too hot (5 W, rated 0.5 W)"."""
        after = self.result["time"] >= FAULT_S
        result = {name: wave[after] for name, wave in self.result.items()}
        out = []
        for use in self.bench.uses:
            for part in use.data.parts:
                if self.fault.part is part and self.fault.use is use:
                    continue
                nets = self.bench.nets(use, part)
                try:
                    found = stress.part_overloads(result, part, use.prefix.lower(), nets, True)
                except KeyError:
                    continue  # a part that another row's cut renamed
                figures = [text.split(": ", 1)[1] for text in found]
                lasting = [text for text in figures if " A, " not in text and "over 10 ms" not in text]
                end = (
                    "cuts itself off"
                    if part.stock == "reg_5v"
                    else "too hot"
                    if "W" in "".join(lasting)
                    else "overloaded"
                )
                out += [f"{use.prefix}-{part.ref} {end} ({text})" for text in lasting]
        return out


def opens(run: Run) -> tuple[str, ...]:
    """The fuses and fusible resistors that this run would open."""
    after = run.result["time"] >= run.bench.fault_s
    time = run.result["time"][after]
    out = []
    for use in run.bench.uses:
        for part in use.data.parts:
            current = run.result.get(f"i(@r{use.prefix}.{part.ref}[i])".lower())
            if part.stock not in ("fuse_1a", "r_fusible") or (run.fault.part is part and run.fault.use is use):
                continue
            squared = np.square(current[after])
            if part.stock == "fuse_1a":
                melts = _AT_ONCE_S * stress.window_mean(time, squared, _AT_ONCE_S) > FUSE_A2S
                melts = melts or stress.lasting(time, squared) > FUSE_A**2
            else:
                melts = stress.window_mean(time, squared, 1.0) * use.data.value(part.ref) > FUSIBLE_W
            if melts:
                out.append(f"{use.prefix}-{part.ref}")
    return tuple(out)


def run(bench: Bench, fault: Fault) -> tuple[Run, tuple[str, ...], float]:
    """(the run as it ends, fuses that opened on the way, most volts at the board until they did)."""
    if fault.legs == (_AGND,):
        bench = replace(bench, parted=True)
    first = Run(bench, fault, spice.run(deck(bench, fault)))
    blown, most_v = opens(first), float(np.max(first.result["v(vboard)"]))
    if not blown:
        return first, (), most_v
    return Run(bench, fault, spice.run(deck(bench, fault, blown))), blown, most_v
