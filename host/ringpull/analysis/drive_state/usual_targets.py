"""Usual targets by fuel and aspiration, for drives without a target. Common practice of the trade, no source."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ringpull.analysis.drive_state import under_load
from ringpull.analysis.drive_state.columns import Columns

# Lambda at full throttle without boost, and at full boost
FULL_LOAD = {
    "petrol": (0.88, 0.80),
    "e85": (0.85, 0.82),
    "methanol": (0.80, 0.75),
    "gas": (0.97, 0.92),
}
ASPIRATIONS = ("natural", "boosted")
NAMES = tuple(f"{fuel}-{aspiration}" for fuel in FULL_LOAD for aspiration in ASPIRATIONS)
FAMILIES = {
    "e85": "e85",
    "ethanol": "e85",
    "methanol": "methanol",
    "methane": "gas",
    "propane": "gas",
    "hydrogen": "gas",
}
CRUISE_KPA, THROTTLE_KPA, BOOST_KPA = 60.0, 95.0, 150.0  # 1.00 up to here; full throttle; full boost
BOOSTED_KPA = 115.0  # an engine that went above is boosted
ETHANOL_PCT = 85.0  # at this reading the fuel is E85


@dataclass(frozen=True)
class Usual:
    """A usual target.

    name: name of the chosen preset; None if it is used for want of a target. family: family of the fuel; None if the
    ethanol channel mixes the values of petrol and E85. full: lambda at full load, of a mixture both values. boosted,
    pressure_known: whether the engine counts as boosted, and whether manifold pressure is logged. at_boost: the value
    of a boosted engine at full load.
    """

    name: str | None
    family: str | None
    full: tuple[float, ...]
    boosted: bool
    pressure_known: bool
    at_boost: float = float("nan")

    @property
    def guessed(self) -> bool:
        """Whether nobody named it and nothing in the drive tells if the engine is boosted."""
        return self.name is None and not self.pressure_known


def preset(columns: Columns, name: str | None = None) -> tuple[np.ndarray, Usual]:
    """(lambda (rows,), its description). name: one of NAMES; else by configured fuel, boosted if pressure exceeded
    BOOSTED_KPA.

    With manifold pressure it is 1.00 at cruise, then linear to the value of full throttle and on to that of boost.
    Without pressure it is the value of full load, only where the throttle is open if there is a throttle. An ethanol
    channel mixes the values of petrol and E85.
    """
    pressure = columns.map_kpa
    known = pressure is not None and bool(np.isfinite(pressure).any())
    most_kpa = float(np.nanpercentile(pressure, 99.9)) if pressure is not None and known else 0.0
    if name is None:
        family = FAMILIES.get(columns.config.assumed_fuel.name.lower(), "petrol")
        aspiration = "boosted" if most_kpa > BOOSTED_KPA else "natural"
    else:
        family, aspiration = name.rsplit("-", 1)

    def value(fuel: str) -> np.ndarray:
        natural, boosted = FULL_LOAD[fuel]
        full = boosted if aspiration == "boosted" else natural
        if pressure is None or not known:
            opened = under_load.high(columns)
            return np.full(len(columns), full) if opened is None else np.where(opened[0], full, np.nan)
        throttle_kpa = min(THROTTLE_KPA, 0.95 * most_kpa)  # at altitude full throttle gives less
        cruise_kpa = CRUISE_KPA * throttle_kpa / THROTTLE_KPA
        if aspiration == "natural":
            return np.interp(pressure, [cruise_kpa, throttle_kpa], [1.0, natural])
        return np.interp(pressure, [cruise_kpa, throttle_kpa, BOOST_KPA], [1.0, natural, boosted])

    ethanol = columns.extra.get("ethanol")
    ethanol = None if ethanol is None or not np.isfinite(ethanol).any() else ethanol
    full = {fuel: FULL_LOAD[fuel][ASPIRATIONS.index(aspiration)] for fuel in FULL_LOAD}
    if ethanol is not None and family in ("petrol", "e85"):
        share = np.clip(np.nan_to_num(ethanol, nan=0.0) / ETHANOL_PCT, 0.0, 1.0)
        mixed = value("petrol") + (value("e85") - value("petrol")) * share
        both = (full["petrol"], full["e85"])
        return mixed, Usual(name, None, both, aspiration == "boosted", known, FULL_LOAD["petrol"][1])
    return value(family), Usual(name, family, (full[family],), aspiration == "boosted", known, FULL_LOAD[family][1])
