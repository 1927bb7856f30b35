"""What the driver does: a script of cruising, tip-ins, overrun, gear changes and pulls; speed, throttle, pressure.

A pull's speed follows from power and road load, so that power at the wheels is a truth as well.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
from scipy.signal import lfilter

from truth.engines import Car, Engine

FINE_S = 0.0025  # step of everything inside the generator
RAD = 2 * np.pi / 60
CLOSED = 0.0


@dataclass
class Road:
    """Arrays on the fine grid, and (first, last) grid points of each pull."""

    rpm: np.ndarray
    throttle: np.ndarray
    map_kpa: np.ndarray
    phase_rev: np.ndarray
    pulls: list[tuple[int, int]]
    cruises: list[tuple[int, int]] = field(default_factory=list)
    wheel_w: np.ndarray | None = None


def lag(x: np.ndarray, tau_s: float, dt_s: float = FINE_S) -> np.ndarray:
    """First-order lag, exact for an input that is straight between its points; starts settled."""
    if tau_s <= 0:
        return x.copy()
    a = np.exp(-dt_s / tau_s)
    b0 = 1 - tau_s / dt_s * (1 - a)
    b1 = tau_s / dt_s * (1 - a) - a
    return lfilter([b0, b1], [1, -a], x, zi=[x[0] * (1 - b0)])[0]


class Script:
    """Collects the corners of speed and throttle between pulls."""

    def __init__(self, rpm: float, throttle: float) -> None:
        self.rpm: list[np.ndarray] = []
        self.throttle: list[np.ndarray] = []
        self.now_rpm, self.now_throttle = rpm, throttle
        self.length = 0

    def go(self, seconds: float, rpm: float, throttle: float, open_s: float = 0.1) -> tuple[int, int]:
        """To `rpm` in a straight line; the throttle gets to its place in `open_s`."""
        count = max(int(seconds / FINE_S), 2)
        t_s = np.arange(count) * FINE_S
        return self.append(
            np.linspace(self.now_rpm, rpm, count, endpoint=False),
            np.interp(t_s, [0, open_s], [self.now_throttle, throttle]),
            rpm,
        )

    def append(self, rpm: np.ndarray, throttle: np.ndarray, last_rpm: float) -> tuple[int, int]:
        first = self.length
        self.rpm.append(rpm)
        self.throttle.append(throttle)
        self.length += len(rpm)
        self.now_rpm, self.now_throttle = last_rpm, float(throttle[-1])
        return first, self.length


def cruise_throttle(engine: Engine, rpm: float, kpa: float) -> float:
    """The opening that gives a manifold pressure."""
    share = np.clip((kpa - 24) / (0.98 * 101.325 - 24), 0.02, 0.98)
    return float(-np.log(1 - share) * 11 * rpm / 3000)


def manifold(engine: Engine, rpm: np.ndarray, throttle: np.ndarray) -> np.ndarray:
    """Manifold pressure: filling of the manifold, and boost that follows with the charger's own lag."""
    share = 1 - np.exp(-throttle / (11 * rpm / 3000))
    share = np.where(throttle > 90, 1.0, share)
    below = lag(24 + (0.98 * 101.325 - 24) * share, engine.manifold_s)
    if engine.boost_kpa == 0:
        return below
    boost = (engine.full_kpa(rpm) - 0.98 * 101.325) * np.clip((throttle - 55) / 35, 0, 1)
    return below + lag(lag(boost, engine.spool_s), engine.manifold_s)


