"""Random drives with every truth that an analysis can be asked for. The judge of the analysis: written before it.

`make_drive(seed)` gives rows at 200 Hz (what a logger would show: lambda at the sensor, speed, pressure, throttle and
more) and the truth behind them (mixture in the cylinders, transport, lag, holes, power). Distributions:
engines.py for engine, car and measuring chain, road.py for the driving, exhaust.py for the mixture, `Settings` and
`_holes` here for what goes wrong. A seed gives the same drive for ever; `car_seed` keeps engine and car while the
day changes.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace

import numpy as np

from truth import exhaust, logged, tach
from truth.engines import Car, Chain, Engine, draw_car, draw_chain, draw_engine
from truth.logged import STEP
from truth.road import FINE_S, Road, drive, in_gear

LEAN_EXCESS = 0.04
LEAN_S = 0.25
CLEAN_EXCESS = 0.03
TIP_IN_S = 1.5  # of a pull: the time in which film, latency and charger may make the mixture wander


@dataclass(frozen=True)
class Settings:
    """What is varied between benches. Standard deviations are of lambda.

    pulls: fewest and most pulls. between_pulls: of the factor that a whole pull has. table_sd: of the smooth error of
    the fuel table over speed and load. hole_share: share of drives with a hole, which is in one pull alone.
    timing: "injector", "command", "none" or "random", a third each. systematic_sd: of the sensor's constant error.
    change: factor on lambda by (rpm, kPa), for pairs of drives. kind: one of exhaust.KINDS.
    """

    pulls: tuple[int, int] = (3, 4)
    white: float = 0.003
    correlated: float = 0.006
    between_pulls: float = 0.005
    table_sd: float = 0.006
    hole_share: float = 1.0
    hole_depth: tuple[float, float] = (0.045, 0.14)
    hole_s: tuple[float, float] = (0.30, 1.0)
    timing: str = "random"
    systematic_sd: float = 0.0
    change: Callable[[np.ndarray, np.ndarray], np.ndarray] | None = None
    kind: str = "plain"


@dataclass(frozen=True)
class Hole:
    """A lean hole of `depth`, from half depth to half depth; cause "pressure", "supply" or "none"."""

    pull: int
    start_s: float
    end_s: float
    depth: float
    rpm_from: float
    rpm_to: float
    cause: str


@dataclass(frozen=True)
class Event:
    """A stretch of a pull in which the true mixture was LEAN_EXCESS above target for LEAN_S or longer.

    tip_in: it began before the pull's `settled_s`, while the mixture still wanders.
    """

    pull: int
    start_s: float
    end_s: float
    rpm_from: float
    rpm_to: float
    deepest: float
    tip_in: bool


@dataclass(frozen=True)
class Pull:
    """start_s: the throttle opens; end_s: it closes. `offset`: the pull's own factor on lambda, less 1.

    settled_s: TIP_IN_S (or 40 % of a shorter pull) after the start; excess: greatest lambda above target from then on,
    excess_all: in all.
    """

    number: int
    start_s: float
    end_s: float
    offset: float
    excess: float
    excess_all: float
    settled_s: float

    @property
    def clean(self) -> bool:
        """Nothing in it, apart from the tip-in, that deserves to be called lean."""
        return self.excess < CLEAN_EXCESS

    @property
    def clean_throughout(self) -> bool:
        """The same with the tip-in."""
        return self.excess_all < CLEAN_EXCESS


@dataclass
class Truth:
    """Arrays belong to the rows. `lambda_cylinder` and `target`: of the mixture injected at each row's time;
    `delay_s`: from then to its arrival at the sensor's element, lag apart; `table`: the fuel table's error as a
    factor on lambda by (rpm, kPa). wheel_w: power at the wheels, NaN outside pulls."""

    lambda_cylinder: np.ndarray
    target: np.ndarray
    delay_s: np.ndarray
    cut: np.ndarray
    speed_rpm: np.ndarray
    wheel_w: np.ndarray
    tau_s: float
    engine: Engine
    car: Car
    chain: Chain
    table: Callable[[np.ndarray, np.ndarray], np.ndarray]
    holes: list[Hole]
    events: list[Event]
    pull_delay_s: float
    cruise_delay_s: float
    cuts_recovered: int

    @property
    def film(self) -> bool:
        return self.engine.film_s > 0


@dataclass
class Drive:
    """rows: column name -> array at 200 Hz, named as decoded tables are; pulls marked as a driver would mark them."""

    seed: int
    rows: dict[str, np.ndarray]
    pulls: list[Pull]
    config: dict
    edges_s: np.ndarray
    truth: Truth
    lost_s: list[tuple[float, float]] = field(default_factory=list)


def make_drive(seed: int, car_seed: int | None = None, settings: Settings | None = None) -> Drive:
    """One drive. The same car on another day: same `car_seed`, other `seed`."""
    s = settings or Settings()
    fixed = np.random.default_rng([1, seed if car_seed is None else car_seed])
    engine = draw_engine(fixed)
    car = in_gear(engine, draw_car(fixed, engine))
    chain = draw_chain(fixed, s.white, s.correlated, s.systematic_sd, s.timing)
    table = _table(fixed, engine, s.table_sd)
    rng = np.random.default_rng([2, seed])
    road = drive(rng, engine, car, int(rng.integers(s.pulls[0], s.pulls[1] + 1)))
    habits = exhaust.draw_habits(s.kind, seed)
    fuel = exhaust.fuelling(rng, engine, road, habits)
    factor = table(road.rpm, road.map_kpa)
    if s.change:
        factor = factor * s.change(road.rpm, road.map_kpa)
    offsets = rng.normal(0, s.between_pulls, len(road.pulls))
    for at, (first, last) in enumerate(road.pulls):
        factor[first:last] *= 1 + offsets[at]
    holes, dent = _holes(rng, s, engine, road, fuel.command)
    burnt = exhaust.cylinder_lambda(engine, fuel, factor * (1 + dent / fuel.command))
    arrives_s = exhaust.arrival_s(engine, road)
    sensed = exhaust.at_sensor(engine, burnt, arrives_s, habits.mixing)
    fine = slice(None, None, STEP)
    t_s = np.arange(road.rpm.size)[fine] * FINE_S
    signal = tach.make(rng, chain, road, [(hole.start_s, hole.end_s) for hole in holes])
    rows = {"time_s": t_s} | logged.rows_of(rng, engine, chain, road, fuel, sensed[fine], holes, dent)
    rows["engine_speed_rpm"] = signal.speed_rpm
    target = engine.target(road.map_kpa)
    excess = burnt - target
    pulls = [_pull(at, bounds, excess, offsets[at]) for at, bounds in enumerate(road.pulls)]
    delay_s = arrives_s - np.arange(road.rpm.size) * FINE_S
    truth = Truth(
        lambda_cylinder=burnt[fine],
        target=target[fine],
        delay_s=delay_s[fine],
        cut=fuel.cut[fine],
        speed_rpm=road.rpm[fine],
        wheel_w=road.wheel_w[fine],
        tau_s=engine.tau_s,
        engine=engine,
        car=car,
        chain=chain,
        table=table,
        holes=holes,
        events=_events(road, excess),
        pull_delay_s=float(np.mean([delay_s[(first + last) // 2 : last].mean() for first, last in road.pulls])),
        cruise_delay_s=float(np.mean([delay_s[first:last].mean() for first, last in road.cruises])),
        cuts_recovered=len(exhaust.cut_intervals(engine, road)),
    )
    return Drive(seed, rows, pulls, logged.config_of(engine, car, chain), signal.edges_s, truth, signal.lost_s)


def pair(car_seed: int, settings: Settings, change: Callable | None) -> tuple[Drive, Drive]:
    """The same car before and after a change (None: nothing was changed)."""
    first = make_drive(2 * car_seed + 1_000_000, car_seed, settings)
    return first, make_drive(2 * car_seed + 1_000_001, car_seed, replace(settings, change=change))


def _table(rng: np.random.Generator, engine: Engine, sd: float) -> Callable[[np.ndarray, np.ndarray], np.ndarray]:
    """A smooth error of the fuel table: four waves over speed and load, sum of variances sd^2."""
    speed = rng.uniform(0.5, 2.5, 4)
    load = rng.uniform(-1.0, 1.0, 4)
    phase = rng.uniform(0, 2 * np.pi, 4)
    size = sd / np.sqrt(2)

    def factor(rpm: np.ndarray, kpa: np.ndarray) -> np.ndarray:
        x, y = np.asarray(rpm) / engine.limit_rpm, np.asarray(kpa) / (101.325 + engine.boost_kpa)
        return 1 + size * sum(
            np.sin(2 * np.pi * (a * x + b * y) + c) for a, b, c in zip(speed, load, phase, strict=True)
        )

    return factor


def _holes(
    rng: np.random.Generator, s: Settings, engine: Engine, road: Road, command: np.ndarray
) -> tuple[list[Hole], np.ndarray]:
    """At most one hole, in one pull: depth U(hole_depth), length between half depths U(hole_s) but at most 35 % of the
    pull, flanks U(0.04, 0.10) s raised cosines, after the tip-in and ended 0.12 s before
    the throttle closes. Every other pull has a shallow wave of U(0, 0.012) instead, to tempt. Cause: "pressure"
    (fuel pressure falls with it), "supply" (volts fall with it) or "none", a third each."""
    dent = np.zeros(road.rpm.size)
    bad = int(rng.integers(len(road.pulls))) if rng.random() < s.hole_share else -1
    holes = []
    for at, (first, last) in enumerate(road.pulls):
        length = (last - first) * FINE_S
        hole_s = min(rng.uniform(*s.hole_s), 0.35 * length)
        flank_s = rng.uniform(0.04, 0.10)
        depth = rng.uniform(*s.hole_depth) if at == bad else rng.uniform(0, 0.012)
        earliest = (_settled(first, last) - first) * FINE_S + flank_s
        latest = max(length - 0.12 - flank_s - hole_s, earliest)
        start = first * FINE_S + rng.uniform(earliest, latest)
        t_s = np.arange(first, last) * FINE_S
        inside = np.minimum(t_s - start, start + hole_s - t_s) / flank_s + 0.5
        dent[first:last] = depth * 0.5 * (1 - np.cos(np.pi * np.clip(inside, 0, 1)))
        if at == bad:
            ends = (int(start / FINE_S), min(int((start + hole_s) / FINE_S), last - 1))
            cause = str(rng.choice(["pressure", "supply", "none"]))
            speeds = [float(road.rpm[end]) for end in ends]
            holes.append(Hole(at + 1, start, start + hole_s, depth, *speeds, cause))
    return holes, dent


def _settled(first: int, last: int) -> int:
    return first + int(min(TIP_IN_S / FINE_S, 0.4 * (last - first)))


def _pull(at: int, bounds: tuple[int, int], excess: np.ndarray, offset: float) -> Pull:
    first, last = bounds
    settled = _settled(first, last)
    return Pull(
        number=at + 1,
        start_s=first * FINE_S,
        end_s=last * FINE_S,
        offset=float(offset),
        excess=float(excess[settled:last].max()),
        excess_all=float(excess[first:last].max()),
        settled_s=settled * FINE_S,
    )


def _events(road: Road, excess: np.ndarray) -> list[Event]:
    out = []
    for at, (first, last) in enumerate(road.pulls):
        above = np.concatenate([[0], (excess[first:last] >= LEAN_EXCESS).astype(np.int8), [0]])
        for begin, end in (np.flatnonzero(np.diff(above)).reshape(-1, 2) + first).tolist():
            if (end - begin) * FINE_S >= LEAN_S:
                speeds = (float(road.rpm[begin]), float(road.rpm[end - 1]))
                deepest = float(excess[begin:end].max())
                tip_in = bool(begin < _settled(first, last))
                out.append(Event(at + 1, begin * FINE_S, end * FINE_S, *speeds, deepest, tip_in))
    return out
