"""Failure runs -> rows of figures -> the pages hardware/failures/*.md: `python -m hardware.circuit.failure_table`."""

from __future__ import annotations

import sys
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from hardware.circuit import boards, builds, car, failures, limits, panel_state, readings, spread, stress
from hardware.circuit.accuracy import LAMBDA_AT_0V, LAMBDA_PER_V
from hardware.circuit.failures import Bench, Run
from hardware.circuit.faults import Fault

BENCHES = (Bench(builds.MINIMUM, boards.RP2), Bench(builds.FULL, boards.ESP32))
MOST_K = 40.0  # a wire may warm by
MOST_SHIFT_MV = (
    250.0  # engine computers take a sensor's signal for sound that moves by less (common practice, no source)
)
MOST_OUTPUT_MA = 20.0  # an output made for signals bears shorted (common practice, no source)
MOST_COIL_MA = 100.0  # a coil neither charges nor warms with less
_OFF_V = 0.3 + limits.PIN_OFF_MA * 1.0  # before the 1 kohm at the pins, into a board that is off
_SEEN_MV, _SEEN_MA, _SEEN_K = 1.0, 0.5, 1.0
_TRUE = {name: LAMBDA_AT_0V + LAMBDA_PER_V * car.TRUE_V[name] for name in ("lambda", "lean")}
_SIGNALS = ("T3", "T4", "T5", "T7", "T8", "T10", "T11", "T19", "T20", "T21", "T22", "T23", "T24")
_BY_RULE = (
    "What the logic of bus controller and converter does is no simulation: where a leg that it needs is lost, their",
    "channels are unread by rule.",
)
_SUPPLY_ALONE = "Of {} the supply alone is simulated; what is lost with {} lines is so by rule."
_CONVERTER_LOGIC, _CONVERTER_REFERENCE = {"9", "10", "11", "12", "13", "16"}, "15"
_REFERENCE_TO_SUPPLY = ("15", "16")
_CONVERTER_LEG = {"x0": "1", "x1": "2", "x2": "3", "x4": "5", "x6": "7"}
_LOSES = {  # by rule: (part, whether it is short)
    "card": {("R1", False), ("R2", True), ("R3", True), ("X1", False)},
    "screen": {("R1", False), ("R1", True), ("R2", False), ("R2", True), ("X1", False)},
}
_TACH_BLOCKS = ("tach_logic", "tach_opto", "tach_select")
_TACH_WIRES = {"T1", "T2", "T5", "T6", "T19", "T20"}
_LOGIC = ("p0", "p1", "button", "x_miso", "bus_cs", "bus_int")
# ISO 11898-2 (from memory): a receiver takes 0.9 V for dominant and 0.5 V for recessive, lines within -2 and 7 V
_BUS_RECESSIVE_V, _BUS_DOMINANT_V, _BUS_LINE_V = 0.4, 1.2, (-2.0, 7.0)
_BUS_SEEN_V = 0.1
_SENSOR_V = (-0.5, 5.5)  # what a sensor for 5 V bears (common practice, no source)
_PLAUSIBLE_V = {"lambda_2": (0.3, 4.7), "throttle": (0.5, 4.5), "pressure": (0.5, 4.5), "battery": (11.0, 15.5)}
_RICHEST, _LEANEST = 0.65, 1.35  # beyond, no pull looks like that


@dataclass(frozen=True)
class Bus:
    """The car's bus: volts between its lines while no unit drives it and while one does; lowest and highest of a line.
    heard: whether the controller sees both."""

    recessive_v: float
    dominant_v: float
    low_v: float
    high_v: float
    heard: bool

    @property
    def works(self) -> bool:
        calm = abs(self.recessive_v) < _BUS_RECESSIVE_V and self.dominant_v > _BUS_DOMINANT_V
        return calm and _BUS_LINE_V[0] < self.low_v and self.high_v < _BUS_LINE_V[1]


