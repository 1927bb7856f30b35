"""The tables of faults: what they say is what ngspice gives, and no row harms car, wire or controller."""

import dataclasses
import itertools
import math
import re

import pytest
import spice

from hardware.board import board_faults, bringup, contents, failure_page, items, module
from hardware.circuit import build, failure_table, failures, faults, panel_state, readings, spread
from ringpull.analysis.instruments import wire_check
from ringpull.device import starter_configs

pytestmark = spice.needs_ngspice

BENCHES = (*failure_table.BENCHES, failure_page.BENCH)

# Rows made anew in every run: of each kind one; test_the_whole_table makes all
SOME = {
    "minimum": ["T2 on 12 V", "A0-R3 open"],
    "full": ["T8 on 12 V", "H-C1 short"],
    "board": ["plugs of J2 and J7 swapped", "M1 33 (AGND) open"],
}


def lines(bench) -> dict[str, str]:
    """Fault -> its line in the committed page."""
    text = failure_table.path(bench).read_text()
    rows = [line for line in text.splitlines() if line.startswith("| ") and not line.startswith("| fault")]
    return {line.split(" | ")[0].removeprefix("| "): line for line in rows}


@pytest.fixture(scope="module", params=BENCHES, ids=lambda bench: bench.build.name)
def bench(request):
    return request.param


@pytest.fixture(scope="module")
def true_v(bench):
    return failure_table.sound(bench)


def assert_harmless(row):
    assert not row.stops_the_engine, (row.place, row.what)
    assert not row.harms_a_controller, (row.place, row.what)
    assert row.wire_k < failure_table.MOST_K, (row.place, row.what)


def test_rows_are_what_ngspice_gives(bench, true_v):
    committed = lines(bench)
    listed = {fault.name: fault for fault in bench.faults()}
    for name in SOME[bench.build.name]:
        row = failure_table.row(bench, listed[name])
        assert failure_table.line(row, true_v) == committed[name]
        assert_harmless(row)


def test_every_fault_has_its_row(bench):
    """Each wire three, each part open and short; none left out and none twice."""
    named = [fault.name for fault in bench.faults()]
    assert len(set(named)) == len(named) and list(lines(bench)) == named
    for use in bench.uses:
        for part in use.data.parts:
            mine = [name for name in named if name.startswith(f"{use.prefix}-{part.ref} ")]
            assert len(mine) >= 2, part.ref
    for terminal in bench.build.terminals:
        assert {f"{terminal} {what}" for what in ("open", "on ground", "on 12 V")} <= set(named)


def test_no_committed_row_is_forbidden(bench):
    """As the pages' own words tell: wires, and the head's sums."""
    text = failure_table.path(bench).read_text()
    assert "Rows that stop the engine: 0." in text
    warm = [float(k) for k in re.findall(r"wire \+(\d+) K", text)] + [float(re.search(r"wire: \+([\d.]+) K", text)[1])]
    assert max(warm) < failure_table.MOST_K
    assert float(re.search(r"load on an output: ([\d.]+) mA", text)[1]) < failure_table.MOST_OUTPUT_MA


OF_THE_BOARD = {
    "T7 on 12 V": "pressure 5.04 V for 1.50",
    "X-U1 12 open": "pressure, battery and all checks unread",
    "X-U1 1 to 2": "for 14.18",
    "J-JP1 3 open": "no engine speed",
    "M1 35 (REF) open": "lambda too rich",
    "M1 31 (a0) open": "rich end",
    "M1 37 to 38 (EN to GND)": "none",
    "plug of J6 in J4, pins 1 to 2": "throttle 0.02 V for 2.50",
}


@pytest.fixture(scope="module")
def true_on_board():
    return failure_table.sound(failure_page.BENCH)


