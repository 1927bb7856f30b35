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

from hardware.circuit import (
    boards,
    bom,
    build,
    builds,
    failure_table,
    geometry,
    harness,
    layout,
    limits,
    model,
    netlist,
    pinouts,
    tables,
)
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
    firmware = runpy.run_path(str(build.ROOT / "firmware" / "boards" / "pin_table.py"))[board.name.upper()]
    flat = {**firmware["analog"], **firmware["pulse"], **firmware["digital"], **firmware["spi"]}
    flat |= {"button": firmware["button"], "lamp": firmware["lamp"], "buzzer": firmware["buzzer"]} | firmware["screen"]
    flat.pop("id")
    flat |= {f"x_{name}": firmware["converter_spi"][name] for name in ("sck", "mosi", "miso")}
    flat |= {"x_cs": firmware["converters"]["x"]["cs"]}
    flat |= {f"bus_{name}": number for name, number in firmware["bus"].items()}
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
    firmware = runpy.run_path(str(build.ROOT / "firmware" / "boards" / "pin_table.py"))[board.name.upper()]
    used = [firmware["button"], firmware["lamp"], firmware["buzzer"]]
    for group in ("analog", "pulse", "digital"):
        used += firmware[group].values()
    for bus in ("spi", "screen", "converter_spi"):
        used += [number for name, number in firmware[bus].items() if name != "id"]
    used += [place["cs"] for place in firmware["converters"].values()]
    used += firmware["bus"].values()
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
    for terminal, end in each.terminals.items():
        assert any(terminal in text and end.label in text for text in texts(drawn)), terminal
        for use, part in each.far_parts(terminal):
            own = end.device in ("button", "lamp")
            assert own or terminal == "T1" or any(f"{use.prefix}-{part.ref}" in text for text in texts(drawn)), part.ref


@spice.needs_ngspice
@pytest.mark.parametrize("board", boards.ALL, ids=lambda b: b.name)
@pytest.mark.parametrize("each", builds.ALL, ids=lambda b: b.name)
def test_netlist_of_the_whole_build_runs(each, board):
    """Power on, 2.5 V at the inputs, edges at the tach: board supplied, converter pins at 0.595 of it, edges at the
    pin."""
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
    low, high = bom.range_usd(each, board)
    assert f"{total:.2f} USD, {low} to {high}" in README


@pytest.mark.parametrize("board", boards.ALL, ids=lambda b: b.name)
@pytest.mark.parametrize("each", builds.ALL, ids=lambda b: b.name)
def test_wiring_table_names_every_pin_once(each, board):
    nets = tables.connections(each, board)
    placed = [
        place for places in nets.values() for place in places if not place.startswith(("board", "terminal", "the "))
    ]
    pins = sum(len(part.pins) for use in bom.fitted(each, board) for part in use.data.parts)
    extra = [place for place in placed if re.search(r" 100 nF$|-U\d pin \d+$", place)]
    assert len(placed) - len(extra) <= pins <= len(placed)
    assert {net: places for net, places in nets.items() if len(places) < 2} == {}
    assert any(place.startswith("board: ") for place in nets["AGND"]) and len(nets["AGND"]) > 3
    for place in nets["ground"]:
        assert not re.match(r"A\d-(R\d|C1|C3) *$", place), "an analog input's ground that is not AGND"


def test_net_names_meet_the_netlist():
    assert netlist.net_name("a0", "N") == "a0.n" and netlist.net_name("a0", "3V3") == "3v3"


@pytest.mark.parametrize(
    "words",
    [
        "never", "airbag", "fuse", "0.5 mm", "strain relief", "carbon monoxide", "400 V", "leak", "free air",
        "tip down", "upstream of the catalyst", "turbine", "leaded", "silicone", "weld", "hot", "unpowered", "local",
        "with the key on it is never off", "Never tap an electronic throttle or pedal", "Q1's tab is live",
        "Try it with JP1 open first", "One source at a time", "a sensor of your own is better", "Do not swap cores",
        "the resistor sits where the wire begins", "the fuse goes in last", "220 nF",
        "no ground pin stands beside IO36",
    ],
)  # fmt: skip
def test_cautions_are_there(words):
    assert words.lower() in README.lower()


@pytest.mark.parametrize("pot_ohm, told", [(10_000, "10 kΩ by 163 mV"), (20_000, "20 kΩ move by 322 mV")])
def test_readme_says_what_pots_the_tap_bears(pot_ohm, told):
    """Half open, 5 V across the pot: its quarter of ohms against R1 with 14.4 V behind it; the logger's own 2.68 Mohm
    count for nothing."""
    tap_ohm = BY_NAME["sensor_tap"].value("R1")
    shift_mv = 1e3 * (14.4 - 2.5) * (pot_ohm / 4) / (pot_ohm / 4 + tap_ohm)
    assert told in README and f"{shift_mv:.0f} mV" in told
    assert (shift_mv < failure_table.MOST_SHIFT_MV) == (pot_ohm <= 10_000)


