"""The board to order, from its data alone: it holds the circuit, its parts have room, its tracks join its nets."""

import json
import math
import re
import runpy

import pytest

from hardware.board import (
    bringup,
    contents,
    items,
    kicad,
    make,
    module,
    places,
    prices,
    prints,
    rules,
    shape,
    tracks,
)  # fmt: skip
from hardware.board.footprints import GRID_MM
from hardware.circuit import bom, build
from hardware.circuit.boards import RP2
from hardware.circuit.stock import STOCK

ALL = items.all_items()
PLACES = places.read_places()
NETS = items.nets(ALL)
FIRMWARE = runpy.run_path(str(build.ROOT / "firmware" / "boards" / "pin_table.py"))["RP2"]


def test_every_part_of_every_block_is_there_once():
    on_board = {item.ref: item for item in ALL}
    assert len(on_board) == len(ALL)
    shared = {gate for chip in items.CHIPS for gate in chip.gates}
    for use in contents.BOARD.uses:
        for part in use.data.parts:
            ref = f"{use.prefix}-{part.ref}"
            assert (ref in on_board) == (not part.place and (use.prefix, part.ref) not in shared), ref
            if ref in on_board:
                item = on_board[ref]
                assert (item.stock, item.value) == (part.stock, part.value)
                assert item.nets == {pin: items.net_name(use, net) for pin, net in part.pins.items()}


def test_parts_of_one_net_of_a_block_are_on_one_net_of_the_board():
    """Through the shared chips too: pins of a block's net end on one net, pins of two nets on two."""
    on_board = {item.ref: item for item in ALL}
    gates = {gate: (chip.ref, pins) for chip in items.CHIPS for gate, pins in chip.gates.items()}
    for use in contents.BOARD.uses:
        found: dict[str, set[str]] = {}
        for part in use.data.parts:
            if part.place:
                continue
            ref, pins = gates.get((use.prefix, part.ref), (f"{use.prefix}-{part.ref}", {}))
            for pin, net in part.pins.items():
                found.setdefault(net, set()).add(on_board[ref].nets[pins.get(pin, pin)])
        assert all(len(nets) == 1 for nets in found.values()), use.prefix
        assert len({next(iter(nets)) for nets in found.values()}) == len(found), use.prefix


def test_no_gate_is_used_twice_and_no_input_floats():
    for chip in items.CHIPS:
        used = [pin for pins in chip.gates.values() for pin in pins.values()] + [chip.supply, chip.ground, *chip.idle]
        assert len(set(used)) == len(used)
        left = {pad.name for pad in items.footprint(chip.stock, "").pads} - set(used)
        assert left == ({"12"} if chip.stock == "schmitt_hc14" else set())  # the idle gate's output


def test_every_net_joins_two_things():
    assert [net for net, ends in NETS.items() if len(ends) < 2] == ["d0"]  # a free input of the RP2040 board


def test_the_module_s_pins_are_the_firmware_s():
    pins = module.pins()
    numbers = [number for number, _, _ in RP2.pins.values() if number is not None]
    numbers += [int(re.search(r"GP(\d+)", RP2.pins["power_fail"][1])[1])]
    others = [number for number, _ in module.SPARE.values()]
    assert others == list(FIRMWARE["bench"].values()) and len(set(numbers)) == len(numbers)
    assert {pins[int(pad.rsplit(" ", 1)[1])] for _, pad, _ in RP2.pins.values() if "GP" in pad} < set(pins.values())
    assert not set(numbers) & set(others) and len(set(others)) == len(others)
    assert {pins[pin] for pin in module.GROUNDS} == {"GND"} and pins[33] == "AGND" and pins[35] == "REF"


def test_terminals_are_the_build_s_and_end_where_the_far_parts_begin():
    shown = [way for cable in contents.CABLES for way in cable.ways if way]
    assert set(shown) == set(contents.BOARD.terminals)
    assert all(shown.count(way) == 1 for way in set(shown) - {"T14"})
    for terminal in set(shown) - {"T1", "T2", "T12", "T13", "T14"}:
        assert contents.BOARD.far_parts(terminal), terminal


