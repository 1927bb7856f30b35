"""Checks of inputs that need no calibration: a known frequency at a pulse input, free air at a lambda sensor."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from ringpull.errors import DoesNotFit

LEAST_EDGES = 20
MOST_OFF = 0.001  # crystals of board and source are off by some 100 millionths each (common practice, no source)
REFUSED_SHARE = 0.01
LOGGER_V = 0.015  # hardware/README.md, "Free air"
END_V = 0.050  # a controller's output may end so far from its figure (common practice, no source)


@dataclass(frozen=True)
class Frequency:
    """hz: measured. known_hz. resolution: relative, of the two edges that bound the count."""

    hz: float
    known_hz: float
    resolution: float
    edges: int

    @property
    def off(self) -> float:
        """Relative."""
        return self.hz / self.known_hz - 1


def frequency(told: dict[str, Any], known_hz: float) -> Frequency:
    """From what the logger said of a pulse channel (CABLE.md, "mean"). Raises DoesNotFit."""
    edges, us = told["edges"], told["us"]
    if edges < LEAST_EDGES or us <= 0:
        raise DoesNotFit(
            f"{edges} edges came in the time that was listened",
            "no signal is joined, it is too weak, or its frequency is below what this takes",
            "look at the wire and its level; listen for longer with --seconds",
        )
    found = Frequency(edges * 1e6 / us, known_hz, 2 / us, edges)
    if told["refused"] > REFUSED_SHARE * edges or abs(found.off - 1) < 0.1:
        raise DoesNotFit(
            f"{found.hz:.3f} Hz were counted and {told['refused']} edges refused, at {known_hz:g} Hz",
            "the line rings: one edge comes as two",
            "look at the input's filter, then at ringing_us or min_period_us of this channel",
        )
    if abs(found.off) > MOST_OFF + found.resolution:
        raise DoesNotFit(
            f"{found.hz:.3f} Hz were counted at {known_hz:g} Hz: {100 * found.off:+.2f} % off",
            "every second edge is refused as ringing (max_rpm or min_period_us is too low for this frequency), or the "
            "source is not what it says",
            "look at the source with another instrument, then at max_rpm and min_period_us of this channel",
        )
    return found


@dataclass(frozen=True)
class FreeAir:
    """volts: as the logger reads. end_v: the controller's free-air end. meter_v: of a multimeter, None without one."""

    volts: float
    end_v: float
    meter_v: float | None


def free_air_end(channel: dict[str, Any]) -> float:
    """Volts at the lean end of a lambda channel."""
    pairs = zip(channel["values"], channel["volts"], strict=True)
    return float(max(pairs)[1])


def free_air(channel: dict[str, Any], volts: float, u_v: float, meter_v: float | None) -> FreeAir:
    """Raises DoesNotFit with whom it is to be looked for."""
    end_v = free_air_end(channel)
    if meter_v is not None and abs(volts - meter_v) > LOGGER_V + 2 * u_v:
        raise DoesNotFit(
            f"the logger reads {volts:.3f} V, the multimeter {meter_v:.3f} V",
            "the input is not calibrated, or its ground differs from the controller's",
            f"calibrate {channel['name']} first: two points, then the ground shift",
        )
    if abs(volts - end_v) > END_V + 2 * u_v:
        raise DoesNotFit(
            f"in free air the controller puts out {volts:.3f} V; its lean end is at {end_v:g} V",
            "the sensor is not in free air or not warm, its own calibration is off, or this channel's volts are wrong"
            + ("" if meter_v is not None else "; or the logger reads it wrongly"),
            "air the sensor for ten minutes, repeat the controller's own free-air calibration, then this",
        )
    return FreeAir(volts, end_v, meter_v)
