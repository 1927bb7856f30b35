"""The invented drive as a list of phases: the driver's feet and hands, and the passenger's button.

Three pulls in third gear, with cool-downs between them and a turn at the end of the road before the last.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from ringpull.invented import car

PULL_GEAR = 3
CRUISE_M_S = 11.7
IDLE_RPM = 950.0
LIFT_RPM = 6950.0  # just below the limiter
OPEN_PCT_S = 420.0
CLOSE_PCT_S = 700.0
BEFORE_PULL_S = 0.7  # from the passenger's press until the driver opens the throttle
AFTER_PULL_S = 0.5
HELD_S = 0.14  # a short press
LONG_PRESS_S = 1.9
CATCHES_S = 0.7  # cranking before the engine fires
GRADE = 0.012  # the road climbs until the car has turned round


@dataclass(frozen=True)
class Phase:
    """kind: the action. value: speed (m/s) or pedal (%) if the kind needs it. until: its end, by the kind's rule."""

    kind: str
    until: float
    gear: int = 0
    value: float = 0.0


def _away(until_s: float) -> list[Phase]:
    """Phases from standstill to a cruise in the pull's gear, which lasts until a time."""
    return [
        Phase("away", 6.5, 1, 24.0),
        Phase("shift", 0.5, 2),
        Phase("drive", 10.0, 2, 30.0),
        Phase("shift", 0.5, 3),
        Phase("cruise", until_s, PULL_GEAR, CRUISE_M_S),
    ]


PLAN = [
    Phase("off", 1.8),
    Phase("crank", 600.0),
    Phase("idle", 13.0),
    *_away(29.0),
    Phase("pull", LIFT_RPM, PULL_GEAR, 1),
    Phase("slow", CRUISE_M_S, PULL_GEAR),
    Phase("cruise", 57.0, PULL_GEAR, CRUISE_M_S),
    Phase("pull", LIFT_RPM, PULL_GEAR, 2),
    Phase("slow", 7.5, PULL_GEAR),
    Phase("stop", 0.2),
    Phase("turn", 90.0),
    *_away(105.0),
    Phase("pull", LIFT_RPM, PULL_GEAR, 3),
    Phase("slow", 7.5, PULL_GEAR),
    Phase("stop", 0.2),
    Phase("idle", 134.0),
]
END_S = 136.0
LONG_PRESS_AT_S = 132.0


@dataclass
class PullTruth:
    """The true times of a pull in seconds; ended_by "press" or "throttle"."""

    number: int
    press_s: float
    open_s: float
    lift_s: float = 0.0
    rpm_from: float = 0.0
    rpm_to: float = 0.0
    end_s: float = 0.0
    ended_by: str = "press"


