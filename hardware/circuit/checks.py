"""Every value that README's steps tell to measure, with the state in which it is measured.

A test computes each in ngspice at both ends of what the supply, the 3V3 and the multimeter may be off by.
"""

from __future__ import annotations

from dataclasses import dataclass

from hardware.circuit import netlist
from hardware.circuit.blocks import BY_NAME

METER_V = 1e7  # ohms of a multimeter
NO_PULL_OHM = 1e9
# RP2040: every pin's pull-down is on until a program takes it off (GPIO registers at reset: 0x56); ohms from memory of
# its maker's data sheet
PULL_OHM = (50e3, 80e3)


@dataclass(frozen=True)
class Check:
    """text: as it stands in README. blocks: instance -> block. state: what is connected. at: what is measured.

    low, high: what README allows. meter: node that the multimeter loads, or "". pin: node at a pin of the board, whose
    own pull-down is on in an RP2040 board without firmware, or "".
    """

    text: str
    blocks: dict[str, str]
    state: tuple[str, ...]
    at: str
    low: float
    high: float
    meter: str = ""
    pin: str = ""

    def deck(self, rail_v: float, feed_v: float, pull_ohm: float = NO_PULL_OHM) -> str:
        """The netlist of that state. pull_ohm: of the pull-down at `pin`."""
        body = [f"vrail 3v3 0 {rail_v}", *[line.format(feed=feed_v) for line in self.state]]
        for instance, name in self.blocks.items():
            body += netlist.lines(BY_NAME[name], instance)
        if self.meter:
            body.append(f"rmeter {self.meter} 0 {METER_V:g}")
        if self.pin:
            body.append(f"rpull {self.pin} 0 {pull_ohm:g}")
        return netlist.deck("check", [*body, ".options savecurrents gmin=1e-12 rshunt=1e12", ".op"])


_SUPPLY = {"p": "supply"}
_FED = ("vfeed p.feed 0 {feed}", "rground p.lug 0 0.01")
_ON_BOARD = (*_FED, "rboard p.vboard 0 47")
_CLAMPED = {"v": "clamp"}
_CHECK_FED = ("rsignal x.in 3v3 0.1", "rground x.sense 0 0.1")

