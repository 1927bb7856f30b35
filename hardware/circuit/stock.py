"""Parts as one buys them: generic types, the ratings the simulations hold them to, prices.

Ratings are those common to this class of part at every maker (from memory; compare the data sheet of what you buy).
Prices are US dollars for a single piece, shipping left out, PRICE_DATE, price from memory.
"""

from __future__ import annotations

from dataclasses import dataclass

from shared_math import front_end

PRICE_DATE = "2026-11"
PRICE_SOURCE = "price from memory"
SPREAD = (0.8, 1.5)  # of a sum: many sellers abroad, one dear seller near by (assumed)
SHIPPING_USD = (5.0, 25.0)  # one parcel, four parcels (assumed)


@dataclass(frozen=True)
class Stock:
    """kind: symbol and netlist letter. model: of the netlist. power_w: steady, at 70 degC around it.

    volts: most across it (transistors: collector to emitter, drain to source). peak_a: most current in a pulse.
    surge: how many times power_w it bears for up to 10 ms (resistors: 2.5 times the rated volts for 5 s, IEC 60115-1).
    steady_s: how long a load must last to count as steady; a heat sink is slow to warm.
    """

    text: str
    kind: str
    price: float
    power_w: float = 0.0
    volts: float = 0.0
    peak_a: float = 0.0
    surge: float = 1.0
    tolerance: float = 0.0
    tempco_ppm: float = 0.0
    model: str = ""
    steady_s: float = 1.0

    @property
    def rating(self) -> str:
        """The ratings in words, for the part list."""
        words = [
            f"{self.tolerance:.1%}".replace(".0%", "%") if self.tolerance else "",
            f"{self.power_w:g} W" if self.power_w else "",
            f"{self.volts:g} V" if self.volts else "",
            f"{self.peak_a:g} A" if self.peak_a else "",
            f"{self.tempco_ppm:g} ppm/K" if self.tempco_ppm else "",
        ]
        return ", ".join(w for w in words if w)


def _resistor(text: str, price: float, power_w: float, volts: float, tolerance: float, tempco: float, surge=6.25):
    return Stock(text, "resistor", price, power_w, volts, 0, surge, tolerance, tempco)


# What the inputs are soldered of: tolerance, ppm/K
_AS_BUILT = {one: (front_end.RESISTOR_TOLERANCE[one], front_end.RESISTOR_PPM[one]) for one in front_end.RESISTOR_PPM}

