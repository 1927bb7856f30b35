"""Random engines, cars and measuring chains. Every distribution of the drives' fixed properties is in this file.

U(a, b) uniform, LU(a, b) uniform in the logarithm, N(m, s) normal. Ranges are invented to be wide, not fitted to any
engine; the ranges of lag, film, cut delay and transport are those that an answer must cope with.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

R_AIR = 287.05  # J/kgK
R_EXHAUST = 300.95  # J/kgK, burnt petrol at lambda 0.85
ATMOSPHERE_KPA = 101.325
STOICH = 14.57  # CH1.85 in dry air; only ratios of mixtures matter here


@dataclass
class Engine:
    """An engine, what feeds it, and the way from its cylinders to the lambda sensor."""

    cylinders: int
    displacement_m3: float
    limit_rpm: float
    low_rpm: float
    boost_kpa: float  # above atmosphere at full load; 0: naturally aspirated
    spool_rpm: float
    spool_s: float
    manifold_s: float
    ve_peak: float
    ve_rpm: float
    ve_fall: float
    intake_k: float
    exhaust_cold_k: float
    exhaust_span_k: float
    back_kpa: float
    pipe_m3: float
    constant_s: float
    cycle_deg: float
    tau_s: float
    film_s: float
    film_share: float
    film_known: float  # how much of the film the computer makes up for: 0 none, 1 all, above 1 too much
    latency_s: float  # negative: the computer foresees how the manifold fills
    cut_delay_s: float
    cut_above_rpm: float  # infinite: no cut on overrun
    resume_rpm: float
    air_lambda: float
    target_kpa: list[float]
    target_lambda: list[float]
    injector_dead_ms: float
    injector_full_duty: float
    fuel_kpa: float
    regulated: bool  # fuel pressure follows the manifold

    def ve(self, rpm: np.ndarray) -> np.ndarray:
        """Volumetric efficiency, a parabola in speed."""
        return self.ve_peak * (1 - self.ve_fall * ((rpm - self.ve_rpm) / self.limit_rpm) ** 2)

    def air_kg_s(self, rpm: np.ndarray, map_kpa: np.ndarray) -> np.ndarray:
        """Air flow by speed-density: VE Vd (N / 120) p / (R T), four-stroke."""
        return air_flow_kg_s(self.ve(rpm), self.displacement_m3, rpm, map_kpa, self.intake_k)

    def full_kpa(self, rpm: np.ndarray) -> np.ndarray:
        """Manifold pressure at full throttle once the charger has caught up."""
        return 0.98 * ATMOSPHERE_KPA + self.boost_kpa / (1 + np.exp(-(rpm - self.spool_rpm) / 350))

    def exhaust(self, air_kg_s: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """(gas temperature K, pressure kPa) in the pipe at an air flow: hotter and denser with flow."""
        top = self.air_kg_s(np.array(self.limit_rpm), self.full_kpa(np.array(self.limit_rpm)))
        share = np.clip(air_kg_s / top, 0, 1.2)
        return self.exhaust_cold_k + self.exhaust_span_k * np.sqrt(share), ATMOSPHERE_KPA + self.back_kpa * share**2

    def steady_delay_s(self, rpm: float, map_kpa: float) -> float:
        """Transport delay at constant speed and load: constant + cycle part + V rho / mdot."""
        air = self.air_kg_s(np.array(rpm), np.array(map_kpa))
        temperature, pressure = self.exhaust(air)
        pipe = pipe_delay_s(self.pipe_m3, float(temperature), float(pressure), float(air * (1 + 1 / STOICH)))
        return self.constant_s + self.cycle_deg / (6 * rpm) + pipe

    def target(self, map_kpa: np.ndarray) -> np.ndarray:
        """Lambda wanted at a load, flat beyond the ends."""
        return np.interp(map_kpa, self.target_kpa, self.target_lambda)


def air_flow_kg_s(
    ve: np.ndarray, displacement_m3: float, rpm: np.ndarray, map_kpa: np.ndarray, kelvin: float
) -> np.ndarray:
    """Speed-density air flow of a four-stroke engine."""
    return ve * displacement_m3 * rpm / 120 * map_kpa * 1000 / (R_AIR * kelvin)


def pipe_delay_s(volume_m3: float, kelvin: float, kpa: float, flow_kg_s: float) -> float:
    """Time in which a plug of gas passes a pipe: V rho / mdot, ideal gas."""
    return volume_m3 * kpa * 1000 / (R_EXHAUST * kelvin) / flow_kg_s


@dataclass
class Car:
    """What the engine moves. On an inertia dyno the road loads are nought."""

    mass_kg: float
    rotating: float
    cda_m2: float
    crr: float
    grade: float
    air_kg_m3: float
    rad_per_m: float  # crank angle per metre of road in the pull's gear
    joule_per_kg: float  # work at the wheels per kilogram of air
    ramp_rpm_s: float  # mean rise of speed wanted of a pull
    dyno: bool

    def load_n(self, speed_m_s: np.ndarray) -> np.ndarray:
        """Road load: 0.5 rho CdA v^2 + Crr m g + m g grade."""
        weight = self.mass_kg * 9.80665
        return 0.5 * self.air_kg_m3 * self.cda_m2 * speed_m_s**2 + weight * (self.crr + self.grade)


@dataclass
class Chain:
    """The measuring chain: noise, the controller's range, what else is logged, and the faults of the tach signal."""

    white: float
    correlated: float
    correlated_s: float
    systematic: float
    low: float
    high: float
    timing: str  # "injector", "command" or "none"
    per_rev: float
    edges_drop: bool
    edges_glitch: bool
    tach_lost: bool
    extra: list[str] = field(default_factory=list)