@dataclass(frozen=True)
class Row:
    """A fault and what it does. Figures are for good, after fuses have opened.

    throttle_mv: by which the engine computer's throttle signal moves. output_ma: most that a wire brings to an output
    or sensor of the car. board_v: most at the board. coil_ma: through the coil at rest. sparks: share of the coil's
    volts that are left. edges: at the tach pin for every spark. pulses: at the second pin for every second pulse.
    wire, wire_k: the hottest wire of the harness. reading: what is read, empty where the logger is off. hot: parts that
    would not bear it, in words. bus: None where the build has none. unread: channels of which the converter says
    nothing. lost: what else works no more, by rule. panel: the same of button, lamp and sounder, simulated. sensor_v:
    at a sensor of the user's own, None where the build feeds none.
    """

    place: str
    what: str
    blown: tuple[str, ...]
    throttle_mv: float
    output_ma: float
    coil_ma: float
    sparks: float
    edges: float
    wire: str
    wire_k: float
    board_v: float
    board_is_off: bool
    pins: tuple[str, ...]
    hot: tuple[str, ...]
    reading: readings.Reading
    bus: Bus | None = None
    unread: tuple[str, ...] = ()
    lost: tuple[str, ...] = ()
    panel: tuple[str, ...] = ()
    sensor_v: float | None = None
    conditions: str = ""
    pulses: float = 1.0

    @property
    def stops_the_engine(self) -> bool:
        """Whether coil, sensor or engine computer would notice so much that the engine falters."""
        noticed = abs(self.throttle_mv) > MOST_SHIFT_MV or self.coil_ma > MOST_COIL_MA or self.sparks < 0.9
        return noticed or self.stops_the_bus

    @property
    def stops_the_bus(self) -> bool:
        """Whether the car's units would no longer understand each other."""
        return self.bus is not None and not self.bus.works

    @property
    def harms_a_controller(self) -> bool:
        return self.output_ma > MOST_OUTPUT_MA


def row(bench: Bench, fault: Fault) -> Row:
    """Run it and read the figures."""
    run, blown, most_v = failures.run(bench, fault)
    throttle, coil = bench.build.reaches("car_throttle"), bench.build.reaches("car_coil")
    amps = {terminal: run.wire_amps(terminal) for terminal in bench.terminals}
    warm = {t: car.warming_k(i, bench.build.terminals[t].area_mm2) for t, i in amps.items()}
    hottest = max(warm, key=warm.__getitem__)
    sparks, edges, pulses = turning(bench, fault) if _concerns_tach(fault) else (1.0, 1.0, 1.0)
    off = _is_off(run)
    unread = () if off else _unread(run)
    return Row(
        fault.place,
        fault.what,
        blown,
        1e3 * run.change("car_throttle", "car_throttle_ground") if throttle else 0.0,
        _output_ma(run),
        1e3 * abs(run.volts("bat", "cbeg")) / 0.5 if coil else 0.0,
        sparks,
        edges,
        hottest,
        warm[hottest],
        most_v,
        off,
        tuple(_pins(run)),
        tuple(run.overloads()),
        readings.Reading() if off else readings.without(readings.worst(run), unread),
        _bus(run),
        unread,
        () if off else _lost(fault),
        panel_state.words(run) if not off and panel_state.concerns(fault) else (),
        run.volts("t12f", "t13f") if "T12" in bench.build.terminals else None,
        fault.conditions,
        pulses,
    )


def _bus(run: Run) -> Bus | None:
    """What the bus looks like after the fault, where the build has one."""
    block = next((use.prefix.lower() for use in run.bench.uses if use.block == "can"), None)
    if block is None:
        return None
    driven = car.BUS_DOMINANT_S[1] - 0.05
    lines = [run.volts(line, "eg", at) for line in ("car_bus_high", "car_bus_low") for at in (None, driven)]
    rail = run.volts("3v3")
    heard = run.volts(f"{block}.rx") > 0.7 * rail and run.volts(f"{block}.rx", at_s=driven) < 0.3 * rail
    heard = heard and not _is_deaf(run.fault)
    return Bus(
        run.volts("car_bus_high", "car_bus_low"),
        run.volts("car_bus_high", "car_bus_low", driven),
        min(lines),
        max(lines),
        bool(heard),
    )


def _is_deaf(fault: Fault) -> bool:
    """Whether the bus controller gives no frames: its logic is no part of the simulation. It listens without TXCAN."""
    if fault.part is None:
        return False
    stock = fault.part.stock
    if stock == "can_ctl":
        return {fault.opened, *fault.shorted} - {""} != {"TXCAN"}
    deselected = fault.use.block == "can" and fault.part.ref == "R6"
    return stock == "crystal" or bool(fault.shorted) and (stock == "c_np0" or deselected)


def _unread(run: Run) -> tuple[str, ...]:
    """Channels of an external converter that gives nothing: its logic is no part of the simulation."""
    fault = run.fault
    pins = readings.converter_pins(run.bench.build.name)
    if any(leg.startswith("x_") for leg in fault.legs):
        return tuple(pins)
    if fault.part is None or fault.use.block != "converter":
        return ()
    legs = {fault.opened, *fault.shorted} if fault.part.stock == "adc_spi" else set()
    if legs == {"", *_REFERENCE_TO_SUPPLY}:
        return ()  # it goes on, against another reference
    lost = legs & _CONVERTER_LOGIC or fault.opened == _CONVERTER_REFERENCE and legs
    lost = lost or (fault.part.ref == "R1" and fault.shorted)
    return tuple(name for name, pin in pins.items() if lost or _CONVERTER_LEG[pin] == fault.opened)


