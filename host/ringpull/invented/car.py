"""The invented hill-climb car: mass, gears, drag, rolling resistance, brakes and a slipping clutch.

Road load is 0.5 rho cd A v^2 + crr m g + m g grade (Gillespie, Fundamentals of Vehicle Dynamics, 4); figures are
invented.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

MASS_KG = 1080.0  # with the driver and a passenger
CDA_M2 = 0.66
CRR = 0.014
AIR_KG_M3 = 1.20
GRAVITY = 9.81
WHEEL_M = 0.285
GEARS = (3.15, 2.05, 1.48, 1.16, 0.94)
FINAL = 4.10
WHEELS_KGM2 = 3.2
DRIVELINE = 0.92  # share of the crank's torque that reaches the wheels
BRAKE_N = 7000.0
CLUTCH_NM = 420.0
CLUTCH_NM_PER_RAD_S = 60.0


def ratio(gear: int) -> float:
    """Turns of the crank per turn of the wheels."""
    return GEARS[gear - 1] * FINAL


def rpm_per_kmh(gear: int) -> float:
    """Engine speed (rpm) per km/h."""
    return ratio(gear) / (3.6 * WHEEL_M) * 30.0 / math.pi


def road_load_n(speed_m_s: float, grade: float) -> float:
    """Force against the car in newtons. grade: rise over run, positive uphill."""
    rolling = CRR * MASS_KG * GRAVITY * min(1.0, speed_m_s / 0.3)
    return 0.5 * AIR_KG_M3 * CDA_M2 * speed_m_s * speed_m_s + rolling + MASS_KG * GRAVITY * grade


@dataclass
class Driveline:
    """Crank and car as two rotating masses with a clutch between them, or as one if the clutch is locked.

    crank_rad_s, speed_m_s: the state. gripping: whether the clutch is locked.
    """

    inertia_kgm2: float
    crank_rad_s: float = 0.0
    speed_m_s: float = 0.0
    gripping: bool = False

    def step(self, dt_s: float, torque_nm: float, gear: int, clutch: float, brake: float, grade: float) -> None:
        """Advance by dt_s. gear 0: neutral. clutch: share of its torque that it can transmit. brake: 0-1."""
        against_n = road_load_n(self.speed_m_s, grade) + brake * BRAKE_N * min(1.0, self.speed_m_s / 0.3)
        mass_kg = MASS_KG + WHEELS_KGM2 / WHEEL_M**2
        if gear == 0 or clutch <= 0.0:
            self.gripping = False
            self.crank_rad_s += torque_nm / self.inertia_kgm2 * dt_s
            self.speed_m_s += -against_n / mass_kg * dt_s
        else:
            turns = ratio(gear) / WHEEL_M  # crank radians per metre
            slip = self.crank_rad_s - self.speed_m_s * turns
            if self.gripping or (clutch >= 1.0 and abs(slip) < 2.0):
                self.gripping = clutch >= 1.0
                pull_n = torque_nm * turns * (DRIVELINE if torque_nm > 0 else 1.0 / DRIVELINE)
                whole_kg = mass_kg + self.inertia_kgm2 * turns**2
                self.speed_m_s += (pull_n - against_n) / whole_kg * dt_s
                self.crank_rad_s = self.speed_m_s * turns
            else:
                carried = max(-1.0, min(1.0, slip * CLUTCH_NM_PER_RAD_S / CLUTCH_NM)) * CLUTCH_NM * clutch
                self.crank_rad_s += (torque_nm - carried) / self.inertia_kgm2 * dt_s
                self.speed_m_s += (carried * turns * DRIVELINE - against_n) / mass_kg * dt_s
        self.crank_rad_s = max(self.crank_rad_s, 0.0)
        self.speed_m_s = max(self.speed_m_s, 0.0)
