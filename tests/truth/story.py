"""A drive with full-throttle pulls whose start and end are known, and with driving that is no pull."""

from __future__ import annotations

from dataclasses import dataclass

from truth.profile import Profile
from truth.signals import Signals, Tach

LOW_RPM, HIGH_RPM = 2000.0, 6400.0


@dataclass
class Story:
    """Signals, and (start, end) of each pull in their time."""

    signals: Signals
    pulls_s: list[tuple[float, float]]


def three_pulls(
    channels: tuple[str, ...] = ("lambda_1", "map", "throttle"),
    rate_hz: int = 200,
    marked: bool = True,
    slopes: tuple[float, ...] = (700.0, 500.0, 1100.0),
    end_pressed: bool = True,
    bounce: bool = False,
    seed: int = 5,
) -> Story:
    """Pulls from 2,000 to 6,400 rpm at `slopes`; between them a blip out of gear, a gentle climb and cruising.

    The throttle opens in 60 ms and the engine pulls from the same instant; at the end it closes in 60 ms.
    """
    rpm, throttle, pressure, mixture = [(0.0, LOW_RPM)], [(0.0, 12.0)], [(0.0, 45.0)], [(0.0, 1.0)]
    pulls, now = [], 8.0

    def until(at: float, speed: float, opening: float, kpa: float, lam: float) -> None:
        for line, value in ((rpm, speed), (throttle, opening), (pressure, kpa), (mixture, lam)):
            line.append((at, value))

    for slope in slopes:
        until(now, LOW_RPM, 12, 45, 1.0)
        begin, length = now, (HIGH_RPM - LOW_RPM) / slope
        throttle.append((begin + 0.06, 100.0))
        pressure.append((begin + 0.15, 110.0))
        pressure.append((begin + 0.5, 175.0))
        mixture.append((begin + 0.15, 0.84))
        now += length
        pulls.append((begin, now))
        until(now, HIGH_RPM, 100, 185, 0.82)
        throttle.append((now + 0.06, 0.0))
        pressure.append((now + 0.12, 25.0))
        mixture.append((now + 0.1, 1.3))
        now += 5.0
        until(now, LOW_RPM, 0, 25, 1.3)
        throttle.append((now + 0.4, 12.0))
        pressure.append((now + 0.4, 45.0))
        mixture.append((now + 0.4, 1.0))
        now += 4.0
        # A blip out of gear: fast, short, throttle half open for 0.3 s
        until(now, LOW_RPM, 12, 45, 1.0)
        throttle.append((now + 0.05, 45.0))
        pressure.append((now + 0.1, 70.0))
        throttle.append((now + 0.3, 45.0))
        pressure.append((now + 0.35, 60.0))
        rpm.append((now + 0.5, 3600.0))
        throttle.append((now + 0.45, 8.0))
        pressure.append((now + 0.6, 30.0))
        now += 2.5
        until(now, LOW_RPM, 12, 45, 1.0)
        # A gentle climb at a quarter of throttle
        now += 1.0
        until(now, LOW_RPM, 12, 45, 1.0)
        throttle.append((now + 1.0, 25.0))
        pressure.append((now + 1.0, 65.0))
        now += 6.0
        until(now, 3200.0, 25, 65, 1.0)
        now += 4.0
        until(now, LOW_RPM, 12, 45, 1.0)
        now += 4.0
    until(now, LOW_RPM, 12, 45, 1.0)
    lines = {"lambda_1": mixture, "map": pressure, "throttle": throttle, "fuel_pressure": [(0, 400), (1, 400)]}
    presses = []
    for begin, end in pulls if marked else []:
        presses += [begin, end] if end_pressed else [begin]
    signals = Signals(
        Profile(sorted(rpm, key=lambda point: point[0])),
        Tach(2, glitches=True, dropouts=True),
        {name: Profile(sorted(lines[name], key=lambda point: point[0])) for name in channels},
        rate_hz,
        presses_s=presses,
        bounce=bounce,
        seed=seed,
    )
    signals.top = {"target": {"lambda": 0.85}}
    if "map" in channels:
        signals.top = {"target": {"load": "map", "load_kpa": [40, 100, 200], "lambda": [1.0, 0.88, 0.82]}}
    return Story(signals, pulls)