def pull(engine: Engine, car: Car, from_rpm: float, throttle_from: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """(rpm, throttle, wheel power in W) of a pull to the limit, by repeated integration of its own acceleration."""
    top = np.array(engine.limit_rpm)
    middle = np.array(0.5 * (from_rpm + engine.limit_rpm))
    power = car.joule_per_kg * float(engine.air_kg_s(middle, engine.full_kpa(middle)))
    rate = car.rad_per_m**2 * power / (float(middle) * RAD * car.mass_kg * car.rotating) / RAD
    count = int(min(3.0 * (float(top) - from_rpm) / rate + 3, 60) / FINE_S)
    t_s = np.arange(count) * FINE_S
    throttle = np.interp(t_s, [0, 0.08], [throttle_from, 100.0])
    rpm = np.minimum(from_rpm + rate * t_s, engine.limit_rpm)
    settled = np.full(int(1.0 / FINE_S), throttle_from)
    for _ in range(12):
        lead = np.full(settled.shape, from_rpm)
        kpa = manifold(engine, np.concatenate([lead, rpm]), np.concatenate([settled, throttle]))[settled.size :]
        speed = rpm * RAD / car.rad_per_m
        wheel_w = car.joule_per_kg * engine.air_kg_s(rpm, kpa)
        force = wheel_w / speed - car.load_n(speed)
        slope = np.maximum(force / (car.mass_kg * car.rotating) * car.rad_per_m / RAD, 0.1 * rate)
        rise = np.concatenate([[0.0], np.cumsum((slope[1:] + slope[:-1]) / 2) * FINE_S])
        rpm = np.minimum(from_rpm + rise, engine.limit_rpm)
    end = int(np.searchsorted(rpm, engine.limit_rpm))
    end = min(end, count)
    # Power by the speed that came out: what a perfect observer of the wheels would find
    speed = rpm * RAD / car.rad_per_m
    acceleration = slope * RAD / car.rad_per_m
    wheel_w = (car.mass_kg * car.rotating * acceleration + car.load_n(speed)) * speed
    return rpm[:end], throttle[:end], wheel_w[:end]


def in_gear(engine: Engine, car: Car) -> Car:
    """The car in the gear that gives a pull the mean ramp wanted."""
    for _ in range(4):
        rpm, _, _ = pull(engine, car, engine.low_rpm, cruise_throttle(engine, engine.low_rpm, 50))
        ramp = (rpm[-1] - rpm[0]) / (rpm.size * FINE_S)
        car = replace(car, rad_per_m=car.rad_per_m * float(np.sqrt(car.ramp_rpm_s / ramp)))
    return car


def drive(rng: np.random.Generator, engine: Engine, car: Car, pulls: int) -> Road:
    """A drive: for each pull one to three ordinary events, then the pull and the overrun after it.

    Cruise 3-6 s at 1800-3200 rpm and 35-65 kPa; tip-in to 40-60 % for 1-2 s; overrun from 3500-4800 rpm with the
    cut ended by the throttle or by falling speed; part-throttle run with a gear change.
    """
    script = Script(rng.uniform(1900, 2800), 0.0)
    script.now_throttle = cruise_throttle(engine, script.now_rpm, 45)
    bounds, cruises, power = [], [], []
    decel = rng.uniform(350, 1100)

    def cruise(seconds: float) -> None:
        rpm = rng.uniform(1800, 3200)
        moving = abs(rpm - script.now_rpm) / 800 + 0.5
        opening = cruise_throttle(engine, rpm, rng.uniform(35, 65))
        script.go(moving, rpm, opening, 0.3)
        cruises.append(script.go(seconds, rpm, opening))

    def tip_in() -> None:
        before = script.now_throttle
        up = min(script.now_rpm + rng.uniform(300, 900), engine.limit_rpm - 500)
        script.go(rng.uniform(1.0, 2.0), up, rng.uniform(40, 60), rng.uniform(0.05, 0.15))
        script.go(1.0, up, max(before, 6.0), 0.2)

    def overrun() -> None:
        high = min(rng.uniform(3500, 4800), engine.limit_rpm - 600)
        script.go(max((high - script.now_rpm) / 700, 0.5), high, 35.0, 0.2)
        low = 1250.0 if rng.random() < 0.3 else rng.uniform(2000, 2700)
        script.go((high - low) / decel, low, CLOSED, 0.06)
        script.go(1.5, low + 200, cruise_throttle(engine, low, 50), 0.1)

    def gear_change() -> None:
        script.go(2.0, script.now_rpm + 1200, 30.0, 0.2)
        script.go(0.25, script.now_rpm - 100, CLOSED, 0.05)
        script.go(0.20, script.now_rpm * 0.72, CLOSED)
        script.go(1.0, script.now_rpm + 400, 28.0, 0.1)

    for _ in range(pulls):
        cruise(rng.uniform(3, 6))
        events = [tip_in, overrun, gear_change]
        for event in rng.permutation(len(events))[: rng.integers(1, 4)]:
            events[event]()
            cruise(rng.uniform(2, 4))
        low = engine.low_rpm
        opening = cruise_throttle(engine, low, 50)
        script.go(abs(low - script.now_rpm) / 700 + 0.3, low, opening, 0.3)
        cruises.append(script.go(2.0, low, opening))
        rpm, throttle, wheel_w = pull(engine, car, low, opening)
        bounds.append(script.append(rpm, throttle, engine.limit_rpm))
        power.append(wheel_w)
        # Overrun after the pull: engine braking, the cut, and its end
        low = 1250.0 if rng.random() < 0.3 else rng.uniform(1900, 2600)
        script.go((engine.limit_rpm - low) / (2.2 * decel), low, CLOSED, 0.06)
        script.go(2.0, low + 300, cruise_throttle(engine, low, 50), 0.1)
    cruise(3.0)
    rpm, throttle = np.concatenate(script.rpm), np.concatenate(script.throttle)
    rpm = np.maximum(rpm, 800.0)
    wheel = np.full(rpm.size, np.nan)
    for (first, last), wheel_w in zip(bounds, power, strict=True):
        wheel[first:last] = wheel_w
    turns = np.concatenate([[0.0], np.cumsum((rpm[1:] + rpm[:-1]) / 120 * FINE_S)])
    return Road(rpm, throttle, manifold(engine, rpm, throttle), turns, bounds, cruises, wheel)