# Controller: MCP2518FD data sheet DS20006027B, table 1-1 (3, 8 and 9 are not used). Transceiver: TJA1051 data sheet,
# NXP, rev. 9, table 3. Others from memory of their makers' data sheets
LEGS = {
    "can_ctl": ("TXCAN", "RXCAN", "3", "INT", "OSC2", "OSC1", "VSS", "8", "9", "SCK", "SDI", "SDO", "CS", "VDD"),
    "can_phy": ("TXD", "GND", "VCC", "RXD", "VIO", "CANL", "CANH", "S"),
    "opto": ("1", "2", "3", "4"),
    **{stock: tuple(str(k + 1) for k in range(n)) for stock, n in (("opamp_rr", 8), ("schmitt_hc14", 14),
                                                                    ("adc_spi", 16))},
}  # fmt: skip


@pytest.mark.parametrize("stock", LEGS)
def test_legs_are_counted_against_the_clock(stock):
    """From above: the first leg at the upper left, down the left side, up the right one, rows of one chip's width."""
    pads = items.footprint(stock, "").pads
    left = sorted((pad for pad in pads if pad.at[0] < 2), key=lambda pad: pad.at[1])
    right = sorted((pad for pad in pads if pad.at[0] > 2), key=lambda pad: -pad.at[1])
    assert tuple(pad.name for pad in left + right) == LEGS[stock]
    pitch, apart = (1.27, 5.08) if stock.startswith("can") else (2.54, 7.62)
    assert {round(b.at[1] - a.at[1], 3) for a, b in zip(left, left[1:])} == {pitch}
    assert {pad.at[0] for pad in right} == {apart}
    if stock.startswith("can"):  # JEDEC MS-012: 5.8 to 6.2 mm over the legs, the pads reach 0.3 mm beyond at least
        assert apart + pads[0].size[0] >= 6.2 + 0.6 and apart - pads[0].size[0] <= 3.9


def _pitch(cable) -> float:
    pads = items.footprint(cable.stock, "").pads
    return round(pads[1].at[0] - pads[0].at[0], 3)


@pytest.mark.parametrize("ref", ["J1", "J8"])
def test_12_v_and_coil_fit_no_other_socket(ref):
    """Their pitch is theirs alone."""
    pitches = {cable.ref: _pitch(cable) for cable in contents.CABLES}
    assert list(pitches.values()).count(pitches[ref]) == 1


def test_the_coil_s_terminal_bears_the_coil():
    """By its rating, by 5 mm between its pins' copper, and the step that fits it says what to look for."""
    cable = next(cable for cable in contents.CABLES if cable.ref == "J8")
    assert STOCK[cable.stock].volts >= rules.COIL_VOLTS and cable.ways == ("T5", "T6")
    assert _pitch(cable) - max(pad.size[0] for pad in items.footprint(cable.stock, "").pads) >= shape.COIL_MM
    step = next(step for step in bringup.steps() if "J8" in step.fit)
    assert f"{rules.COIL_VOLTS:.0f} V" in step.words and f"{_pitch(cable):g} mm" in step.words


def test_what_may_burn_stands_free():
    """Fusible resistors: beside the RP2040 board, not below it, and lifted by the step that fits them."""
    burning = [item for item in ALL if item.stock == "r_fusible"]
    assert {item.ref for item in burning} == {"G-R1", "R-R2"}
    for item in burning:
        assert item.ref not in places.below_module() and item.footprint.height > places.LOW_MM
        step = next(step for step in bringup.steps() if item.block in step.fit)
        assert f"{item.ref} stands 5 mm off the board" in step.words