def _lost(fault: Fault) -> tuple[str, ...]:
    """Card or screen, whose data lines are no part of the simulation."""
    if fault.use is None or fault.use.block not in ("card", "screen"):
        return fault.lost
    return (fault.use.block,) if (fault.part.ref, bool(fault.shorted)) in _LOSES[fault.use.block] else ()


def _output_ma(run: Run) -> float:
    """The largest current that a wire brings to a thing of the car that gives signals."""
    ends = run.bench.build.terminals
    wires = [t for t in _SIGNALS if t in ends and not ends[t].own]
    return 1e3 * max(abs(stress.lasting(run.result["time"], run.result[f"i(@rw.{t.lower()}a[i])"])) for t in wires)


def _concerns_tach(fault: Fault) -> bool:
    """Whether it may touch engine speed or second pulses."""
    if fault.use is not None:
        return fault.use.block in _TACH_BLOCKS
    moved = {name for pair in fault.moved for name in pair}
    unfed = any(prefix in ("E", "E1", "E2", "C") for prefix, _ in fault.unfed)
    return bool({fault.place, *moved} & _TACH_WIRES or {"p0", "p1"} & {*fault.legs} or unfed)


def turning(bench: Bench, fault: Fault) -> tuple[float, float, float]:
    """(share of the coil's flyback that is left, edges at the tach pin per spark, at the second pin per pulse) with the
    engine turning."""
    run, _, _ = failures.run(replace(bench, sparks=True, dark=True), fault)
    edges = _edges(run, "p0", car.RPM_PERIOD_S)
    pulses = _edges(run, "p1", car.SECOND_PERIOD_S) if bench.build.reaches("p1") else 1.0
    if not bench.build.reaches("car_coil"):
        return 1.0, edges, pulses
    after = run.result["time"] > run.bench.fault_s + 1e-3
    coil = run.result["v(car_coil)"] - run.result["v(bm)"]
    return float(np.max(coil[after])) / 400.0, edges, pulses


def _edges(run: Run, pin: str, period_s: float) -> float:
    """Rising edges at a pin for each period, after the fault."""
    time = run.result["time"]
    high = run.wave(pin)[time > run.bench.fault_s + 1e-3] > 1.65
    return int((high[1:] & ~high[:-1]).sum()) / round(15e-3 / period_s)


def _is_off(run: Run) -> bool:
    least = limits.BOARD_LEAST_V[run.bench.board.name]
    return run.pin("vboard") < least or run.pin("3v3") < 3.0


def _pins(run: Run) -> list[str]:
    """Pins of the board outside what they bear, with the volts."""
    analog = [name for name in ("a0", "a1", "a2", "x0", "x1", "x2", "x4", "x6") if run.bench.build.reaches(name)]
    names = [*analog, *(name for name in _LOGIC if run.bench.build.reaches(name))]
    rail = max(run.pin("3v3"), 0.0)
    out = []
    for name in names:
        low, high = limits.PIN_V if name in analog else limits.GATE_V
        volts, over = run.pin(name), high - 3.3
        if _is_off(run):
            low, over = -_OFF_V, _OFF_V
        if not low < volts < rail + over:
            out.append(f"{name} at {volts:.1f} V")
    return out


def car_text(one: Row) -> str:
    """The cell about the car."""
    out = []
    if abs(one.throttle_mv) > _SEEN_MV:
        out.append(f"throttle signal {one.throttle_mv:+.0f} mV")
    if one.output_ma > _SEEN_MA:
        out.append(f"an output loaded by {one.output_ma:.1f} mA")
    if one.sensor_v is not None and not _SENSOR_V[0] < one.sensor_v < _SENSOR_V[1]:
        out.append(f"{one.sensor_v:.0f} V at a sensor on T12: it may die")
    out += bus_text(one.bus)
    if one.wire_k > _SEEN_K:
        out.append(f"{one.wire}'s wire +{one.wire_k:.0f} K")
    return ", ".join(out) or "nothing"


def bus_text(bus: Bus | None) -> list[str]:
    """What the car's units see on their bus that they would not see without us."""
    if bus is None:
        return []
    if not bus.works:
        return ["**the bus stands still**"]
    return [f"bus {bus.recessive_v:+.2f} V while at rest"] if abs(bus.recessive_v) > _BUS_SEEN_V else []


