"""The invented engine computer's fuelling: target by load, table errors, overrun cut, wall film and fuel pressure.

Injected mass is proportional to the root of the pressure across the injector (orifice flow, Bernoulli). The wall film
is the usual two-parameter model. Figures are invented.
"""

from __future__ import annotations

import math

REGULATED_KPA = 300.0  # pressure across the injector: the regulator follows manifold pressure
TARGET_KPA = (40.0, 100.0, 200.0)
TARGET_LAMBDA = (1.0, 0.88, 0.79)
NO_FUEL_LAMBDA = 1.8  # lambda of pure air in the model: beyond the range of any sensor used here
CUT_ABOVE_RPM = 1500.0
CUT_UNTIL_RPM = 1250.0
FILM_SHARE = 0.11  # share of the injected fuel that wets the port after the computer's own compensation
FILM_S = 0.14


def target_lambda(map_kpa: float) -> float:
    """Target by manifold pressure: linear between points, constant beyond the ends."""
    if map_kpa <= TARGET_KPA[0]:
        return TARGET_LAMBDA[0]
    for at in (1, 2):
        if map_kpa <= TARGET_KPA[at]:
            share = (map_kpa - TARGET_KPA[at - 1]) / (TARGET_KPA[at] - TARGET_KPA[at - 1])
            return TARGET_LAMBDA[at - 1] + share * (TARGET_LAMBDA[at] - TARGET_LAMBDA[at - 1])
    return TARGET_LAMBDA[2]


def table_error(rpm: float, map_kpa: float) -> float:
    """Relative error of a hand-tuned table: lambda over target minus 1, below one per cent either way."""
    return -0.004 + 0.008 * math.sin(rpm / 640.0) + 0.003 * math.sin(map_kpa / 23.0)


class Fuelling:
    """State of the injection: fuel in the wall film, and whether the fuel is cut."""

    def __init__(self) -> None:
        self.film_kg = 0.0
        self.cut = False

    def step(
        self, dt_s: float, rpm: float, air_kg_s: float, seen_kpa: float, stoich: float, closed: bool, across_kpa: float
    ):
        """Advance by a step and return lambda in the cylinders.

        seen_kpa: manifold pressure as the computer measures it. across_kpa: fuel pressure above manifold pressure.
        closed: whether the throttle is closed.
        """
        self.cut = closed and rpm > (CUT_UNTIL_RPM if self.cut else CUT_ABOVE_RPM)
        injected = 0.0
        if not self.cut and across_kpa > 1.0 and rpm > 60.0:
            wanted = target_lambda(seen_kpa) * (1.0 + table_error(rpm, seen_kpa))
            injected = air_kg_s / (stoich * wanted) * math.sqrt(across_kpa / REGULATED_KPA)
        from_film = self.film_kg / FILM_S
        self.film_kg += (FILM_SHARE * injected - from_film) * dt_s
        fuel = (1.0 - FILM_SHARE) * injected + from_film
        if fuel * stoich * NO_FUEL_LAMBDA <= air_kg_s or fuel <= 0.0:
            return NO_FUEL_LAMBDA
        return air_kg_s / (stoich * fuel)


class FuelSupply:
    """Pump and regulator. The pump sags once for about a second: after a short cool-down the hot fuel gives vapour.

    sag_kpa, sag_s: depth and length of the sag. from_rpm: engine speed at which it begins, under boost, while `hot`.
    """

    def __init__(self, sag_kpa: float, sag_s: float, from_rpm: float) -> None:
        self.sag_kpa = sag_kpa
        self.sag_s = sag_s
        self.from_rpm = from_rpm
        self.spent = False
        self.left_s = 0.0
        self.missing_kpa = 0.0
        self.primed = 0.0

    def step(self, dt_s: float, t_s: float, rpm: float, map_kpa: float, hot: bool) -> float:
        """Advance by a step and return the pressure across the injector in kPa."""
        if t_s > 0.4:
            self.primed += (1.0 - self.primed) / 0.25 * dt_s
        if hot and not self.spent and rpm > self.from_rpm and map_kpa > 150.0:
            self.spent = True
            self.left_s = self.sag_s
        goal, lag_s = (self.sag_kpa, 0.12) if self.left_s > 0.0 else (0.0, 0.18)
        self.left_s -= dt_s
        self.missing_kpa += (goal - self.missing_kpa) / lag_s * dt_s
        return REGULATED_KPA * self.primed - self.missing_kpa