def test_the_kit_holds_wire_sleeve_case_and_screws():
    """Two metres a core (one in the bus's), sleeve of 10 cm for two resistors, and a case for the board with its plugs
    on."""
    for each, rows in ((contents.FITTED, prices.rows()), *((b, bom.rows(b, RP2)) for b in build.builds.ALL)):
        held: dict[str, float] = {}
        for line in rows:
            held[str(line["part"])] = held.get(str(line["part"]), 0) + float(str(line["quantity"]))
        cores = [end.wire for end in each.terminals.values() if end.device]
        assert held[STOCK["wire"].text] >= 2 * cores.count("0.5 mm2")
        assert held[STOCK["wire_screened"].text] >= sum("pair 2 x" in wire for wire in cores)
        high = sum("600 V" in wire for wire in cores)
        assert held.get(STOCK["wire_600v"].text, 0) == 2 * high
        far = [part for use in each.uses for part in use.data.parts if part.place]
        far = [part for part in far if part.stock.startswith(("r", "ptc"))]
        assert 2 * held[STOCK["sleeve"].text] >= len(far) > 0
        assert held[STOCK["spacer"].text] == len(shape.HOLES)
    assert STOCK["case_big"].text in held
    inside = [int(mm) for mm in re.findall(r"\d+", STOCK["case_big"].text)]
    tallest = max(item.footprint.height for item in ALL)
    assert inside[0] >= shape.WIDTH_MM + 2 * 20 and inside[1] >= shape.HEIGHT_MM + 20 and inside[2] >= tallest + 10


def test_every_plug_brings_its_resistors():
    """Sockets of the same ways take each other's plugs: each signal wire has its first resistor at its far end, and
    what comes without one (5 V out, button, lamp) is on a socket of other ways than any input."""
    ways: dict[int, list[contents.Cable]] = {}
    for cable in contents.CABLES:
        if cable.ref not in ("J1", "J8"):
            ways.setdefault(len(cable.ways), []).append(cable)
    for same in ways.values():
        for way in {way for cable in same for way in cable.ways if len(same) > 1} - {"T14"}:
            assert any(part.stock.startswith("r") for _, part in contents.BOARD.far_parts(way)), way


def test_places_are_on_the_board_and_apart():
    rooms = {}
    for item in ALL:
        box = PLACES[item.ref].box(item.footprint.room)
        assert box[0] >= -1.2 and box[1] >= -1.2 and box[2] <= shape.WIDTH_MM + 1 and box[3] <= shape.HEIGHT_MM + 1, (
            item.ref
        )
        rooms[item.ref] = (item, box)
    for one, (item, a) in rooms.items():
        for other, (second, b) in rooms.items():
            if one >= other:
                continue
            overlap = min(a[2], b[2]) - max(a[0], b[0]), min(a[3], b[3]) - max(a[1], b[1])
            under = "M1" in (one, other) and max(min(i.footprint.height for i in (item, second)), 0) <= places.LOW_MM
            assert min(overlap) <= 1e-6 or under, (one, other)


@pytest.mark.parametrize(
    "ref, pad, other, other_pad, most_mm",
    [
        ("P-C4", "a", "P-U1", "in", 10), ("R-C2", "a", "R-U1", "in", 10), ("P-C3", "a", "P-U1", "out", 20),
        ("P-C5", "a", "P-U1", "out", 20), ("R-C1", "a", "R-U1", "out", 20), ("U1-C1", "a", "U1", "14", 8),
        ("U2-C1", "a", "U2", "8", 10), ("U3-C1", "a", "U3", "8", 10), ("X-C1", "a", "X-U1", "16", 12),
        ("X-C3", "a", "X-U1", "1", 12), ("X-C4", "a", "X-U1", "2", 12), ("S-C2", "a", "S-X1", "3V3", 15),
        ("A0-C3", "a", "M1", "31", 12), ("A1-C3", "a", "M1", "32", 12), ("A2-C3", "a", "M1", "34", 12),
        ("N-C1", "a", "M1", "35", 12), ("K-C1", "a", "K-U1", "VIO", 10), ("K-C2", "a", "K-U1", "VCC", 10),
        ("K-C5", "a", "K-U2", "VDD", 10), ("K-Y1", "a", "K-U2", "OSC1", 10), ("K-Y1", "b", "K-U2", "OSC2", 10),
    ],
)  # fmt: skip
def test_capacitors_stand_where_they_work(ref, pad, other, other_pad, most_mm):
    def at(ref, name):
        item = next(item for item in ALL if item.ref == ref)
        return PLACES[ref].point(next(p.at for p in item.footprint.pads if p.name == name))

    assert math.dist(at(ref, pad), at(other, other_pad)) <= most_mm


