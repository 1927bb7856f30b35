"""The car around the logger as netlist lines: battery, lambda controller, engine computer, coil, and the harness.

Common practice, no source, where nothing else is said. The logger's ground is node 0; battery minus is BM. Every wire
of the harness has an end at the logger (t3), a middle where it may chafe (t3m), and an end in the car (t3f).
"""

from __future__ import annotations

from hardware.circuit.builds import Build

BATTERY_V = 14.4
TRUE_V = {  # lambda 0.85, then 1.10; the second one 0.95; no two alike, so that what is exchanged is seen
    "lambda": 1.5625,
    "lean": 3.125,
    "lambda_2": 2.1875,
    "throttle": 2.5,
    "pressure": 1.5,
    "battery": 14.18,  # at the logger, behind its wire
}
LENGTH_M = 2.0
COPPER_OHM_MM2_PER_M = 0.0175
AIR_W_PER_M_K = 0.035  # from a thin wire in a tied bundle to what is around it: 40 K at 6 A in 0.5 mm2
RPM_PERIOD_S = 5e-3  # a spark every 5 ms: 6000 rpm with two a revolution
SECOND_PERIOD_S = 2.5e-3  # of the second pulses: another speed, so that exchanged lines are seen

_COMMON = [
    f"vbat bat bm {BATTERY_V}",
    "rhot bat hot 0.05",  # any wire of the car on 12 V
    "rchassis chassis bm 0.005",
    "rtap bat tap 0.05",
    "rlug car_ground bm 0.005",
    "iheat bat car_ground 2",  # the sensor's heater
    "rsignal car_lambda_ground car_ground 0.05",
    f"vlam lamo car_lambda_ground pwl(0 {TRUE_V['lambda']} 1.5 {TRUE_V['lambda']} 1.51 {TRUE_V['lean']})",
    "rlam lamo car_lambda 100",
    "recu eg bm 0.005",
    "iecu bat eg 3",
]
_THROTTLE = [  # 5 kohm, half open, on the engine computer's 5 V
    "vref ref5 eg 5",
    "rpot1 ref5 car_throttle 2.5k",
    "rpot2 car_throttle car_throttle_ground 2.5k",
    "rsensor car_throttle_ground eg 0.05",
]
_PRESSURE = [  # a sensor of the user's own: a share of its supply, 5 mA
    f"bpress pressi t13f v = {TRUE_V['pressure'] / 5:g}*v(t12f,t13f)",
    "rpress pressi t7f 100",
    "rload t12f t13f 1k",
]
_PRESSURE_TAP = [  # the engine computer's own sensor, on its 5 V
    f"vpress presso car_pressure_ground {TRUE_V['pressure']}",
    "rpress presso car_pressure 100",
    "rpsensor car_pressure_ground eg 0.05",
]
_SENSOR_LOAD = ["rload t12f t13f 1k"]
_LAMBDA_2 = [
    "rsignal2 car_lambda_2_ground car_ground 0.05",
    f"vlam2 lamo2 car_lambda_2_ground {TRUE_V['lambda_2']}",
    "rlam2 lamo2 car_lambda_2 100",
]
BUS_DOMINANT_S = (1.1, 1.35)  # from when to when a unit of the car drives it
_BUS = [  # two terminations; ten units' inputs; the driver of one: 40 ohm to either side (common practice, no source)
    "rends car_bus_high car_bus_low 60",
    "vbmid busmid eg 2.5",
    "rbh car_bus_high busmid 2.5k",
    "rbl car_bus_low busmid 2.5k",
    "vb5 bus5 eg 5",
    "sbh bus5 car_bus_high bgate 0 busdrive",
    "sbl car_bus_low eg bgate 0 busdrive",
    f"vbgate bgate 0 pulse(0 1 {BUS_DOMINANT_S[0]} 1m 1m {BUS_DOMINANT_S[1] - BUS_DOMINANT_S[0]:g} 10)",
    ".model busdrive SW(vt=0.5 vh=0.1 ron=40 roff=10meg)",
    "rbg car_bus_ground eg 0.05",
]
COIL = [  # half an ohm, 4 mH; the driver holds at most 400 V
    "rcoil bat cbeg 0.5",
    "lcoil cbeg cend 4m",
    "rcore cbeg cend 3k",
    "vcoil cend car_coil 0",
    "ccoil car_coil bm 2n",
    "dclamp bm car_coil drv400",
    ".model drv400 D(bv=400 rs=2 is=1e-12)",
    "sdrive car_coil bm gate 0 drive",
    ".model drive SW(vt=0.5 vh=0.1 ron=0.05 roff=10meg)",
]


def charge(sparks: bool) -> list[str]:
    """The driver's gate: 3 ms of charge before every spark, or never."""
    return [f"vgate gate 0 pulse(0 1 1m 1u 1u 3m {RPM_PERIOD_S:g})" if sparks else "vgate gate 0 0"]


def lines(build: Build, sparks: bool) -> list[str]:
    """What stands around that build; with the engine turning, or at rest with the key on."""
    body = [*_COMMON]
    for place, there in (
        ("car_throttle", _THROTTLE),
        ("T12", [] if build.reaches("car_pressure") else _PRESSURE),
        ("car_pressure", [*_PRESSURE_TAP, *_SENSOR_LOAD]),
        ("car_lambda_2", _LAMBDA_2),
        ("car_coil", [*COIL, *charge(sparks), "rblock car_block bm 0.002"]),
        ("car_tach", _tach(sparks)),
        ("car_tach_2", _second(sparks)),
        ("car_bus_high", _BUS),
    ):
        body += there if build.reaches(place) else []
    return body


def _tach(sparks: bool) -> list[str]:
    """The engine computer's tach output: pulls a resistor to ground, twice a revolution or never."""
    pulse = f"pulse(1 0 1m 10u 10u 2.5m {RPM_PERIOD_S:g})" if sparks else "1"
    drive = ["rtach bat car_tach 1k", "stach car_tach eg tgate 0 tout", f"vtgate tgate 0 {pulse}"]
    return [*drive, ".model tout SW(vt=0.5 vh=0.1 ron=10 roff=10meg)"]


def _second(sparks: bool) -> list[str]:
    """An injector's switched side, at 12 V through its winding until its driver pulls; its flyback left out."""
    pulse = f"pulse(0 1 1.3m 10u 10u 1m {SECOND_PERIOD_S:g})" if sparks else "0"
    drive = ["rinjector bat car_tach_2 14", "stach2 car_tach_2 eg t2gate 0 tout2", f"vt2gate t2gate 0 {pulse}"]
    return [*drive, ".model tout2 SW(vt=0.5 vh=0.1 ron=0.3 roff=10meg)"]


def wire_ohm(area_mm2: float) -> float:
    """Ohms of one wire of the harness."""
    return COPPER_OHM_MM2_PER_M * LENGTH_M / area_mm2


def warming_k(amps: float, area_mm2: float) -> float:
    """How much warmer than its surroundings a wire of the harness gets, in kelvin, carrying that current for good."""
    return amps * amps * COPPER_OHM_MM2_PER_M / area_mm2 / AIR_W_PER_M_K
