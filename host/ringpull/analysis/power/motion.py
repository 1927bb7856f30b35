"""Power and torque at the wheels from the crank's acceleration. Always an estimate, with its interval.

P = (m k a + 0.5 rho CdA v^2 + m g (crr + grade)) v (Gillespie, Fundamentals of Vehicle Dynamics, 4: road loads). Speed
and acceleration come from a local fit of the crank angle with a known bandwidth: features shorter than SMOOTH_S are
rounded off.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ringpull.analysis.power.car import Car

G = 9.80665
SMOOTH_S = 0.4
GRID_S = 0.010
LEAST_PULSES = 5
COVERAGE = 2.0  # about 95 % (JCGM 100, 6.3.3)
ESTIMATE_U = 0.006  # share of power, from pulse times and smoothing
METHOD_U = 0.002  # share of power in one cell on one side of a comparison, from smoothing and the place of the points


@dataclass(frozen=True)
class OtherGears:
    """Part of a pull was driven in another gear, or slipped. rpm_from, rpm_to: what counts, None where nothing is left.
    taken_for_given: whether no wheel speed tells that it is the given gear."""

    rpm_from: float | None = None
    rpm_to: float | None = None
    taken_for_given: bool = False


@dataclass(frozen=True)
class Power:
    """The power of one pull, arrays (points,).

    watts: at the wheels; low, high: 95 % interval of its systematic parts. torque_nm: torque at the crank's speed that
    corresponds to the power at the wheels. step_s: time between points. other_gears: parts of the pull in
    another gear; None if it was in one gear.
    """

    rpm: np.ndarray
    watts: np.ndarray
    low: np.ndarray
    high: np.ndarray
    other_gears: OtherGears | None = None
    step_s: float = GRID_S

    @property
    def torque_nm(self) -> np.ndarray:
        return self.watts / (self.rpm * 2.0 * np.pi / 60.0)

    def by_speed(self, edges_rpm: np.ndarray) -> np.ndarray:
        """Mean watts between engine speeds, (len(edges) - 1,); NaN without points."""
        at = np.digitize(self.rpm, edges_rpm) - 1
        good = np.isfinite(self.watts) & (at >= 0) & (at < len(edges_rpm) - 1)
        count = np.bincount(at[good], minlength=len(edges_rpm) - 1)
        total = np.bincount(at[good], self.watts[good], minlength=len(edges_rpm) - 1)
        with np.errstate(invalid="ignore", divide="ignore"):
            return np.where(count > 0, total / count, np.nan)


def quadratic(times_s: np.ndarray, turns: np.ndarray, smooth_s: float = SMOOTH_S) -> tuple[np.ndarray, ...]:
    """(grid times, revolutions/s, revolutions/s^2) from a local cubic of the crank angle, fitted to the pulses.

    Speed is then a quadratic in each window, so that peaks and bends of power are not flattened to first order.
    times_s, turns: of the pulses. The grid stays half a window from both ends and skips windows of fewer than five
    pulses.
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


def from_motion(rpm: np.ndarray, rpm_per_s: np.ndarray, car: Car) -> Power:
    """Power at the wheels from engine speed (rpm) and its rate."""
    v, a = rpm / 60.0 * car.metres_per_rev, rpm_per_s / 60.0 * car.metres_per_rev
    drag, rolling, inertia = road_load_n(car, v, a)
    slope = car.mass_kg * G * (car.grade or 0.0)
    force = inertia + drag + rolling + slope
    # an error of road speed enters power once directly, and each force with that force's power of speed
    speed = force + inertia + 2.0 * drag
    gust = car.wind_u / np.maximum(v, 1.0)  # of second order too: JCGM 100, 5.1.2, note
    parts = [
        (inertia + rolling + slope) * car.mass_u,
        inertia * car.rotating_u / car.rotating,
        drag * np.hypot(car.cda_u, car.air_u),
        2.0 * drag * gust,
        np.sqrt(2.0) * drag * gust**2,
        rolling * car.crr_u,
        speed * np.hypot(car.gear_u, car.slip_u),
        force * ESTIMATE_U,
    ]
    if car.grade is None:
        parts.append(car.mass_kg * G * car.grade_u)
    u = COVERAGE * np.sqrt(sum(np.square(p) for p in parts)) * v
    return Power(rpm, force * v, force * v - u, force * v + u)


def road_load_n(car: Car, speed_m_s: float | np.ndarray, acceleration: float | np.ndarray = 0.0):
    """(drag, rolling, inertia) in newtons on a level road: 0.5 rho CdA v^2, m g crr, m k a."""
    return (
        0.5 * car.air_kg_m3 * car.cda_m2 * speed_m_s**2,
        car.mass_kg * G * car.crr,
        car.mass_kg * car.rotating * acceleration,
    )


def engine_watts(wheel_watts: np.ndarray, driveline_loss: float) -> np.ndarray:
    """Engine power from power at the wheels and a given share lost in the driveline."""
    if not 0.0 <= driveline_loss < 0.5:
        raise ValueError("a driveline's loss is a share between 0 and 0.5")
    return wheel_watts / (1.0 - driveline_loss)
