"""From the engine computer to the lambda sensor: command, cut, film, mixture, transport, lag, noise."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.signal import lfilter

from truth.engines import STOICH, Chain, Engine
from truth.road import FINE_S, Road, lag


@dataclass(frozen=True)
class Habits:
    """What an engine computer or an exhaust may do beside the plain model.

    rich_above_pct: full-load mixture as soon as the throttle has opened so far, whatever the pressure; None: by
    pressure alone. puff, puff_s: share of fuel added when a cut ends, and the time in which that fades. mixing: the lag
    is of gas that mixes, so of 1/lambda; else of lambda.
    """

    rich_above_pct: float | None = None
    puff: float = 0.0
    puff_s: float = 0.3
    mixing: bool = False


PLAIN = Habits()
KINDS = ("plain", "rich by throttle", "rich puff", "mixing lag")


def draw_habits(kind: str, seed: int) -> Habits:
    """The habits of a drive of one of KINDS: full load from U(35, 55) % of throttle; a puff of U(0.05, 0.25) that fades
    in U(0.10, 0.50) s."""
    rng = np.random.default_rng([6, seed])
    return {
        "plain": PLAIN,
        "rich by throttle": Habits(rich_above_pct=rng.uniform(35, 55)),
        "rich puff": Habits(puff=rng.uniform(0.05, 0.25), puff_s=rng.uniform(0.10, 0.50)),
        "mixing lag": Habits(mixing=True),
    }[kind]


@dataclass
class Fuel:
    """On the fine grid: what was commanded, what was injected (relative to air at lambda 1), and where it was cut."""

    command: np.ndarray
    injected: np.ndarray
    cut: np.ndarray
    air: np.ndarray


def cut_intervals(engine: Engine, road: Road) -> list[tuple[int, int]]:
    """(first, last) grid points of each fuel cut: the throttle closed for the cut delay at speed, until it opens or
    the speed has fallen."""
    closed = (road.throttle < 1.5).astype(np.int8)
    turn = np.flatnonzero(np.diff(np.concatenate([[0], closed, [0]])))
    out = []
    for first, last in turn.reshape(-1, 2):
        begin = first + int(engine.cut_delay_s / FINE_S)
        if begin >= last or road.rpm[begin] < engine.cut_above_rpm:
            continue
        slow = np.flatnonzero(road.rpm[begin:last] < engine.resume_rpm)
        out.append((begin, begin + int(slow[0]) if slow.size else int(last)))
    return out


def commanded(
    rng: np.random.Generator, engine: Engine, road: Road, map_seen: np.ndarray, habits: Habits = PLAIN
) -> np.ndarray:
    """Target at the pressure the computer sees; in cruise a slow closed-loop wave, U(0, 0.015) at U(0.6, 1.6) Hz, and
    in 3 drives of 10 a step of +-0.06 half-way through each cruise."""
    command = engine.target(map_seen)
    if habits.rich_above_pct is not None:
        command = np.where(road.throttle > habits.rich_above_pct, engine.target_lambda[-1], command)
    t_s = np.arange(road.rpm.size) * FINE_S
    wave = rng.uniform(0, 0.015) * np.sign(np.sin(2 * np.pi * rng.uniform(0.6, 1.6) * t_s))
    command = command + lag(wave, 0.2) * (map_seen < 75)
    if rng.random() < 0.3:
        for first, last in road.cruises:
            command[(first + last) // 2 : last] += 0.06 * rng.choice([-1, 1])
    return command


def fuelling(rng: np.random.Generator, engine: Engine, road: Road, habits: Habits = PLAIN) -> Fuel:
    """What the computer injects, seeing pressure late, adding what it believes of the film, cutting on overrun."""
    t_s = np.arange(road.rpm.size) * FINE_S
    map_seen = np.interp(t_s - engine.latency_s, t_s, road.map_kpa)
    command = commanded(rng, engine, road, map_seen, habits)
    injected = engine.air_kg_s(road.rpm, map_seen) / road.rpm / command  # per revolution
    if engine.film_s > 0:
        # The exact inverse of the film is 1 + X/(1-X) (1 - lag of tau (1-X)); the computer applies a part of it
        share = engine.film_share / (1 - engine.film_share)
        extra = injected - lag(injected, engine.film_s * (1 - engine.film_share))
        injected = np.maximum(injected + engine.film_known * share * extra, 0)
    cut = np.zeros(road.rpm.size, bool)
    for first, last in cut_intervals(engine, road):
        cut[first:last] = True
        if habits.puff:
            injected[last:] *= 1 + habits.puff * np.exp(-np.arange(injected.size - last) * FINE_S / habits.puff_s)
    injected = np.where(cut, 0.0, injected)
    return Fuel(command, injected, cut, engine.air_kg_s(road.rpm, road.map_kpa) / road.rpm)


def cylinder_lambda(engine: Engine, fuel: Fuel, leaner: np.ndarray) -> np.ndarray:
    """Lambda of what is burnt; `leaner` multiplies it. Without fuel it is what the controller calls air."""
    delivered = fuel.injected
    if engine.film_s > 0:
        delivered = (1 - engine.film_share) * delivered + engine.film_share * lag(delivered, engine.film_s)
    richness = delivered / (fuel.air * leaner)
    return 1 / np.maximum(richness, 1 / engine.air_lambda)


def arrival_s(engine: Engine, road: Road) -> np.ndarray:
    """When what was injected at each grid point is in front of the sensor's element.

    The cycle part is an angle of the crank, the pipe a volume that must be swept, the rest a constant: exact also
    while speed and flow change.
    """
    t_s = np.arange(road.rpm.size) * FINE_S
    turned = road.phase_rev + engine.cycle_deg / 360
    left = np.interp(turned, road.phase_rev, t_s)
    beyond = turned > road.phase_rev[-1]
    left[beyond] = t_s[-1] + (turned[beyond] - road.phase_rev[-1]) * 60 / road.rpm[-1]
    air = engine.air_kg_s(road.rpm, road.map_kpa)
    kelvin, kpa = engine.exhaust(air)
    # The walls keep the gas from following load at once: half a second
    kelvin = lag(kelvin, 0.5)
    flow = air * (1 + 1 / STOICH) * 300.95 * kelvin / (kpa * 1000)
    swept = np.concatenate([[0.0], np.cumsum((flow[1:] + flow[:-1]) / 2 * FINE_S)])
    start = np.interp(left, t_s, swept) + np.maximum(left - t_s[-1], 0) * flow[-1]
    arrived = np.interp(start + engine.pipe_m3, swept, t_s)
    late = np.maximum(start + engine.pipe_m3 - swept[-1], 0) / flow[-1]
    return arrived + late + engine.constant_s


def at_sensor(engine: Engine, burnt: np.ndarray, arrives_s: np.ndarray, mixing: bool = False) -> np.ndarray:
    """Lambda as an ideal controller behind the lagging sensor prints it, before noise and its range. mixing: the lag is
    of 1/lambda."""
    t_s = np.arange(burnt.size) * FINE_S
    if mixing:
        return 1 / lag(1 / np.interp(t_s, arrives_s, burnt), engine.tau_s)
    return lag(np.interp(t_s, arrives_s, burnt), engine.tau_s)


def noise(rng: np.random.Generator, chain: Chain, count: int, dt_s: float) -> np.ndarray:
    """White noise and noise with an exponential autocorrelation, by their standard deviations, at the rows."""
    keep = np.exp(-dt_s / chain.correlated_s)
    drive = rng.normal(0, np.sqrt(1 - keep**2), count)
    drive[0] = rng.normal()
    slow = lfilter([1.0], [1.0, -keep], drive)
    return chain.white * rng.normal(size=count) + chain.correlated * slow
