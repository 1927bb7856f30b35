"""One description: drawings, netlists, lists and the firmware's constants must say the same."""

import csv
import html
import io
import re
import runpy
import shutil
import subprocess

import pytest
import schemdraw
import spice

from hardware.circuit import boards, bom, build, builds, geometry, harness, limits, model, netlist, tables
from hardware.circuit.blocks import ALL, BY_NAME
from hardware.circuit.stock import STOCK
from shared_math import channels

README = (build.HARDWARE / "README.md").read_text()
MADE = build.texts()


@pytest.mark.parametrize("block", ALL, ids=lambda b: b.name)
def test_the_drawing_connects_what_the_netlist_connects(block):
    assert geometry.problems(block) == []


def test_a_wrong_wire_is_noticed():
    block = BY_NAME["analog_5v"]
    values = {f: getattr(block, f) for f in block.__dataclass_fields__}
    bridged = model.Block(**values | {"wires": (*block.wires, ((16, 0), (16, -3)))})
    cut = model.Block(**values | {"wires": block.wires[1:]})
    assert geometry.problems(bridged) and geometry.problems(cut)


@pytest.mark.parametrize("block", ALL, ids=lambda b: b.name)
def test_parts_are_complete(block):
    refs = [part.ref for part in block.parts]
    assert len(set(refs)) == len(refs)
    for part in block.parts:
        stock = STOCK[part.stock]
        assert part.use, part.ref
        assert set(part.pins) == set(part.at)
        if stock.kind in ("resistor", "capacitor", "electrolytic"):
            assert model.number(part.value) > 0 and stock.volts
        if stock.kind == "resistor":
            assert stock.power_w and stock.tolerance


def test_no_net_has_a_single_end():
    """Within a block every net joins two things or leaves by a port or rail."""
    for block in ALL:
        leaving = {net for net, *_ in block.ports} | set(model.RAILS)
        for part in block.parts:
            for net in part.pins.values():
                ends = sum(list(p.pins.values()).count(net) for p in block.parts)
                assert ends > 1 or net in leaving, (block.name, net)


def test_firmware_default_dividers_agree_with_the_circuit():
    plain, battery = BY_NAME["analog_5v"], BY_NAME["analog_battery"]
    assert (plain.value("R1"), plain.value("R2")) == channels.DIVIDER_5V
    assert (battery.value("R1"), battery.value("R2")) == channels.DIVIDER_BATTERY


def test_dry_run_filter_and_converter_agree_with_the_circuit():
    from ringpull.dryrun import signals

    for name in ("analog_5v", "analog_battery"):
        assert BY_NAME[name].value("C1") == pytest.approx(signals.FILTER_F)
    for divider, most_v in ((channels.DIVIDER_5V, channels.LIMIT_5V), (channels.DIVIDER_BATTERY, 18.0)):
        assert most_v * divider[1] / sum(divider) < signals.REFERENCE_V


@pytest.mark.parametrize("board", boards.ALL, ids=lambda b: b.name)
def test_wiring_agrees_with_the_firmware(board):
    firmware = runpy.run_path(str(build.ROOT / "firmware" / "boards" / "wiring.py"))[board.name.upper()]
    flat = {**firmware["analog"], **firmware["pulse"], **firmware["digital"], **firmware["spi"]}
    flat |= {"button": firmware["button"], "lamp": firmware["lamp"], "buzzer": firmware["buzzer"]} | firmware["screen"]
    flat.pop("id")
    if board.name == "rp2":
        assert flat.pop("a3") == 29  # no pad: a third of the board's own supply
    assert {k: number for k, (number, _, _) in board.pins.items() if number is not None} == flat
    for number, pad, _ in board.pins.values():
        if number is not None:
            assert re.search(rf"(GP|IO){number}\b", pad)
    pads = [pad for _, pad, _ in board.pins.values()]
    assert len(set(pads)) == len(pads)


@pytest.mark.parametrize("board", boards.ALL, ids=lambda b: b.name)
def test_no_pin_has_two_uses(board):
    """Of the firmware's wiring table and of what the drawings keep for later."""
    firmware = runpy.run_path(str(build.ROOT / "firmware" / "boards" / "wiring.py"))[board.name.upper()]
    used = [firmware["button"], firmware["lamp"], firmware["buzzer"]]
    for group in ("analog", "pulse", "digital"):
        used += firmware[group].values()
    for bus in ("spi", "screen", "converter_spi"):
        used += [number for name, number in firmware[bus].items() if name != "id"]
    used += [place["cs"] for place in firmware["converters"].values()]
    for name, (number, pad, note) in board.pins.items():
        if number is None and note.endswith("later firmware") and name not in ("sda", "scl"):
            used.append(int(re.search(r"(?:GP|IO)(\d+)", pad)[1]))
    assert len(used) == len(set(used)), sorted(used)


@pytest.mark.parametrize("name", sorted(MADE))
def test_committed_files_are_what_the_data_give(name):
    if name.startswith("drawings") and schemdraw.__version__ != build.DRAWN_WITH:
        pytest.skip(f"the drawings are made with schemdraw {build.DRAWN_WITH}, here is {schemdraw.__version__}")
    assert (build.HARDWARE / name).read_text() == MADE[name], "run `make hardware` and commit the difference"