def draw_engine(rng: np.random.Generator) -> Engine:
    """Redrawn until transport lies between 20 and 400 ms: 20 at the limit and full load, 400 at 1,800 rpm, 45 kPa."""
    while True:
        engine = _draw_engine(rng)
        limit = engine.limit_rpm
        fast = engine.steady_delay_s(limit, float(engine.full_kpa(np.array(limit))))
        if fast >= 0.020 and engine.steady_delay_s(1800, 45) <= 0.400:
            return engine


def _draw_engine(rng: np.random.Generator) -> Engine:
    cylinders = int(rng.choice([2, 3, 4, 5, 6, 8], p=[0.06, 0.10, 0.50, 0.06, 0.18, 0.10]))
    displacement = cylinders * rng.uniform(0.25, 0.62) / 1000
    limit = rng.uniform(5600, 8800)
    boosted = rng.random() < 0.6
    boost = rng.uniform(30, 130) if boosted else 0.0
    if boosted:
        points = [40.0, 100.0, 100.0 + boost]
        wanted = [1.0, rng.uniform(0.87, 0.92), rng.uniform(0.77, 0.82)]
    else:
        points = [40.0, 75.0, 100.0]
        wanted = [1.0, rng.uniform(0.95, 1.0), rng.uniform(0.85, 0.90)]
    resume = rng.uniform(1300, 1700)
    return Engine(
        cylinders=cylinders,
        displacement_m3=displacement,
        limit_rpm=limit,
        low_rpm=rng.uniform(1900, 2600),
        boost_kpa=boost,
        spool_rpm=rng.uniform(2200, 3400),
        spool_s=rng.uniform(0.15, 0.6),
        manifold_s=rng.uniform(0.03, 0.09),
        ve_peak=rng.uniform(0.82, 1.0),
        ve_rpm=limit * rng.uniform(0.55, 0.8),
        ve_fall=rng.uniform(0.2, 0.6),
        intake_k=rng.uniform(285, 330),
        exhaust_cold_k=rng.uniform(620, 780),
        exhaust_span_k=rng.uniform(250, 450),
        back_kpa=rng.uniform(5, 60),
        pipe_m3=displacement * np.exp(rng.uniform(np.log(0.3), np.log(6.0))),
        constant_s=rng.uniform(0.004, 0.035),
        cycle_deg=rng.uniform(450, 630),
        tau_s=rng.uniform(0.040, 0.150),
        film_s=0.0 if rng.random() < 0.35 else rng.uniform(0.02, 0.20),
        film_share=rng.uniform(0.08, 0.30),
        film_known=rng.uniform(0.6, 1.2),
        latency_s=rng.uniform(-0.030, 0.020),
        cut_delay_s=rng.uniform(0.0, 0.4),
        cut_above_rpm=resume + rng.uniform(300, 600) if rng.random() < 0.92 else np.inf,
        resume_rpm=resume,
        air_lambda=rng.uniform(2.0, 8.0),
        target_kpa=points,
        target_lambda=wanted,
        injector_dead_ms=rng.uniform(0.5, 1.2),
        injector_full_duty=rng.uniform(0.55, 0.88),
        fuel_kpa=rng.uniform(280, 420),
        regulated=bool(rng.random() < 0.6),
    )