def _bodies():
    return {item.ref: (item, PLACES[item.ref].box(item.footprint.body)) for item in ALL}


def _words(item, found):
    """Boxes of printed words."""
    out = []
    for words, (x, y), size in found:
        half = len(words) * size * 0.85 / 2
        out.append((words, PLACES[item.ref].box((x - half, y - size / 2, x + half, y + size / 2))))
    return out


def _lap(one, other):
    return min(min(one[2], other[2]) - max(one[0], other[0]), min(one[3], other[3]) - max(one[1], other[1]))


def test_the_terminals_numbers_are_read_on_the_assembled_board():
    """Each socket's and each terminal's: behind the socket, under no part, on no pad, on no other word, at its pin."""
    taken = [box for ref, (_, box) in _bodies().items() if ref != "M1"]
    for item in ALL:
        for pad in item.footprint.pads:
            w, h = (size / 2 for size in pad.size)
            taken.append(PLACES[item.ref].box((pad.at[0] - w, pad.at[1] - h, pad.at[0] + w, pad.at[1] + h)))
        if item.stock == "point":
            taken += [box for _, box in _words(item, prints.words(item))]
    behind = []
    for cable in contents.CABLES:
        item = next(item for item in ALL if item.ref == cable.ref)
        assert set(prints.behind(item)) <= set(prints.words(item))
        found = _words(item, prints.behind(item))
        assert [words for words, _ in found] == [cable.ref, *cable.ways]
        for pad, (words, box) in zip(item.footprint.pads, found[1:]):
            x, y = PLACES[cable.ref].point(pad.at)
            middle = (box[0] + box[2]) / 2, (box[1] + box[3]) / 2
            assert min(abs(x - middle[0]), abs(y - middle[1])) < 0.01, words
        behind += found
    for k, (words, box) in enumerate(behind):
        assert all(_lap(box, other) < 0 for other in taken), words
        assert all(_lap(box, other) < 0 for _, other in behind[:k]), words
        assert 0.3 < box[0] and box[2] < shape.WIDTH_MM - 0.3 and 0.3 < box[1] and box[3] < shape.HEIGHT_MM - 0.3


def test_what_lies_below_the_rp2040_board_goes_in_before_it():
    below = places.below_module()
    assert below and all(item.footprint.height <= places.LOW_MM for item in ALL if item.ref in below)
    steps = bringup.steps()
    named = next(k for k, step in enumerate(steps) if all(ref in step.words for ref in below))
    assert named < next(k for k, step in enumerate(steps) if "M1 in its sockets" in step.fit)


def test_air_around_the_live_tab():
    """Q1's tab carries 12 V: 5 mm to heat sinks, the card's carrier and the RP2040 board, 2.5 mm to cans in sleeves;
    it wears a cap besides, which is in the parts list and in the step that fits it."""
    bodies = _bodies()
    _, q = bodies["P-Q1"]
    for ref, (item, box) in bodies.items():
        if item.stock in ("reg_5v", "c_elko", "c_elko_big", "card_socket", "board_rp2"):
            gap = max(box[0] - q[2], q[0] - box[2], box[1] - q[3], q[1] - box[3])
            assert gap >= (2.5 if item.stock.startswith("c_elko") else 5.0), ref
    assert any("insulating cap" in str(line["part"]) for line in prices.rows())
    for block in ("P", "H"):  # where it goes on, and where a meter's tip goes close by
        assert any("insulating cap" in step.words and block in step.fit for step in bringup.steps())
    near = {told.split(" ")[0]: float(re.search(r"[\d.]+", told.split("(")[1])[0]) for told in bringup.near_tab()}
    assert "H-Q1" in near and max(near.values()) < bringup.TAB_MM
    assert not any(ref.startswith("TP-") for ref in near), "a meter's tip goes nowhere near it"
    words = next(step.words for step in bringup.steps() if "P" in step.fit)
    assert all(told in words for told in bringup.near_tab()) and "nothing stands within" not in words


