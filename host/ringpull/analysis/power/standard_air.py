"""The density of air, and factors that correct power to standard air."""

from __future__ import annotations

import numpy as np


def sae_j1349(kpa: float, degc: float, humidity: float = 0.0) -> float:
    """Correction factor on power: 1.18 (990/pd) sqrt((t+273)/298) - 0.18, pd dry pressure in mbar (SAE J1349, by
    secondary copies; meant for 0.93-1.07)."""
    dry_mbar = 10.0 * (kpa - humidity * vapour_kpa(degc))
    return 1.18 * (990.0 / dry_mbar) * np.sqrt((degc + 273.0) / 298.0) - 0.18


def iso_1585(kpa: float, degc: float, humidity: float = 0.0) -> float:
    """Correction factor for spark ignition: (99/pd)^1.2 (T/298)^0.6 (ISO 1585; value from memory)."""
    return (99.0 / (kpa - humidity * vapour_kpa(degc))) ** 1.2 * ((degc + 273.0) / 298.0) ** 0.6


def din_70020(kpa: float, degc: float, humidity: float = 0.0) -> float:
    """Correction factor (1013/p) sqrt((t+273)/293), p as measured (DIN 70020; value from memory). Ignores humidity."""
    del humidity
    return 101.3 / kpa * np.sqrt((degc + 273.0) / 293.0)


def vapour_kpa(degc: float) -> float:
    """Saturation pressure of water in kPa, -40 to 50 degC (Magnus form, Alduchov and Eskridge 1996)."""
    return 0.61094 * np.exp(17.625 * degc / (degc + 243.04))


def air_kg_m3(kpa: float, degc: float) -> float:
    """Density of dry air by the ideal gas law, R 287.05 J/kgK (ISO 2533)."""
    return 1000.0 * kpa / (287.05 * (degc + 273.15))


MEANT_FOR = (0.93, 1.07)  # the range of factors that the corrections are meant for (SAE J1349, value from memory)
CORRECTIONS = {"sae": sae_j1349, "iso": iso_1585, "din": din_70020}