@dataclass
class Driver:
    """Feet and hands. pedal: throttle, %; clutch: share of its torque; brake: 0-1; starter: the key is turned.

    hand_s: the delay of each press against the plan.
    """

    hand_s: list[float]
    pedal: float = 0.0
    gear: int = 0
    clutch: float = 0.0
    brake: float = 0.0
    starter: bool = False
    running: bool = False
    grade: float = GRADE
    presses: list[tuple[float, float]] = field(default_factory=list)
    pulls: list[PullTruth] = field(default_factory=list)
    at: int = 0
    began_s: float = 0.0
    wanted_pct: float = 0.0
    memory: float = 10.0
    in_pull: int = 0

    def step(self, dt_s: float, t_s: float, rpm: float, speed_m_s: float) -> None:
        """Decide the driver's actions for this step."""
        if self.at < len(PLAN):
            phase = PLAN[self.at]
            if getattr(self, "_" + phase.kind)(phase, dt_s, t_s, rpm, speed_m_s):
                self.at += 1
                self.began_s = t_s
        change = self.wanted_pct - self.pedal
        self.pedal += max(-CLOSE_PCT_S * dt_s, min(OPEN_PCT_S * dt_s, change))

    def _off(self, phase: Phase, _dt: float, t_s: float, _rpm: float, _speed: float) -> bool:
        return t_s >= phase.until

    def _crank(self, phase: Phase, _dt: float, t_s: float, rpm: float, _speed: float) -> bool:
        self.starter = True
        self.running = t_s - self.began_s > CATCHES_S
        if rpm > phase.until:
            self.starter = False
            return True
        return False

    def _idle(self, phase: Phase, _dt: float, t_s: float, _rpm: float, _speed: float) -> bool:
        self.wanted_pct = 0.0
        self.clutch = 0.0
        self.brake = 0.1
        return t_s >= phase.until

    def _turn(self, phase: Phase, dt_s: float, t_s: float, rpm: float, speed_m_s: float) -> bool:
        self.grade = -GRADE
        return self._idle(phase, dt_s, t_s, rpm, speed_m_s)

    def _away(self, phase: Phase, dt_s: float, t_s: float, rpm: float, speed_m_s: float) -> bool:
        """Slip the clutch until it can lock."""
        if self.gear != phase.gear:
            self.gear, self.clutch, self.brake = phase.gear, 0.05, 0.0
        self.wanted_pct = phase.value if self.clutch >= 1.0 else max(3.0, min(phase.value, (2000.0 - rpm) * 0.02))
        together = abs(rpm - speed_m_s * 3.6 * car.rpm_per_kmh(phase.gear)) < 60.0
        self.clutch = 1.0 if together or self.clutch >= 1.0 else min(0.3, self.clutch + 0.05 * dt_s)
        return speed_m_s >= phase.until

    def _shift(self, phase: Phase, _dt: float, t_s: float, _rpm: float, _speed: float) -> bool:
        self.wanted_pct = 0.0
        self.clutch = 0.0
        if t_s - self.began_s < phase.until:
            return False
        self.gear = phase.gear
        self.memory = 12.0
        return True

    def _drive(self, phase: Phase, dt_s: float, _t: float, _rpm: float, speed_m_s: float) -> bool:
        self.clutch = min(1.0, self.clutch + 2.0 * dt_s)
        self.wanted_pct = phase.value * min(1.0, 0.4 + self.clutch)
        return speed_m_s >= phase.until

    def _cruise(self, phase: Phase, dt_s: float, t_s: float, _rpm: float, speed_m_s: float) -> bool:
        self.clutch = min(1.0, self.clutch + 2.0 * dt_s)
        self.brake = 0.0
        short = phase.value - speed_m_s
        self.memory = max(0.0, min(40.0, self.memory + 1.2 * short * dt_s))
        self.wanted_pct = max(0.0, min(35.0, self.memory + 6.0 * short))
        return t_s >= phase.until

    def _pull(self, phase: Phase, _dt: float, t_s: float, rpm: float, _speed: float) -> bool:
        """The passenger presses, the driver opens the throttle, and lifts just below the limiter."""
        number = int(phase.value)
        if self.in_pull != number:
            self.in_pull = number
            press_s = t_s + self.hand_s[2 * number - 2]
            self.presses.append((press_s, HELD_S))
            self.pulls.append(PullTruth(number, press_s, t_s + BEFORE_PULL_S, rpm_from=rpm))
        pull = self.pulls[-1]
        if t_s >= pull.open_s:
            if self.wanted_pct < 100.0:
                pull.rpm_from = rpm
            self.wanted_pct = 100.0
        if rpm < phase.until:
            return False
        pull.lift_s, pull.rpm_to = t_s, rpm
        if number < 3:
            pull.end_s = t_s + AFTER_PULL_S + self.hand_s[2 * number - 1]
            self.presses.append((pull.end_s, HELD_S))
        else:  # no press: the logger ends the pull after 3 s of closed throttle
            pull.end_s, pull.ended_by = t_s + 100.0 / CLOSE_PCT_S + 3.0, "throttle"
        return True

    def _slow(self, phase: Phase, _dt: float, t_s: float, _rpm: float, speed_m_s: float) -> bool:
        self.wanted_pct = 0.0
        self.brake = 0.27 if t_s - self.began_s > 0.8 else 0.0
        if speed_m_s > phase.until:
            return False
        self.brake = 0.0
        self.memory = 8.0
        return True

    def _stop(self, phase: Phase, _dt: float, _t: float, _rpm: float, speed_m_s: float) -> bool:
        self.wanted_pct = 0.0
        self.clutch, self.gear, self.brake = 0.0, 0, 0.25
        return speed_m_s < phase.until