ALL = (
    Check("5.0 V ± 0.2 V at P-U1 out", _SUPPLY, _FED, "v(5v)", 4.8, 5.2),
    Check("5.0 V ± 0.2 V at the cathode of P-D4", _SUPPLY, _FED, "v(p.vboard)", 4.8, 5.2, "p.vboard"),
    Check("less than 25 mA drawn", _SUPPLY, _FED, "i(@rp.f1[i])", 0.0, 0.025),
    Check("0 V at P-U1 out", _SUPPLY, ("vfeed p.feed 0 -{feed}", "rground p.lug 0 0.01"), "v(5v)", -0.05, 0.05),
    Check(
        "still 5.0 V ± 0.2 V at P-U1 out", _SUPPLY, ("vfeed p.feed 0 25", "rground p.lug 0 0.01"), "v(5v)", 4.8, 5.2,
    ),
    Check("below 5 V on VS", _SUPPLY, ("vfeed p.feed 0 33", "rground p.lug 0 0.01"), "v(vs)", -0.5, 5.0, "vs"),
    Check("4.7 V ± 0.2 V at VBOARD", _SUPPLY, _ON_BOARD, "v(p.vboard)", 4.5, 4.9),
    Check("VCH 2.65 to 2.80 V", _CLAMPED, (), "v(vch)", 2.65, 2.80),
    Check("VCL 0.38 to 0.45 V", _CLAMPED, (), "v(vcl)", 0.38, 0.45),
    Check(
        "below 0.03 V at pin a0",
        {"x": "differential", **_CLAMPED},
        ("rjoin x.in x.sense 0.1", "rground x.sense 0 0.1"),
        "v(x.pin)",
        0.0,
        0.03,
    ),
    Check(
        "1.94 V ± 0.08 V at pin a0",
        {"x": "differential", **_CLAMPED},
        ("rsignal x.in 3v3 0.1", "rground x.sense 0 0.1"),
        "v(x.pin)",
        1.86,
        2.02,
        pin="x.pin",
    ),
    Check(
        "at most 3.6 V at pin a0",
        {"x": "differential", **_CLAMPED},
        ("vsignal x.in 0 {feed}", "rground x.sense 0 0.1"),
        "v(x.pin)",
        0.0,
        3.6,
    ),
    Check(
        "1.05 to 1.28 V at the pin of block W0",
        {"x": "differential", "w": "wire_check", **_CLAMPED},
        (*_CHECK_FED, "rsource w.p x.p 0.001"),
        "v(w.pin)",
        1.05,
        1.28,
        pin="w.pin",
    ),
    Check(
        "1.23 V ± 0.05 V at the input of block W0",
        {"x": "differential", "w": "wire_check", **_CLAMPED},
        (*_CHECK_FED, "rsource w.p x.p 0.001"),
        "v(w.pin)",
        1.18,
        1.28,
        "w.pin",
    ),
    Check("1.65 V ± 0.05 V at the input of block Y", {"y": "rail_check"}, (), "v(y.pin)", 1.60, 1.70, "y.pin"),
    Check("9.5 to 10.5 ohm from T14 to T2", {"x": "screens"}, ("iohm 0 x.screen 1",), "v(x.screen)", 9.5, 10.5),
    Check(
        "3.3 V ± 0.1 V at pin p0",
        {"x": "tach_logic"},
        ("vline x.in 0 5", "v5v 5v 0 5", "rjumper 5v x.pu 1e9"),
        "v(x.pin)",
        3.2,
        3.4,
    ),
    Check("0 V at pin p0", {"x": "tach_logic"}, ("rline x.in 0 0.1", "v5v 5v 0 5"), "v(x.pin)", 0.0, 0.5),
    Check(
        "p0 stays at 0 V",
        {"x": "tach_opto"},
        ("vcoil x.in 0 {feed}", "rblock x.gin 0 0.1"),
        "v(x.pin)",
        0.0,
        0.5,
    ),
    Check(
        "p0 goes to 3.3 V ± 0.1 V",
        {"x": "tach_opto"},
        ("vfeed x.f 0 {feed}", "rlimit x.f x.a 1.5k", "rreturn x.k 0 0.1"),
        "v(x.pin)",
        3.2,
        3.4,
    ),
    Check("1.6 to 3.4 V at the button's pin", {"x": "button_lamp"}, ("v5v 5v 0 5",), "v(x.b)", 1.6, 3.4, "x.b", "x.b"),
    Check(
        "below 0.5 V while it is pressed",
        {"x": "button_lamp"},
        ("v5v 5v 0 5", "rpressed x.w x.wr 0.1"),
        "v(x.b)",
        0.0,
        0.5,
    ),
    Check(
        "1 to 3 mA through the lamp",
        {"x": "button_lamp"},
        ("v5v 5v 0 5", "rlit x.lamp 3v3 1"),
        "i(@rx.r3[i])",
        0.001,
        0.003,
    ),
    Check(
        "below 0.2 V at the power-fail signal",
        {"h": "hold_up"},
        ("vfeed 12v 0 {feed}", "vvs vs 0 {feed}"),
        "v(h.pf)",
        0.0,
        0.2,
    ),
    Check(
        "2.6 to 3.4 V at the power-fail signal",
        {"h": "hold_up"},
        ("rfeed 12v 0 1k", "rvs vs 0 1k"),
        "v(h.pf)",
        2.6,
        3.4,
        "h.pf",
        "h.pf",
    ),
    Check("3.3 V ± 0.1 V at pin S", {"k": "can"}, ("v5v 5v 0 5",), "v(k.s)", 3.2, 3.4, "k.s"),
    Check("3.3 V ± 0.1 V at pin TXD", {"k": "can"}, ("v5v 5v 0 5",), "v(k.d)", 3.2, 3.4, "k.d"),
    Check("2.5 V ± 0.2 V at T23", {"k": "can"}, ("v5v 5v 0 5",), "v(k.canh)", 2.3, 2.7, "k.canh"),
    Check("5.0 V ± 0.2 V at T12", {"r": "sensor_supply"}, ("vvs vs 0 {feed}",), "v(r.out)", 4.8, 5.2, "r.out"),
    Check(
        "0.9 to 1.1 ohm from T13 to T2", {"r": "sensor_supply"},
        ("iohm 0 r.gout 1", "vvs vs 0 12"), "v(r.gout)", 0.9, 1.1,
    ),
    Check(
        "1.88 V ± 0.15 V at pin a1", {"x": "analog_5v", **_CLAMPED},
        ("rsignal x.in 3v3 0.1",), "v(x.pin)", 1.73, 2.03, pin="x.pin",
    ),
    Check(
        "1.94 V ± 0.08 V at pin a2",
        {"x": "sensor_tap"},
        ("rsignal x.in 3v3 0.1", "rground x.sense 0 0.1"),
        "v(x.pin)",
        1.86,
        2.02,
        pin="x.pin",
    ),
    Check(
        "below 0.03 V at pin a2", {"x": "sensor_tap"},
        ("rj x.in x.sense 0.1", "rg x.sense 0 0.1"), "v(x.pin)", 0.0, 0.03,
    ),
    Check(
        "12.0 V give 2.10 V ± 0.05 V at pin a3", {"x": "analog_battery", **_CLAMPED},
        ("vbat x.in 0 12",), "v(x.pin)", 2.05, 2.15,
    ),
    Check(
        "3.00 V ± 0.03 V at REF", {"n": "reference"},
        ("rboard 3v3 ref 200", "iboard ref 0 150u"), "v(ref)", 2.97, 3.03,
    ),
    *(
        Check(
            f"about {volts:.2f} V",
            {"x": "differential", **_CLAMPED},
            (
                *("vcharger c 0 5", f"rone c mid {upper}", f"rtwo mid 0 {lower}"),
                *("rto mid x.in 0.1", "rground x.sense 0 0.1"),
            ),
            "v(mid)",
            volts - 0.03,
            volts + 0.03,
        )
        for volts, upper, lower in ((2.11, "10k", "10k"), (1.33, "20k", "10k"), (2.67, "10k", "20k"))
    ),
)  # fmt: skip