def logger_text(one: Row) -> str:
    """The cell about the logger."""
    out = [f"{name} opens" for name in one.blown]
    if one.board_v > limits.BOARD_V:
        out.append(f"{one.board_v:.1f} V at the board: it may die")
    if one.board_is_off:
        out.append("off")
    out += [f"pin {text}" for text in one.pins]
    out += one.hot
    if one.lost:
        out.append(f"{' and '.join(one.lost)} lost")
    out += one.panel
    return ", ".join(out) or "runs"


def reading_text(one: Row, true_v: dict[str, float]) -> str:
    """The cell about what is recorded."""
    if one.board_is_off:
        return "none"
    volts, faults = one.reading.volts, []
    read = {name: v for name, v in volts.items() if name not in one.unread}
    wrong = {n: v for n, v in read.items() if abs(v - true_v[n]) > readings.SEEN_V * (4 if n == "battery" else 1)}
    out = [lambda_text(volts, wrong)] if "lambda" in wrong or "lean" in wrong else []
    out += [_volts_text(n, v, true_v[n]) for n, v in wrong.items() if n not in ("lambda", "lean")]
    if "rail" in one.reading.shown:  # every analog channel is then in doubt, and said to be
        out, faults = [text.replace("**", "") for text in out], ["fault 46"]
    noticed = {name: "contradicted by the report" for name in one.reading.told}
    noticed |= dict.fromkeys(one.reading.shown - {"rail"}, "fault 48")
    for name, how in sorted(noticed.items()):
        out = [text.replace("**", "") if text.strip("*").startswith(f"{name} ") else text for text in out]
        faults.append(f"{how} ({name})")
    out += faults
    if one.unread:
        out.append(f"{_listed(one.unread)} unread")
    if one.bus is not None and not one.bus.heard:
        out.append("no frames from the bus")
    if abs(one.edges - 1) > 0.01:
        out.append("no engine speed" if one.edges < 0.5 else "**engine speed wrong**")
    if abs(one.pulses - 1) > 0.01:
        out.append("no second pulses" if one.pulses < 0.5 else "**second pulses wrong**")
    return ", ".join(out) or "true"


def _listed(unread: tuple[str, ...]) -> str:
    checks = [name for name in unread if name in readings.CALLED.values()]
    names = [name for name in unread if name not in checks]
    *first, last = [*names, *(checks if len(checks) < 2 else ["all checks"])]
    return " and ".join([*([", ".join(first)] if first else []), last])


def _volts_text(name: str, volts: float, true: float) -> str:
    low, high = _PLAUSIBLE_V[name]
    mark = "**" if low < volts < high else ""
    return f"{mark}{name} {volts:.2f} V for {true:.2f}{mark}"


def lambda_text(read: dict[str, float], wrong: dict[str, float]) -> str:
    """What a wrong lambda looks like: of the two that the controller gives, the leaner counts if both are wrong
    alike."""
    shown = {name: LAMBDA_AT_0V + LAMBDA_PER_V * read[name] for name in ("lambda", "lean")}
    said = f"{_TRUE['lambda']:.2f} reads {shown['lambda']:.2f}, {_TRUE['lean']:.2f} reads {shown['lean']:.2f}"
    if max(shown.values()) < _RICHEST:
        return f"lambda near its rich end always ({said})"
    if min(shown.values()) > _LEANEST:
        return f"lambda at its lean end always ({said})"
    calm = any(shown[name] < _TRUE[name] for name in shown if name in wrong)
    return f"**lambda too {'rich' if calm else 'lean'}: {said}**"


def meaning(unseen: int, noticed: int) -> tuple[str, ...]:
    """How the rows are to be read. unseen, noticed: how many read too rich, without and with a sign of it."""
    return (
        'What the rows mean: "too hot" is a part that would not bear it for good (film resistors are listed short for '
        "the sake",
        'of completeness: they fail open); regulators cut themselves off. "Off" is seen: the lamp is dark. What '
        "is wrong in",
        f"bold looks plausible, and the logger itself does not see it: {unseen} of these rows read too rich so. "
        f"{noticed} more do, but",
        "the lamp shows fault 46 or 48, or the report contradicts lambda, where logger.json names the checks' inputs.",
        'The check "key on, engine off" shows all of them: the controller\'s display against the log, **before the '
        "drive and",
        "after it**. T4's core alone, broken on the way, takes 0.2 off a lean 1.10. Where nothing checks it, a log "
        "without the",
        "check after the drive proves nothing.",
        '**A protection that is lost changes no reading, so its row says "true":** P-D1 short (reversed polarity); '
        "P-Q1 source to",
        "drain, P-D2, P-R2 or P-Q2 open (overvoltage); P-D5 open (a regulator that fails).",
        "The same holds for V-R2, V-R3, V-C1 or V-C2 open, V-R1, V-R4 or V-C2 short, and for a clamp transistor of "
        "which a leg is off.",
        "**Where clamp transistors carry current** the row was simulated three times: all alike, and with a mismatch "
        f"of {1e3 * spread.MISMATCH_V:.0f} mV",
        "both ways. What is too rich is shown, or else what is furthest off; it may as well be as far off the other "
        "way.",
        "Transistors of different makes differ by more, and such a reading then errs by more.",
        "Not in the table: two faults at once, what the card does, what software does.",
    )