def draw_car(rng: np.random.Generator, engine: Engine) -> Car:
    """The pull's gear is for the ramp drawn, LU(300, 3000) rpm/s; road.in_gear makes it exact."""
    mass, rotating = rng.uniform(450, 1900), rng.uniform(1.03, 1.25)
    work = rng.uniform(0.70e6, 0.95e6)
    ramp_rpm_s = float(np.exp(rng.uniform(np.log(300), np.log(3000))))
    ramp = ramp_rpm_s * 2 * np.pi / 60
    middle = 0.5 * (engine.low_rpm + engine.limit_rpm)
    power = work * float(engine.air_kg_s(np.array(middle), engine.full_kpa(np.array(middle))))
    # G^2 P / (w m k) = ramp, road load left out: with it the ramp comes out a little slower
    gear = np.sqrt(ramp * (middle * 2 * np.pi / 60) * mass * rotating / power)
    car = Car(
        mass_kg=mass,
        rotating=rotating,
        cda_m2=rng.uniform(0.45, 0.85),
        crr=rng.uniform(0.010, 0.018),
        grade=float(np.clip(rng.normal(0, 0.01), -0.03, 0.03)),
        air_kg_m3=rng.uniform(1.05, 1.28),
        rad_per_m=float(gear),
        joule_per_kg=work,
        ramp_rpm_s=ramp_rpm_s,
        dyno=bool(rng.random() < 0.2),
    )
    # Where the road would eat more than half of the push at the top, the pull is done on rollers
    top = np.array(engine.limit_rpm)
    speed = float(top) * 2 * np.pi / 60 / gear
    push = work * float(engine.air_kg_s(top, engine.full_kpa(top))) / speed
    if car.dyno or float(car.load_n(np.array(speed))) > 0.5 * push:
        car.dyno, car.cda_m2, car.crr, car.grade = True, 0.0, 0.0, 0.0
    return car


def draw_chain(rng: np.random.Generator, white: float, correlated: float, systematic_sd: float, timing: str) -> Chain:
    """Noise as asked; a third of the drives each with injector time, with commanded lambda, and with neither."""
    kinds = ["injector", "command", "none"]
    extra = ["fuel_pressure", "battery", "intake"]
    return Chain(
        white=white,
        correlated=correlated,
        correlated_s=0.080,
        systematic=float(rng.normal(0, systematic_sd)) if systematic_sd else 0.0,
        low=rng.uniform(0.55, 0.68),
        high=rng.uniform(1.30, 1.60),
        timing=str(rng.choice(kinds)) if timing == "random" else timing,
        per_rev=float(rng.choice([0.5, 1, 2, 3, 4])),
        edges_drop=bool(rng.random() < 0.5),
        edges_glitch=bool(rng.random() < 0.3),
        tach_lost=bool(rng.random() < 0.15),
        extra=[name for name in extra if rng.random() < 0.6],
    )
