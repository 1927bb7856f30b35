"""The units that channels may be configured in, with factors to those of the analysis: kPa, degC, V, ms, km/h."""

# Role -> configured unit -> (factor, offset) to the unit of the analysis; other units are used unchanged
_KPA = {"bar": (100.0, 0.0), "mbar": (0.1, 0.0), "psi": (6.894757, 0.0)}
_DEGC = {"degF": (1.0 / 1.8, -32.0 / 1.8), "K": (1.0, -273.15)}
UNITS = {
    "map": _KPA,
    "ambient": _KPA,
    "fuel_pressure": _KPA,
    "boost_target": _KPA,
    "coolant": _DEGC,
    "intake": _DEGC,
    "exhaust": _DEGC,
    "battery": {"mV": (0.001, 0.0)},
    "injector": {"us": (0.001, 0.0)},
    "wheel": {"mph": (1.609344, 0.0), "m/s": (3.6, 0.0)},
}