def test_the_coil_s_corner():
    """Slot between the opto-coupler's sides; every pad that is not the coil's keeps 5 mm of every one that is."""
    coil, others = [], []
    for item in ALL:
        for pad in item.footprint.pads:
            at = PLACES[item.ref].point(pad.at)
            (coil if rules.class_of(item.nets.get(pad.name, "")).name == "coil" else others).append(
                (at, max(pad.size) / 2)
            )
    assert len(coil) == 8
    closest = min(math.dist(a, b) - r - s for a, r in coil for b, s in others)
    assert closest >= shape.COIL_MM
    (x, top), (_, low) = shape.SLOT
    left = [at for at, _ in coil]
    assert max(at[0] for at in left) + 0.8 < x - shape.SLOT_MM / 2
    opto = next(item for item in ALL if item.ref == "C-U2")
    right = [PLACES["C-U2"].point(pad.at) for pad in opto.footprint.pads if pad.name in "34"]
    assert all(at[0] - 0.8 > x + shape.SLOT_MM / 2 and top < at[1] < low for at in right)
    for a in left:
        for b in right:
            over = min(
                math.dist(a, (x, end)) + math.dist((x, end), b)
                for end in (top - shape.SLOT_MM / 2, low + shape.SLOT_MM / 2)
            )
            assert over - 1.6 >= rules.SLOT_CREEPAGE_MM  # along the surface around the slot's ends
    assert shape.COIL_MM >= rules.clearance_for(rules.COIL_VOLTS)


def test_tracks_join_every_net_and_nothing_else():
    """Read from tracks.csv and the pads' places alone."""
    rows = tracks.read_tracks()
    joined: dict[str, set[tuple[str, str]]] = {}
    for net, ends in NETS.items():
        pads = []
        for item in ALL:
            for pad in item.footprint.pads:
                if item.nets.get(pad.name) == net:
                    x, y = PLACES[item.ref].point(pad.at)
                    pads.append(((round(x / GRID_MM), round(y / GRID_MM)), pad.drill > 0))
        groups = _groups([track for track in rows if track.net == net], pads)
        assert groups == 1, f"{net} is in {groups} pieces"
        joined[net] = set(ends)
    assert {track.net for track in rows} <= set(NETS)


def _groups(tracks, pads) -> int:
    """Into how many pieces the net's pads fall."""
    spans = []
    for track in tracks:
        if track.side == "through":
            spans.append([(0, track.a), (1, track.a)])
        else:
            layer = int(track.side == "lower")
            steps = max(abs(track.a[0] - track.b[0]), abs(track.a[1] - track.b[1]))
            dx, dy = (track.b[0] - track.a[0]) // steps, (track.b[1] - track.a[1]) // steps
            spans.append([(layer, (track.a[0] + k * dx, track.a[1] + k * dy)) for k in range(steps + 1)])
    for at, both in pads:
        spans.append([(0, at), (1, at)] if both else [(0, at)])
    parent: dict = {}

    def root(point):
        while parent.setdefault(point, point) != point:
            point = parent[point]
        return point

    for span in spans:
        for point in span[1:]:
            parent[root(point)] = root(span[0])
    return len({root((0, at)) for at, _ in pads})


def test_no_via_takes_the_solder_of_a_pad_without_a_hole():
    vias = [(GRID_MM * t.a[0], GRID_MM * t.a[1]) for t in tracks.read_tracks() if t.side == "through"]
    for item in ALL:
        for pad in item.footprint.pads:
            if not pad.drill:
                w, h = (size / 2 for size in pad.size)
                box = PLACES[item.ref].box((pad.at[0] - w, pad.at[1] - h, pad.at[0] + w, pad.at[1] + h))
                for x, y in vias:
                    away = max(box[0] - x, x - box[2], 0), max(box[1] - y, y - box[3], 0)
                    assert math.hypot(*away) >= rules.VIA_MM / 2, (item.ref, pad.name)


@pytest.mark.parametrize("name", rules.CLASSES)
def test_widths_and_distances_bear_what_flows_and_stands(name):
    """IPC-2221: width for 10 K at the class's current; distance of bare outer copper at its volts."""
    one = rules.CLASSES[name]
    assert one.width_mm >= rules.width_for(one.current_a)
    assert one.clear_mm >= rules.clearance_for(one.volts) or one.volts <= 30