@pytest.mark.parametrize(
    "name", [pytest.param(name, marks=[pytest.mark.slow] if name[0] in "Jp" else []) for name in OF_THE_BOARD]
)
def test_faults_of_the_board_to_order(name, true_on_board):
    """External converter and source of engine speed among them: nothing happens to the car, and it is told."""
    bench = failure_page.BENCH
    fault = next(fault for fault in bench.faults() if fault.name == name)
    row = failure_table.row(bench, fault)
    assert_harmless(row)
    assert OF_THE_BOARD[name] in failure_table.reading_text(row, true_on_board)


def test_a_harmful_circuit_is_told(monkeypatch):
    """The same runs with the resistors where the wire ends: the tap's wire on 12 V moves the throttle by volts."""
    bench = BENCHES[1]
    fault = next(f for f in faults.of_wires(bench.build) if f"{f.place} {f.what}" == "T8 on 12 V")
    sound = failure_table.failures.deck

    def bare(*arguments):
        deck = sound(*arguments)
        assert "ra2.r1 car_throttle t8f 180k" in deck
        return deck.replace("ra2.r1 car_throttle t8f 180k", "ra2.r1 car_throttle t8f 0.01")

    monkeypatch.setattr(failure_table.failures, "deck", bare)
    assert failure_table.row(bench, fault).stops_the_engine


def test_head_is_the_maker_s(bench):
    """The rows take minutes, so the page's first words are compared alone."""
    head, rows = failure_table.path(bench).read_text().split("| fault |")
    notes = failure_page.notes() if bench is failure_page.BENCH else ()
    unseen = rows.count("**lambda too rich")
    for words in (*failure_table.meaning(unseen, rows.count("lambda too rich") - unseen), *notes):
        assert words in head
    text = " ".join(head.split())
    assert "**before the drive and after it**" in text and "takes 0.2 off a lean 1.10" in text
    assert "before every event, and again after it" in (build.HARDWARE / "README.md").read_text()


def test_a_broken_ground_core_is_noticed_where_it_is_checked(bench):
    row = lines(bench)["T4 open"]
    checked = bool(readings.CHECKS[bench.build.name])
    assert "1.10 reads 0.90" in row and ("fault 48 (lambda)" in row) == checked
    assert ("**lambda too rich" in row) != checked


def test_what_the_report_tells_is_what_the_analysis_holds():
    """Its figures and the divider that `setup` writes, for the tables and the PC's program do not import each other."""
    assert (readings._SLOPE, readings._SPAN_V) == (wire_check.LOST_SHARE, wire_check.SPAN_V)
    wire = starter_configs._wire("a2", "rp2")["divider"]
    assert (wire["top_ohm"], wire["bottom_ohm"]) == pytest.approx(readings.WIRE_OHM)


def test_unlike_clamp_transistors_are_told(bench, true_v, monkeypatch):
    """Alike they cancel in the op-amp and V-R1 open would read true: with 10 mV between them a lean 1.10 reads 1.02,
    and with 36 mV still less."""
    fault = next(fault for fault in bench.faults() if fault.name == "V-R1 open")
    shown = []
    for mismatch_v in (0.0, spread.MISMATCH_V, 0.036):
        monkeypatch.setattr(spread, "MISMATCH_V", mismatch_v)
        row = failure_table.row(bench, fault)
        shown.append(failure_table.LAMBDA_AT_0V + failure_table.LAMBDA_PER_V * row.reading.volts["lean"])
        assert ("lambda too rich" in failure_table.reading_text(row, true_v)) == (mismatch_v > 0)
    assert shown == pytest.approx([1.10, 1.02, shown[2]], abs=0.01) and shown[2] < 0.95