_BOTH_HALVES = ": socket for the board, lying, and its plug with screws (often two order numbers)"
STOCK = {
    "r": _resistor("metal film resistor", 0.03, 0.6, 350, *_AS_BUILT[front_end.PLAIN]),
    "r_precise": _resistor("metal film resistor, 0.1 %", 0.25, 0.25, 250, *_AS_BUILT[front_end.DIFFERENTIAL]),
    "r_fusible": _resistor(
        "flameproof fusible resistor, opens in 1 s at 16 times its power", 0.12, 0.5, 250, 0.05, 200
    ),
    "r_power": _resistor("wire-wound resistor", 0.20, 3, 350, 0.05, 200, surge=20),
    "c": Stock("ceramic capacitor X7R", "capacitor", 0.04, volts=50, tolerance=0.10),
    "c_np0": Stock("ceramic capacitor NP0", "capacitor", 0.05, volts=50, tolerance=0.05),
    "c_film": Stock("film capacitor (polyester), 5 mm", "capacitor", 0.12, volts=63, tolerance=0.05),
    "c_film_hv": Stock("film capacitor (polyester)", "capacitor", 0.35, volts=250, tolerance=0.10),
    "c_big": Stock("ceramic capacitor X7R, leaded, 25 V", "capacitor", 0.60, volts=25, tolerance=0.10),
    "c_elko": Stock("electrolytic capacitor, 105 degC", "electrolytic", 0.12, volts=35, tolerance=0.20),
    "c_elko_big": Stock("electrolytic capacitor, 105 degC", "electrolytic", 1.10, volts=35, tolerance=0.20),
    "d_1n4007": Stock("rectifier diode 1N4007", "diode", 0.04, 1.0, 1000, 30, 30, model="D1N4007"),
    "d_1n5408": Stock("rectifier diode 3 A, 1N5408", "diode", 0.12, 3.0, 1000, 100, 20, model="D1N5408"),
    "d_1n4148": Stock("signal diode 1N4148", "diode", 0.02, 0.5, 100, 2, 10, model="D1N4148"),
    "d_1n5819": Stock("Schottky diode 1N5819", "schottky", 0.08, 1.0, 40, 25, 25, model="D1N5819"),
    "d_bat85": Stock("small Schottky diode BAT85", "schottky", 0.08, 0.2, 30, 0.6, 5, model="DBAT85"),
    "z_12": Stock("Zener diode 12 V", "zener", 0.04, 0.5, 12, 0.2, 10, 0.05, model="DZ12"),
    "z_27": Stock("Zener diode 27 V", "zener", 0.04, 0.5, 27, 0.1, 10, 0.05, model="DZ27"),
    "z_62": Stock("Zener diode 62 V", "zener", 0.10, 1.3, 62, 0.1, 10, 0.05, model="DZ62"),
    "z_tvs6v8": Stock("transient suppressor 6.8 V, 600 W (1 ms)", "zener", 0.35, 5, 6.8, 57, 60, 0.05, model="DTVS6V8"),
    "ref_3v": Stock(
        "shunt reference 3.0 V, 0.5 %, 100 ppm/K (LM4040-3.0 class)",
        "zener",
        0.90,
        0.3,
        3,
        0.015,
        5,
        front_end.FITTED_REFERENCE_TOLERANCE,
    ),
    "z_can": Stock("suppressor for a CAN pair, 24 V, both ways, 11 pF", "suppressor", 0.40),
    "npn_small": Stock("NPN transistor 2N3904 or BC547", "npn", 0.04, 0.5, 40, 0.2, 5, model="QNPN"),
    "pnp_small": Stock("PNP transistor 2N3906 or BC557", "pnp", 0.04, 0.5, 40, 0.2, 5, model="QPNP"),
    "pnp_300v": Stock("PNP transistor 300 V, MPSA92", "pnp", 0.12, 0.6, 300, 0.5, 5, model="QPNP300"),
    "pmos_200v": Stock(
        "P-channel MOSFET 200 V, at most 0.5 ohm, TO-220 (IRF9640)", "pmos", 1.10, 2.0, 200, 44, 50, model="MP200"
    ),
    "reg_5v": Stock(
        "low-drop regulator 5 V 1 A for cars, TO-220 with a 20 K/W clip-on heat sink (LM2940-5 class: 60 V load dump, "
        "-15 V)",
        "box",
        2.00,
        2.4,
        26,
        surge=4,
        steady_s=10,
    ),
    "ptc_100ma": Stock("resettable fuse 0.1 A hold, 60 V", "fuse", 0.20, volts=60, peak_a=40),
    "ptc_750ma": Stock("resettable fuse 0.75 A hold, 60 V", "fuse", 0.25, volts=60, peak_a=40),
    "fuse_1a": Stock("blade fuse 1 A", "fuse", 0.20, volts=32),
    "schmitt_hc14": Stock("six Schmitt inverters 74HC14, DIP", "box", 0.45, 0.5, 7),
    "opamp_rr": Stock(
        "dual rail-to-rail op-amp for 3.3 V, offset at most 0.5 mV, inputs bear 2 mA, DIP (MCP6022 class)",
        "box",
        1.60,
        0.5,
        6,
    ),
    "opto": Stock("opto-coupler, CTR at least 50 % (PC817 class)", "box", 0.20, 0.15, 35, 0.05),
    "can_phy": Stock(
        "CAN transceiver with silent mode, dominant time-out, bus pins +/-58 V, logic supply 3.3 V, SO-8 (TJA1051T/3 "
        "class)",
        "box",
        1.60,
        volts=58,
    ),
    "can_ctl": Stock("CAN controller on SPI, 32 frames, times, 3.3 V, SO-14 (MCP2518FD class)", "box", 2.60, volts=6),
    "can_ctl_2515": Stock("CAN controller on SPI, two frames, 3.3 V, DIP-18 (MCP2515 class)", "box", 2.20, volts=7),
    "crystal": Stock("crystal, fundamental mode (no overtone), load 10 pF, HC-49", "crystal", 0.40),
    "adc_spi": Stock("converter, eight inputs, 12 bits, SPI, DIP (MCP3208 class)", "box", 3.20, volts=7),
    "button": Stock("push button, closing, for a panel", "button", 0.80),
    "led": Stock("light-emitting diode 5 mm in a holder", "led", 0.20, 0.06, 5, 0.03, model="DLED"),
    "buzzer": Stock("buzzer 5 V with its own oscillator, at most 30 mA", "box", 0.70),
    "jumper": Stock("jumper with pins", "switch", 0.05),
    "jumper3": Stock("jumper on three pins", "box", 0.06),
    "switch": Stock("slide switch", "switch", 0.25),
    "card_socket": Stock("micro-SD socket on a carrier, 3.3 V, without level shifter", "box", 0.80),
    "screen": Stock("OLED screen 128 x 64, I2C, 3.3 V", "box", 3.20),
    "board_rp2": Stock("RP2040 board with headers", "board", 4.50),
    "board_esp32": Stock("ESP32 board, 38 pins", "board", 5.50),
    "card": Stock("micro-SD card 8 to 32 GB, with a name you know", "loose", 4.50),
    "perfboard": Stock("perfboard 90 x 150 mm", "loose", 1.40),
    "perfboard_big": Stock("perfboard 120 x 160 mm", "loose", 2.20),
    "terminal": Stock("screw terminal, two ways, 5.08 mm", "loose", 0.20),
    "terminal_clear": Stock(
        "screw terminal, three ways, 5.08 mm, the middle one left empty: 5 mm clear", "loose", 0.30
    ),
    "plug_2": Stock(f"pluggable terminal, two ways, 3.81 mm{_BOTH_HALVES}", "loose", 0.70, volts=150),
    "plug_3": Stock(f"pluggable terminal, three ways, 3.81 mm{_BOTH_HALVES}", "loose", 0.90, volts=150),
    "plug_4": Stock(f"pluggable terminal, four ways, 3.81 mm{_BOTH_HALVES}", "loose", 1.10, volts=150),
    "plug_coil": Stock(
        f"pluggable terminal, two ways, 7.62 mm, for 400 V and more{_BOTH_HALVES}",
        "loose",
        1.60,
        volts=630,  # IEC 60664-1, overvoltage category III, pollution degree 2: usual in this class (from memory)
    ),
    "plug_power": Stock(
        f"pluggable terminal, two ways, 5.08 mm{_BOTH_HALVES}",
        "loose",
        0.90,
        volts=300,
    ),
    "adapter_so8": Stock("adapter, SO-8 to DIP", "loose", 0.30),
    "adapter_so14": Stock("adapter, SO-14 to DIP", "loose", 0.35),
    "bus_plug": Stock("plug for the diagnostic socket (SAE J1962 type A), with pins to solder", "loose", 2.50),
    "dip4": Stock("socket for a four-leg opto-coupler", "loose", 0.10),
    "dip8": Stock("chip socket DIP-8", "loose", 0.10),
    "dip16": Stock("chip socket DIP-16", "loose", 0.14),
    "dip14": Stock("chip socket DIP-14", "loose", 0.12),
    "socket_strip": Stock("socket strip for the board, 20 ways, 2.54 mm", "loose", 0.40),
    "cap_to220": Stock("insulating cap for TO-220, silicone", "loose", 0.25),
    "case": Stock("plastic case", "loose", 1.80),
    "case_big": Stock("plastic case, inside at least 190 x 130 x 55 mm", "loose", 5.50),
    "spacer": Stock("spacer M3, 8 mm, plastic, with its two screws", "loose", 0.15),
    "gland": Stock("cable gland with strain relief", "loose", 0.30),
    "fuse_tap": Stock("fuse tap for the car's fuse box, with its own place for a 1 A fuse", "loose", 1.00),
    "lug": Stock("ring lug for M6 or M8, crimped", "loose", 0.15),
    "sleeve": Stock("heat-shrink sleeve with glue, 600 V, 10 cm: for two resistors", "loose", 0.40),
    "wire": Stock("wire 0.5 mm2 (20 AWG), metre, thin-wall for cars", "loose", 0.35),
    "wire_600v": Stock("wire 0.5 mm2 with 600 V insulation, 105 degC, metre", "loose", 0.90),
    "wire_screened": Stock("screened pair 2 x 0.25 mm2, metre", "loose", 0.70),
}
