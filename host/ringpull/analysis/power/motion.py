"""Power and torque at the wheels from how fast the crank gains speed. Always an estimate, with its interval.

P = (m k a + 0.5 rho CdA v^2 + m g (crr + grade)) v (Gillespie, Fundamentals of Vehicle Dynamics, 4: road loads). Speed and acceleration come
from a local quadratic over the angle, which keeps bandwidth stated: features shorter than SMOOTH_S are rounded off.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

G = 9.80665
SMOOTH_S = 0.4
GRID_S = 0.010
LEAST_PULSES = 5
# Stated assumptions with standard uncertainties (shares for mass, drag and rolling)
AIR_KG_M3 = 1.20
ROTATING = 1.05  # mass factor of what turns behind the engine: what the crank itself takes never reaches the wheels
ROTATING_U = 0.02
MASS_U, CDA_U, CRR_U, AIR_U = 0.02, 0.08, 0.20, 0.03
CDA_M2, CRR = 0.65, 0.013
CDA_ASSUMED_U, CRR_ASSUMED_U = 0.2, 0.35
ESTIMATE_U = 0.006  # share of power: pulses' times and smoothing
METHOD_U = 0.002  # share, of the estimate in one cell of one side of a comparison: smoothing and where points fall
GRADE_U = 0.012  # of a road whose slope isn't known; 1 % of grade is about 3 % of power


@dataclass(frozen=True)
class Car:
    """What moves. rpm_per_kmh: the gear, engine revolutions a minute per km/h. grade: None where it isn't known.

    *_u: standard uncertainties, shares except rotating_u and grade_u.
    """

    mass_kg: float
    rpm_per_kmh: float
    cda_m2: float = CDA_M2
    crr: float = CRR
    grade: float | None = None
    rotating: float = ROTATING
    air_kg_m3: float = AIR_KG_M3
    mass_u: float = MASS_U
    cda_u: float = CDA_ASSUMED_U
    crr_u: float = CRR_ASSUMED_U
    air_u: float = AIR_U
    rotating_u: float = ROTATING_U
    grade_u: float = GRADE_U

    @property
    def metres_per_rev(self) -> float:
        """Metres of road per revolution of the crank."""
        return 1000.0 / 60.0 / self.rpm_per_kmh


@dataclass(frozen=True)
class Power:
    """One pull: arrays (points,). watts: at the wheels; low, high: 95 % interval of its systematic parts. torque_nm: of
    the wheels' power at the crank's speed. words: what was assumed; the first says that it is an estimate. left_out: what
    of the pull was driven in another gear, in words. step_s: from point to point."""

    rpm: np.ndarray
    watts: np.ndarray
    low: np.ndarray
    high: np.ndarray
    words: list[str] = field(default_factory=list)
    left_out: str = ""
    step_s: float = GRID_S

    @property
    def torque_nm(self) -> np.ndarray:
        return self.watts / (self.rpm * 2.0 * np.pi / 60.0)

    def by_speed(self, edges_rpm: np.ndarray) -> np.ndarray:
        """Mean watts between speeds, (len(edges) - 1,), NaN where there are none."""
        at = np.digitize(self.rpm, edges_rpm) - 1
        good = np.isfinite(self.watts) & (at >= 0) & (at < len(edges_rpm) - 1)
        count = np.bincount(at[good], minlength=len(edges_rpm) - 1)
        total = np.bincount(at[good], self.watts[good], minlength=len(edges_rpm) - 1)
        with np.errstate(invalid="ignore", divide="ignore"):
            return np.where(count > 0, total / count, np.nan)


def quadratic(times_s: np.ndarray, turns: np.ndarray, smooth_s: float = SMOOTH_S) -> tuple[np.ndarray, ...]:
    """(grid times, revolutions/s, revolutions/s^2) from a local cubic of the angle, fitted to the pulses themselves:
    speed is a quadratic in each window, so that neither a peak of power nor a bend is flattened by its first order.

    times_s, turns: of pulses. The grid keeps half a window from both ends, and skips windows of fewer than five pulses.
    """
    half_s = smooth_s / 2.0
    if len(times_s) < LEAST_PULSES or times_s[-1] - times_s[0] < 2.2 * half_s:
        empty = np.zeros(0)
        return empty, empty, empty
    grid = np.arange(times_s[0] + half_s, times_s[-1] - half_s, GRID_S)
    first = np.searchsorted(times_s, grid - half_s - 1e-9)
    count = np.searchsorted(times_s, grid + half_s + 1e-9) - first
    kept = count >= LEAST_PULSES
    grid, first, count = grid[kept], first[kept], count[kept]
    if len(grid) == 0:
        return grid, grid, grid
    offsets = np.arange(count.max())
    at = np.minimum(first[:, None] + offsets, len(times_s) - 1)
    inside = offsets < count[:, None]
    place = (times_s[at] - grid[:, None]) / half_s
    angle = turns[at] - turns[at[:, :1]]
    powers = np.stack([place**k * inside for k in range(4)], axis=2)
    normal = np.einsum("gik,gil->gkl", powers, powers)
    right = np.einsum("gik,gi->gk", powers, angle)
    solved = np.linalg.solve(normal, right[..., None])[..., 0]
    return grid, solved[:, 1] / half_s, 2.0 * solved[:, 2] / half_s**2


def from_motion(rpm: np.ndarray, rpm_per_s: np.ndarray, car: Car, smooth_s: float = SMOOTH_S) -> Power:
    """Power at the wheels from engine speed (rpm) and its rate."""
    v, a = rpm / 60.0 * car.metres_per_rev, rpm_per_s / 60.0 * car.metres_per_rev
    grade = car.grade or 0.0
    drag, rolling, inertia = road_load_n(car, v, a)
    slope = car.mass_kg * G * grade
    watts = (inertia + drag + rolling + slope) * v
    parts = [
        (inertia + rolling + slope) * car.mass_u,
        inertia * car.rotating_u / car.rotating,
        drag * np.hypot(car.cda_u, car.air_u),
        rolling * car.crr_u,
        (inertia + drag + rolling + slope) * ESTIMATE_U,
    ]
    words = [
        "an estimate of power at the wheels, not a measurement of it",
        f"smoothed over {smooth_s:.1f} s; no slip; a car on the road: rollers have another inertia",
        f"{car.mass_kg:.0f} kg, {car.rotating:.2f} times that with what turns; drag area {car.cda_m2:.2f} m2, rolling "
        f"{car.crr:.3f}, air {car.air_kg_m3:.2f} kg/m3",
    ]
    if car.grade is None:
        parts.append(car.mass_kg * G * car.grade_u)
        words.append(f"the road's grade isn't known: the interval holds {1.96 * car.grade_u:.1%} either way")
    u = 1.96 * np.sqrt(sum(np.square(p) for p in parts)) * v
    return Power(rpm, watts, watts - u, watts + u, words)


def road_load_n(car: Car, speed_m_s, acceleration=0.0):
    """(drag, rolling, inertia) in newtons on a level road: 0.5 rho CdA v^2, m g crr, m k a."""
    return (
        0.5 * car.air_kg_m3 * car.cda_m2 * speed_m_s**2,
        car.mass_kg * G * car.crr,
        car.mass_kg * car.rotating * acceleration,
    )


def engine_watts(wheel_watts: np.ndarray, driveline_loss: float) -> np.ndarray:
    """Engine power from wheel power and a stated share lost in the driveline; without one there is no engine power."""
    if not 0.0 <= driveline_loss < 0.5:
        raise ValueError("a driveline's loss is a share between 0 and 0.5")
    return wheel_watts / (1.0 - driveline_loss)