def table(bench: Bench, rows: list[Row], true_v: dict[str, float], notes: tuple[str, ...] = ()) -> str:
    """The page. notes: paragraphs before the rows."""
    rich = [text for text in (reading_text(one, true_v) for one in rows) if "lambda too rich" in text]
    unseen = sum("**lambda too rich" in text for text in rich)
    maker = "board.failure_page" if bench.build.name == "board" else "circuit.failure_table"
    out = [
        f"# What a fault does: {bench.build.title}",
        "",
        f"On: {bench.board.title}. {len(rows)} faults, ngspice runs of the whole build in a car, key on; made by",
        f"`python -m hardware.{maker}`, which takes minutes. Battery 14.4 V; true are lambda "
        f"{_TRUE['lambda']:.2f}, then {_TRUE['lean']:.2f}{_true_text(bench)}.",
        *meaning(unseen, len(rich) - unseen),
        *_rules(bench),
        "",
        f"Hottest wire: +{max(one.wire_k for one in rows):.1f} K. Largest shift of the engine computer's throttle "
        "signal: "
        f"{max(abs(one.throttle_mv) for one in rows):.0f} mV. Largest load on an output: "
        f"{max(one.output_ma for one in rows):.1f} mA. Rows that stop the engine: "
        f"{sum(one.stops_the_engine for one in rows)}.",
        "",
        *(line for note in notes for line in (note, "")),
        "| fault | car | logger | reading |",
        "|---|---|---|---|",
    ]
    return "\n".join(out + [line(one, true_v) for one in rows]) + "\n"


def _rules(bench: Bench) -> list[str]:
    """What else shows a wrong reading, and what of it no simulation stands behind."""
    blocks = {use.block for use in bench.uses}
    screen = ("card and screen", "their") if "screen" in blocks else ("the card", "its")
    out = [_SUPPLY_ALONE.format(*screen)]
    if "throttle" in readings.INPUTS[bench.build.name]:
        out.insert(
            0, '"Key on, engine off" shows the other channels too: pressure is the day\'s air, throttle goes from end'
        )
        out.insert(1, "to end with the pedal and pressure does not, the battery is what a meter says.")
    if blocks & {"can", "converter"}:
        out += _BY_RULE
    return out


def _true_text(bench: Bench) -> str:
    names = [name for name in readings.INPUTS[bench.build.name] if name not in ("lambda", "battery")]
    return "".join(f", {name} {car.TRUE_V[name]:.2f} V" for name in names)


def line(one: Row, true_v: dict[str, float]) -> str:
    """The row as it stands on the page."""
    cells = (
        f"{one.place} {one.what}{one.conditions}",
        car_text(one),
        logger_text(one),
        reading_text(one, true_v),
    )
    return "| " + " | ".join(cells) + " |"


def sound(bench: Bench) -> dict[str, float]:
    """The readings without a fault."""
    return row(bench, Fault("none", "")).reading.volts


def rows(bench: Bench) -> list[Row]:
    """Every fault of the build, in order."""
    with ThreadPoolExecutor(2) as pool:
        return list(pool.map(lambda fault: row(bench, fault), bench.faults()))


def path(bench: Bench) -> Path:
    """Where its page stands."""
    return Path(__file__).resolve().parents[1] / "failures" / f"{bench.build.name}.md"


def main() -> int:
    """Write the pages."""
    for bench in BENCHES:
        write(bench)
    return 0


def write(bench: Bench, notes: tuple[str, ...] = ()) -> None:
    """Write a build's page."""
    path(bench).parent.mkdir(exist_ok=True)
    path(bench).write_text(table(bench, rows(bench), sound(bench), notes))
    print(f"hardware: {path(bench).name} written")


if __name__ == "__main__":
    sys.exit(main())