@pytest.mark.skipif(shutil.which("dot") is None, reason="graphviz is not installed: apt-get install graphviz")
@pytest.mark.parametrize("each", builds.ALL, ids=lambda b: b.name)
def test_harness_drawing_shows_every_wire(each):
    """Compared by its texts: graphviz of another version or with other fonts lays the same thing out differently."""
    drawn = harness.drawing(harness.yaml(each))
    committed = (build.HARDWARE / f"harness/{each.name}.svg").read_text()

    def texts(svg):
        return sorted(html.unescape(text) for text in re.findall(r"<text[^>]*>([^<]*)</text>", svg))

    assert texts(drawn) == texts(committed)
    for terminal, (label, _, _) in each.terminals.items():
        assert any(terminal in text and label in text for text in texts(drawn)), terminal


@spice.needs_ngspice
@pytest.mark.parametrize("board", boards.ALL, ids=lambda b: b.name)
@pytest.mark.parametrize("each", builds.ALL, ids=lambda b: b.name)
def test_netlist_of_the_whole_build_runs(each, board):
    """Power on, 2.5 V at the inputs, edges at the tach: board supplied, converter pins at 0.595 of it, edges at the pin."""
    text = (build.HARDWARE / f"netlists/{each.name}_{board.name}.cir").read_text()
    result = spice.run(text.replace(".tran 20u 40m", ".tran 20u 40m 0 20u"))
    assert 4.6 < result["v(vboard)"][-1] < 5.0
    assert result["v(a0)"][-1] == pytest.approx(2.5 * 10 / 16.8, abs=0.004)
    high = result["v(p0)"] > 1.65
    assert int((high[1:] & ~high[:-1]).sum()) == 8
    if "a3" in board.pins and each.name == "full":
        assert result["v(a3)"][-1] == pytest.approx(13.5 * 10 / 57, abs=0.02)


@pytest.mark.parametrize("board", boards.ALL, ids=lambda b: b.name)
@pytest.mark.parametrize("each", builds.ALL, ids=lambda b: b.name)
def test_within_budget(each, board):
    lines = list(csv.DictReader(io.StringIO(bom.as_csv(each, board))))
    total = sum(float(line["sum_usd"]) for line in lines[:-1])
    assert float(lines[-1]["sum_usd"]) == pytest.approx(total)
    assert total < each.budget_usd
    assert all(line["price_date"] == "2026-11" and line["price_source"] for line in lines[:-1])
    assert f"{total:.2f}" in README


@pytest.mark.parametrize("board", boards.ALL, ids=lambda b: b.name)
@pytest.mark.parametrize("each", builds.ALL, ids=lambda b: b.name)
def test_wiring_table_names_every_pin_once(each, board):
    nets = tables.connections(each, board)
    placed = [place for places in nets.values() for place in places if not place.startswith(("board", "terminal"))]
    pins = sum(len(part.pins) for use in bom.fitted(each, board) for part in use.data.parts)
    extra = [place for place in placed if re.search(r" 100 nF$|-U\d pin \d+$", place)]
    assert len(placed) - len(extra) <= pins <= len(placed)
    alone = {net: places for net, places in nets.items() if len(places) < 2 and net != "tap"}
    assert alone == {}


def test_net_names_meet_the_netlist():
    assert netlist.net_name("a0", "N") == "a0.n" and netlist.net_name("a0", "3V3") == "3v3"


@pytest.mark.parametrize(
    "words",
    [
        "never", "airbag", "fuse", "0.5 mm", "strain relief", "carbon monoxide", "400 V", "leak", "free air",
        "tip down", "upstream of the catalyst", "turbine", "leaded", "silicone", "weld", "hot", "unpowered", "local",
    ],
)  # fmt: skip
def test_cautions_are_there(words):
    assert words.lower() in README.lower()


def test_readme_quotes_what_the_data_and_simulations_hold():
    from hardware.circuit import accuracy

    for figure in (
        f"{accuracy.WORST_LAMBDA}",
        f"{accuracy.WORST_LAMBDA_CALIBRATED}",
        "6.8 kΩ",
        "10 kΩ",
        "470 nF",
        "47 kΩ",
    ):
        assert figure in README
    assert f"{limits.PIN_V[1]} V" in README
    for link in re.findall(r"\]\(([^)#]+)\)", README):
        assert link.startswith("http") or (build.HARDWARE / link).exists(), link
    for name in [block.name for block in ALL]:
        assert f"drawings/{name}.svg" in README


@pytest.mark.parametrize(
    "top, bottom, lost, verdict",
    [("6800", "10000", "0", "all good"), ("10000", "10000", "0", "5 BAD"), ("6800", "10000", "1", "4 BAD")],
)
def test_fixture_tells_good_from_bad(top, bottom, lost, verdict):
    from ringpull.dryrun.run import find_micropython

    script = build.ROOT / "tests" / "circuit" / "board_of_a_fixture.py"
    command = [find_micropython(), str(script), str(build.HARDWARE / "bench" / "fixture.py"), top, bottom, lost]
    path = f"{build.ROOT / 'firmware'}:{build.ROOT}"
    done = subprocess.run(command, capture_output=True, text=True, env={"MICROPYPATH": path})
    assert done.returncode == 0, done.stderr + done.stdout
    assert done.stdout.strip().splitlines()[-1].startswith(verdict)