def test_the_spread_of_clamp_transistors(bench):
    """Between the two of a differential input that many millivolts, one way and the other; nothing where all are
    alike."""
    one, other = (bench.build.used("A0").data.part(ref) for ref in ("Q1", "Q3"))
    for down in (1.0, -1.0, 0.0):
        apart_v = 0.02585 * math.log(spread.area(one, down) / spread.area(other, down))
        assert apart_v == pytest.approx(down * spread.MISMATCH_V)
    lines = failures.deck(dataclasses.replace(bench, down=1.0), faults.Fault("none", "")).splitlines()
    q1, q2, q3, q4 = (next(line for line in lines if line.startswith(f"qa0.q{k} ")) for k in range(1, 5))
    assert float(q1.split()[-1]) > 1 > float(q3.split()[-1]), "the upper clamps pull their nodes down"
    assert float(q2.split()[-1]) < 1 < float(q4.split()[-1]), "the lower ones up"


def test_no_row_is_true_because_transistors_are_alike(bench):
    """Of the clamp voltages' rows those alone are true in which no clamp conducts: they guard no more."""
    rows = {name: line.split(" | ")[3].strip(" |") for name, line in lines(bench).items() if name.startswith("V-")}
    unguarded = {"V-R1 short", "V-R2 open", "V-R3 open", "V-R4 short", "V-C1 open", "V-C2 open", "V-C2 short"}
    assert {name for name, read in rows.items() if read == "true"} == unguarded
    assert all("too rich" in read for name, read in rows.items() if name not in unguarded)


@pytest.mark.slow
def test_engine_speed_and_second_pulses_from_either_place_of_the_jumper(true_on_board):
    """Sound: all read; then what each place loses. Sparks pass C-R4 or T6 open through the wire's own capacitance,
    where a row counts it."""
    bench = failure_page.BENCH
    listed = {fault.name: fault for fault in bench.faults()}
    for on_line in (False, True):
        assert failure_table.turning(bench, faults.Fault("none", "", on_line=on_line))[1:] == (1.0, 1.0)
    for name, read in TURNING.items():
        row = failure_table.row(bench, listed[name])
        assert_harmless(row)
        assert failure_table.reading_text(row, true_on_board) == read, name


TURNING = {
    "C-R4 open": "no engine speed",
    "C-R4 open, T6's wire 0.1 nF to the body": "true",
    "T6 open, T6's wire 0.1 nF to the body": "true",
    "T5 open, T5's wire 0.1 nF to the body": "no engine speed",
    "T19 open": "true",
    "T19 open, J-JP1 on 1-2": "no engine speed",
    "E2-R1 open": "no second pulses",
    "M1 9 to 10 (p1 to buzzer)": "no second pulses",
    "plug of J7 cores 1 and 2 swapped (T19, T20), J-JP1 on 1-2": "**engine speed wrong**, **second pulses wrong**",
}


def test_each_plug_that_fits_elsewhere_and_each_leg_has_its_row():
    """By counting what stands on the board: pairs of plugs of one pitch, and the RP2040 board's legs that lead
    anywhere."""
    names = [fault.name for fault in failure_page.BENCH.extra if not fault.on_line]
    ways = {c.ref: len(c.ways) for c in contents.CABLES if c.ref not in ("J1", "J8", "J10")}
    pairs = [(a, b) for a, b in itertools.combinations(ways.values(), 2)]
    assert sum(name.startswith("plugs of") for name in names) == sum(a == b for a, b in pairs)
    elsewhere = [name for name in names if name.startswith("plug of") and "cores" not in name]
    assert len(elsewhere) == sum(abs(a - b) + 1 if a != b else 2 for a, b in pairs)
    plugged = [line for name, line in lines(failure_page.BENCH).items() if name in elsewhere]
    told = re.compile("runs|lamp (never )?dark|button (not seen|always pressed)")
    assert plugged and all(told.match(line.split(" | ")[2]) for line in plugged), "as the bring-up page says"
    for cable in board_faults.fitted():
        cores = [name for name in names if name.startswith(f"plug of {cable.ref} cores")]
        assert len(cores) == math.comb(len(cable.ways), 2), cable.ref
    nets = items.nets(items.all_items())
    for number, net in module.pins().items():
        fitted = [ref for ref, _ in nets[net] if not ref.startswith(("K-", "TP-", "H-")) and ref != "M1"]
        assert (f"M1 {number} ({net}) open" in names) == (net != "GND" and bool(fitted)), net
    for chip in items.CHIPS:
        assert f"{chip.ref} {chip.supply} open" in names


