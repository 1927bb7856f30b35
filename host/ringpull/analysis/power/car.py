"""The car in a pull: mass, gear and road loads with their uncertainties, and the source of the gear."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

import numpy as np

from ringpull.analysis.drive_state.columns import Columns

# Stated assumptions with standard uncertainties (shares unless noted). Common practice without a source unless one is
# named.
AIR_KG_M3 = 1.20
CDA_M2, CRR = 0.65, 0.013
MASS_U, CDA_U, CRR_U, AIR_U = 0.02, 0.08, 0.20, 0.03
CDA_ASSUMED_U, CRR_ASSUMED_U = 0.2, 0.35
# Rotating parts behind the engine as a share of the mass: wheels, and the shafts behind the clutch, whose share grows
# with the square of the gear ratio (form and 0.04: Gillespie, Fundamentals of Vehicle Dynamics, 2: mass factor). Power
# that speeds up the crank itself never reaches the wheels.
WHEELS, WHEELS_U = 0.04, 0.015
SHAFTS, SHAFTS_U = 0.0004, 0.0003  # times the square of crank turns per wheel turn
TYRE_M = 0.30  # rolling radius, for the crank turns per wheel turn
ROTATING_U = 0.02
GEAR_U = 0.010  # of the tyre's rolling circumference: wear, pressure, growth with speed
SLIP_U = 0.012  # of the driven wheels' slip under full load, which is taken as 0
WIND_M_S_U = 2.0  # of the wind along the road, which is taken as 0
GRADE_U = 0.012  # of an unknown slope; 1 % of slope is about 3 % of power
GEAR_NEAR = 0.06  # largest deviation from a configured gear; beyond it the wheels slip or the gear is another


class Unknown(Enum):
    """The missing fact without which power can't be estimated."""

    MASS = "mass"
    GEAR = "gear"


class GearFrom(Enum):
    """The source of a pull's gear."""

    GIVEN = "given"
    WHEEL = "wheel speed"
    CONFIGURED = "configured"


@dataclass(frozen=True)
class Car:
    """The car. rpm_per_kmh: the gear, engine rpm per km/h. grade: slope of the road, None if not known.

    *_u: standard uncertainties, as shares except rotating_u, grade_u and wind_u (m/s). gear_from: the source of the
    gear. contradicted: a given gear that recorded wheel speed contradicts, else None.
    """

    mass_kg: float
    rpm_per_kmh: float
    cda_m2: float = CDA_M2
    crr: float = CRR
    grade: float | None = None
    rotating: float = 1.0 + WHEELS
    air_kg_m3: float = AIR_KG_M3
    mass_u: float = MASS_U
    cda_u: float = CDA_ASSUMED_U
    crr_u: float = CRR_ASSUMED_U
    air_u: float = AIR_U
    rotating_u: float = ROTATING_U
    grade_u: float = GRADE_U
    gear_u: float = GEAR_U
    slip_u: float = SLIP_U
    wind_u: float = WIND_M_S_U
    gear_from: GearFrom = GearFrom.GIVEN
    contradicted: float | None = None

    @property
    def metres_per_rev(self) -> float:
        """Metres of road per revolution of the crank."""
        return 1000.0 / 60.0 / self.rpm_per_kmh


def rotating_of(rpm_per_kmh: float) -> tuple[float, float]:
    """(mass factor of the rotating parts behind the engine in a gear, its standard uncertainty)."""
    crank_turns = rpm_per_kmh * 60.0 / 1000.0 * 2.0 * np.pi * TYRE_M
    return 1.0 + WHEELS + SHAFTS * crank_turns**2, float(np.hypot(WHEELS_U, SHAFTS_U * crank_turns**2))


def ratios(columns: Columns) -> np.ndarray | None:
    """rpm per km/h, (rows,), NaN where not known; None without both speeds."""
    wheel = columns.extra.get("wheel")
    if wheel is None or not (np.isfinite(wheel) & np.isfinite(columns.rpm)).any():
        return None
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.where(wheel > 20.0, columns.rpm / wheel, np.nan)


def measured_gear(columns: Columns) -> float | None:
    """rpm per km/h in most rows with engine and wheel speed: the nearest configured gear, or as measured if none is
    near; None without wheel speed."""
    ratio = ratios(columns)
    ratio = np.zeros(0) if ratio is None else ratio[np.isfinite(ratio)]
    if not len(ratio):
        return None
    gears = columns.config.vehicle.gears
    near = [np.count_nonzero(np.abs(ratio / gear - 1.0) < GEAR_NEAR) for gear in gears]
    if gears and max(near) > 0.3 * len(ratio):
        return float(gears[int(np.argmax(near))])
    bins = np.round(np.log(ratio) / GEAR_NEAR).astype(int)
    return float(np.median(ratio[bins == np.bincount(bins - bins.min()).argmax() + bins.min()]))


def gear_in(columns: Columns) -> float | None:
    """rpm per km/h of the gear that was mostly used: as measured, else the only configured gear, else None."""
    gears = columns.config.vehicle.gears
    measured = measured_gear(columns)
    return measured if measured is not None else float(gears[0]) if len(gears) == 1 else None


def car_from(
    columns: Columns,
    mass_kg: float | None = None,
    gear: float | None = None,
    grade: float | None = None,
    span: tuple[float, float] | None = None,
) -> Car | Unknown:
    """The car from arguments and configuration, or what is missing.

    span: (start_s, end_s) of the pull in which the gear is measured. If recorded wheel speed contradicts a given gear,
    the measured gear is used.
    """
    vehicle = columns.config.vehicle
    columns = columns if span is None else columns.part(*span)
    mass_kg = vehicle.mass_kg if mass_kg is None else mass_kg
    if mass_kg is None:
        return Unknown.MASS
    measured, contradicted, known_from = measured_gear(columns), None, GearFrom.GIVEN
    if gear is None:
        gear = gear_in(columns)
        known_from = GearFrom.CONFIGURED if measured is None else GearFrom.WHEEL
    elif measured is not None and abs(measured / gear - 1.0) >= GEAR_NEAR:
        gear, contradicted, known_from = measured, gear, GearFrom.WHEEL
    if gear is None:
        return Unknown.GEAR
    drag, rolling = vehicle.cda_m2, vehicle.crr
    rotating, rotating_u = rotating_of(gear)
    return Car(
        mass_kg=mass_kg,
        rpm_per_kmh=gear,
        cda_m2=CDA_M2 if drag is None else drag,
        crr=CRR if rolling is None else rolling,
        grade=grade,
        rotating=rotating,
        cda_u=CDA_ASSUMED_U if drag is None else CDA_U,
        crr_u=CRR_ASSUMED_U if rolling is None else CRR_U,
        rotating_u=rotating_u,
        gear_from=known_from,
        contradicted=contradicted,
    )