def test_readme_quotes_what_the_data_and_simulations_hold():
    from hardware.circuit import accuracy

    low, high = accuracy.lambda_range("esp32")
    for figure in (
        *(f"{worst:.4f}" for pair in accuracy.WORST_LAMBDA.values() for worst in pair),
        f"{low:.3f} to {high:.3f}",
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


@pytest.mark.parametrize("name", layout.ALL)
def test_layout_holds_what_is_built(name):
    """Every block has its place, big enough for its parts; nothing overlaps; the coil's corner keeps 5 mm of
    everything."""
    plan, each = layout.ALL[name], next(b for b in builds.ALL if b.name == name)
    wide, high = plan.size
    for area in plan.areas:
        assert 0 <= area.left <= area.right < wide and 0 <= area.low <= area.top < high, area.name
    for k, one in enumerate(plan.areas):
        for other in plan.areas[k + 1 :]:
            assert one.distance(other) >= 0, (one.name, other.name)
            if {one.name, other.name} & set(plan.apart):
                assert (one.distance(other) + 1) * layout.PITCH_MM >= layout.CLEAR_MM, (one.name, other.name)
    supply = next(area for area in plan.areas if area.name == "P")
    assert supply.left <= plan.star[0] <= supply.right and supply.low <= plan.star[1] <= supply.top, (
        "the star is at P-C2"
    )
    for board in boards.ALL:
        for prefix, holes in layout.needed(each, board).items():
            room = sum(a.holes for a in plan.areas if a.name == prefix or a.name.startswith(prefix + " "))
            assert room >= 1.05 * holes, prefix
    shown = " ".join(area.words for area in plan.areas)
    for terminal, end in each.terminals.items():
        between = terminal in ("T16", "T17") and "T15 to T18" in shown
        assert between or re.search(rf"\b{terminal}\b", shown), terminal
        if end.clear:
            assert any(terminal in a.words for a in plan.areas if a.name in plan.apart), terminal


def test_coil_s_slot_lies_between_its_two_sides():
    plan = layout.FULL
    logic, coil = (next(a for a in plan.areas if a.name == name) for name in ("E logic", "E coil"))
    x = plan.slot[0][0]
    assert logic.right < x < coil.left and (coil.left - logic.right) * layout.PITCH_MM >= layout.CLEAR_MM


def test_legs_of_every_transistor_and_regulator_are_drawn():
    drawn = {one.stock: set() for one in pinouts.ALL}
    for one in pinouts.ALL:
        drawn[one.stock] |= {leg.split()[-1] for leg in one.legs}
    used = {part.stock for block in ALL for part in block.parts}
    for stock in used:
        if STOCK[stock].kind in ("npn", "pnp", "pmos") or stock in (
            "reg_5v",
            "opto",
            "ref_3v",
            "opamp_rr",
            "schmitt_hc14",
            "adc_spi",
            "can_phy",
            "can_ctl",
            "can_ctl_2515",
        ):
            assert stock in drawn, stock
    for kind in ("npn_small", "pnp_small"):
        usual, mirrored = (one.legs for one in pinouts.ALL if one.stock == kind)
        assert usual == mirrored[::-1]
        for name in STOCK[kind].text.split()[-3::2]:
            assert any(one.names == name for one in pinouts.ALL), name
    legs = {one.stock: [leg.split()[1:] for leg in one.legs] for one in pinouts.ALL}
    for block in (BY_NAME["can"], BY_NAME["can_2515"]):
        for part in block.parts:
            if part.stock.startswith("can_"):
                assert set(part.pins) <= {words[0] for words in legs[part.stock]}, part.stock
    svg = pinouts.svg()
    assert all(one.names in svg and one.note in svg for one in pinouts.ALL)


def test_pin_numbers_of_the_chips_are_the_drawn_ones():
    """1 anode, 2 cathode, 3 emitter, 4 collector; op-amp 1 out, 2 minus, 3 plus; inverters 1-2 and 3-4."""
    opto = next(p for p in BY_NAME["tach_opto"].parts if p.stock == "opto")
    assert [opto.pins[str(n)] for n in range(1, 5)] == ["A", "K", "0", "N"]
    for name in ("differential", "sensor_tap"):
        chip = BY_NAME[name].part("U1")
        assert [chip.pins[str(n)] for n in range(1, 4)] == ["OUT", "M", "P"]


def test_parts_list_holds_what_is_not_on_the_board():
    for each in builds.ALL:
        for board in boards.ALL:
            text = bom.as_csv(each, board)
            for word in (
                "socket strip",
                "ring lug",
                "fuse tap",
                "cable gland",
                "heat-shrink sleeve",
                "chip socket DIP-8",
            ):
                assert word in text, (each.name, word)
            count = {
                line["part"]: float(line["quantity"]) for line in csv.DictReader(io.StringIO(text)) if line["quantity"]
            }
            ways = sum(2 for _ in range(int(count["screw terminal, two ways, 5.08 mm"])))
            ways += 2 * sum("middle one left empty" in part for part in count)
            assert ways >= len(each.terminals)
            cables = len({end.device for end in each.terminals.values() if end.device})
            assert count["cable gland with strain relief"] >= cables - 2, (
                "button and lamp share one gland, as do T1 and T2"
            )