PANEL = {  # row of the board -> what hands and eyes notice
    "none ": (),
    "T15 on ground": ("button always pressed",),
    "T18 on ground": ("lamp never dark",),
    "B-D1 open": ("lamp dark",),
    "Z-Q1 collector to emitter": ("sounder never silent",),
    "M1 17 (button) open": ("button not seen",),
    "M1 30 to 31 (RUN to a0)": ("board may reset (RUN at 1.0 V)",),
    "M1 16 to 17 (lamp to button)": ("button pressed whenever the lamp is dark",),
    "plug of J9 cores 1 and 2 swapped (T15, T16)": (),
    "plug of J9 cores 3 and 4 swapped (T17, T18)": ("lamp dark",),
}


OFTEN = ("T15 on ground", "Z-Q1 collector to emitter")


@pytest.mark.parametrize("name", [pytest.param(one, marks=() if one in OFTEN else pytest.mark.slow) for one in PANEL])
def test_button_lamp_and_sounder_are_simulated(name):
    listed = {fault.name: fault for fault in (*failure_page.BENCH.faults(), faults.Fault("none", ""))}
    assert panel_state.words(failures.run(failure_page.BENCH, listed[name])[0]) == PANEL[name]


EXCHANGED = {  # rows that only what differs from input to input shows
    "plugs of J4 and J5 swapped": "**throttle 1.50 V for 2.50**, **pressure 2.50 V for 1.50**",
    "plugs of J2 and J3 swapped": "1.10 reads 0.95**, **lambda_2 1.55 V for 2.18**",
    "plug of J4 in J5": "throttle 0.02 V for 2.50, **pressure 2.50 V for 1.50**",
}


@pytest.mark.slow
def test_exchanged_plugs_and_cores_are_told(true_on_board):
    """As the bring-up page says; and a sensor whose two supply cores are exchanged."""
    bench = failure_page.BENCH
    listed = {fault.name: fault for fault in bench.faults()}
    for name, read in EXCHANGED.items():
        row = failure_table.row(bench, listed[name])
        assert_harmless(row)
        assert read in failure_table.reading_text(row, true_on_board), name
    row = failure_table.row(bench, listed["plug of J6 cores 1 and 2 swapped (T12, T13)"])
    assert "-5 V at a sensor on T12" in failure_table.car_text(row)
    row = failure_table.row(bench, listed["plug of J1 cores 1 and 2 swapped (T1, T2)"])
    assert_harmless(row)
    assert failure_table.logger_text(row) == "off"
    assert "**J4 and J5 exchanged are told by nothing**" in bringup.markdown()


def test_a_laptop_on_a_charger_is_no_row_but_told():
    """It would burn the ground wire on 12 V, for P-F2 is not in its way: said before the rows."""
    amps = failure_page.charger_amps()
    end = failure_page.BENCH.build.terminals["T2"]
    assert failure_table.car.warming_k(amps, end.area_mm2) > failure_table.MOST_K
    text = " ".join(failure_table.path(failure_page.BENCH).read_text().split())
    assert f"would then carry {amps:.0f} A" in text and "runs on its own battery" in text


@pytest.mark.slow
def test_the_whole_table(bench):
    """Every row anew: minutes."""
    rows = failure_table.rows(bench)
    for row in rows:
        assert_harmless(row)
    notes = failure_page.notes() if bench is failure_page.BENCH else ()
    page = failure_table.table(bench, rows, failure_table.sound(bench), notes)
    assert page == failure_table.path(bench).read_text()