def test_a_via_bears_what_its_net_carries():
    """A plated hole's wall, 20 um thick (common practice, no source), against the width that the current needs."""
    wall_mm2 = math.pi * rules.VIA_DRILL_MM * 0.02
    for net in {track.net for track in tracks.read_tracks() if track.side == "through"}:
        own = rules.class_of(net)
        assert wall_mm2 >= rules.width_for(own.current_a) * rules.COPPER_MM, net


def test_the_width_formula():
    """1 A, 10 K, 35 um outer copper: 0.30 mm; 3 A: 1.37 mm (the formula's chart, read from memory)."""
    assert rules.width_for(1.0) == pytest.approx(0.30, abs=0.01)
    assert rules.width_for(3.0) == pytest.approx(1.37, abs=0.03)


def test_the_supply_s_way_is_wide_from_end_to_end():
    """Between the pads that carry the class's current lies copper of the class's width alone."""
    for net, main in rules.MAIN.items():
        own = rules.class_of(net)
        wide = [t for t in tracks.read_tracks() if t.net == net and t.kind in (own.name, "")]
        pads = []
        for item in ALL:
            for pad in item.footprint.pads:
                if (item.ref, pad.name) in main:
                    x, y = PLACES[item.ref].point(pad.at)
                    pads.append(((round(x / GRID_MM), round(y / GRID_MM)), pad.drill > 0))
        assert len(pads) == len(main), net
        assert _groups(wide, pads) == 1, net


def test_what_needs_no_kicad_is_what_the_data_give():
    for name, text in make.texts().items():
        assert (make.MADE / name).read_text(encoding="utf-8") == text, (
            f"run `make board` and commit the difference: {name}"
        )


def test_the_same_data_give_the_same_board_file():
    assert kicad.board_text() == kicad.board_text()
    text = kicad.board_text()
    stamps = re.findall(r"tstamp ([0-9a-f-]+)", text)
    assert len(set(stamps)) == len(stamps)
    assert json.loads(kicad.project_text())["net_settings"]["classes"][0]["name"] == "Default"


def test_the_parts_need_more_than_100_by_80_mm():
    rooms = [item.footprint.room for item in ALL]
    area_cm2 = sum((x1 - x0) * (y1 - y0) for x0, y0, x1, y1 in rooms) / 100
    assert area_cm2 > 10 * 8
    assert f"come to {area_cm2:.0f} cm²" in (build.HARDWARE / "README.md").read_text()
    assert f"{shape.WIDTH_MM:g} x {shape.HEIGHT_MM:g} mm:" in (build.HARDWARE / "README.md").read_text()


def test_the_price_is_the_sum_of_its_lines():
    total = sum(float(str(line["sum_usd"])) for line in prices.rows())
    assert prices.total_usd() == pytest.approx(total, abs=0.01)
    assert total < contents.BOARD.budget_usd
    low, high = prices.range_usd()
    readme = (build.HARDWARE / "README.md").read_text()
    assert f"{prices.total_usd():.2f} USD, {low} to {high}" in readme
    assert f"{prices.BARE_USD:.2f} USD" in readme
    assert f"{prices.FIRST_ORDER_USD:.2f} USD for that order" in readme
    assert prices.first_usd() == pytest.approx(total + (prices.BOARDS_ORDERED - 1) * prices.BARE_USD, abs=0.05)
    assert f"The first logger: {prices.first_usd():.2f} USD" in readme
    refs = {ref for line in prices.rows() for ref in str(line["where"]).split()}
    assert {item.ref for item in ALL if item.fitted and item.stock != "point"} <= refs
    assert not {item.ref for item in ALL if not item.fitted} & refs
    assert all(line["price_date"] == "2026-11" for line in prices.rows())


def test_no_build_on_perfboard_lost_a_part_list():
    assert all(bom.rows(each, RP2) for each in build.builds.ALL)
    assert all(item.stock in STOCK or item.stock == "point" for item in ALL)
