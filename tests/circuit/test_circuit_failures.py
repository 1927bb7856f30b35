"""The tables of faults: what they say is what ngspice gives, and no row harms car, wire or controller."""

import itertools
import re

import pytest
import spice

from hardware.board import contents, failure_page, items, module
from hardware.circuit import build, failure_table, faults, netlist

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
    "T7 on 12 V": "pressure 5.04 V for 2.50",
    "X-U1 12 open": "pressure and battery unread",
    "X-U1 1 to 2": "battery 9.03 V for 14.18",
    "J-JP1 3 open": "no engine speed",
    "M1 35 (REF) open": "lambda too rich",
    "M1 31 (a0) open": "rich end",
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
    for words in (*failure_table.meaning(rows.count("lambda too rich")), *notes):
        assert words in head
    assert "| T4 open | nothing | runs | **lambda too rich: " in rows and "1.10 reads 0.90" in rows
    assert "before the drive and after it" in head and "takes 0.2 off a lean 1.10" in head
    assert "before every event, and again after it" in (build.HARDWARE / "README.md").read_text()


@pytest.mark.parametrize(
    "bench",
    [pytest.param(one, marks=[] if one is failure_page.BENCH else pytest.mark.slow) for one in BENCHES],
    ids=lambda bench: bench.build.name,
    indirect=True,
)
@pytest.mark.parametrize("odd, lean", [("q1", 0.91), ("q3", 1.48)])
def test_unlike_clamp_transistors_are_told(bench, monkeypatch, odd, lean):
    """36 mV are four times the saturation current: V-R1 open then reads lambda wrong, as the head says."""
    sound = failure_table.failures.deck
    model = re.search(r"^\.model QPNP (.*)$", netlist.MODELS.read_text(), re.M)[1].replace("is=1.5e-14", "is=6e-14")

    def unlike(*arguments):
        lines = sound(*arguments).splitlines()
        lines = [line.replace("QPNP", "QODD") if line.startswith(f"qa0.{odd} ") else line for line in lines]
        assert any("QODD" in line for line in lines)
        return "\n".join([*lines[:-1], f".model QODD {model}", lines[-1], ""])

    monkeypatch.setattr(failure_table.failures, "deck", unlike)
    fault = next(fault for fault in bench.faults() if fault.name == "V-R1 open")
    read = failure_table.LAMBDA_AT_0V + failure_table.LAMBDA_PER_V * failure_table.row(bench, fault).read["lean"]
    most = failure_table.LAMBDA_AT_0V + failure_table.LAMBDA_PER_V * 5.04 if bench is failure_page.BENCH else 1.5
    assert read == pytest.approx(min(lean, most), abs=0.01)


@pytest.mark.slow
def test_the_coil_s_ground_resistor_open_loses_engine_speed(monkeypatch):
    """As the head says: its row has edges because of the 20 pF that a broken leg keeps here."""
    sound = failure_table.failures.deck
    monkeypatch.setattr(failure_table.failures, "deck", lambda *a: sound(*a).replace(" 20p", " 0.5p"))
    fault = next(fault for fault in failure_page.BENCH.faults() if fault.name == "C-R4 open")
    assert failure_table.row(failure_page.BENCH, fault).edges == 0


def test_each_plug_that_fits_elsewhere_and_each_leg_has_its_row():
    """By counting what stands on the board: pairs of plugs of one pitch, and the RP2040 board's legs that lead
    anywhere."""
    names = [fault.name for fault in failure_page.BENCH.extra]
    ways = {c.ref: len(c.ways) for c in contents.CABLES if c.ref not in ("J1", "J8", "J10")}
    pairs = [(a, b) for a, b in itertools.combinations(ways.values(), 2)]
    assert sum("swapped" in name for name in names) == sum(a == b for a, b in pairs)
    assert sum(name.startswith("plug of") for name in names) == sum(abs(a - b) + 1 for a, b in pairs if a != b)
    plugged = [line for name, line in lines(failure_page.BENCH).items() if name.startswith("plug")]
    assert plugged and all(line.split(" | ")[2] == "runs" for line in plugged), "as the bring-up page says"
    nets = items.nets(items.all_items())
    for number, net in module.pins().items():
        fitted = [ref for ref, _ in nets[net] if not ref.startswith(("K-", "TP-", "H-")) and ref != "M1"]
        assert (f"M1 {number} ({net}) open" in names) == (net != "GND" and bool(fitted)), net
    for chip in items.CHIPS:
        assert f"{chip.ref} {chip.supply} open" in names


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
