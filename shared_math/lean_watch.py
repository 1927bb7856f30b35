"""The lean warning: lambda above target under load, for long enough.

Only this module decides on a warning, from whole numbers, a few times a second. The warning is for the driver and comes
as late as the gas reaches the sensor; the drive is judged by the analysis on the PC.
"""

from array import array

from shared_math import judging

# Common practice, no source
HELD_MS = 1500  # least length of a warning
WARM_MS = 30000  # running time without warnings if no configured state shows that the controller is heating
LONGEST_STEP_MS = 200  # a longer pause between looks counts as this

_SETTLE_MS = judging.SETTLE_MS


def sensors(channels):
    """The lambda channels that measure the exhaust, without a lambda that the engine computer commands."""
    return [one for one in channels if judging.measures(one)]


def entries(target):
    """The target's entries, as a list."""
    if target is None:
        return []
    return target if isinstance(target, list) else [target]


def lacking(config):
    """What a checked configuration lacks for the warning: a list of "lambda", "speed", "load"."""
    out = []
    if not sensors(config["channels"]):
        out.append("lambda")
    if not [one for one in config["channels"] if one["kind"] == "pulses" and "per_rev" in one]:
        out.append("speed")
    loads = [one["name"] for one in config["channels"] if one["kind"] in ("linear", "table")]
    if not [one for one in entries(config.get("target")) if one.get("load") in loads]:
        out.append("load")
    return out


class LeanWatch:
    """One engine's warning. `on`: whether the lamp warns. `lambda_`, `wanted`: those of the last step, in thousandths.

    banks: number of lambda channels. margin, after_s: as configured. in_kpa: whether loads are pressures (tenths of
    kPa; else tenths of per cent). warm: for each bank whether a state shows the controller's warm-up. throttle: whether
    there is a throttle beside a pressure.
    """

    def __init__(self, banks, margin, after_s, in_kpa, warm, throttle=False):
        self.margin = int(margin * 1000 + 0.5)
        self.after_ms = int(after_s * 1000 + 0.5)
        self.in_kpa = in_kpa
        self.jump = 10 * (judging.TIP_IN_KPA if in_kpa else judging.TIP_IN_PCT)
        self.throttle = throttle
        self.full = judging.full_kpa(10 * judging.STANDARD_KPA, throttle, 10)
        self.boosted = judging.boosted_kpa(10 * judging.STANDARD_KPA, 10)
        self.stood = -1  # tenths of kPa
        self.stood_ms = 0  # time with the engine stopped at that pressure
        self.flat_ms = 0  # idling time at the pressure of full load minus idling time below it
        self.warm = tuple(warm)
        self.known_ms = array("i", bytearray(4 * banks))  # for each bank: time with a valid lambda
        self.lean_ms = array("i", bytearray(4 * banks))  # and time above target
        self.running_ms = 0
        self.steady_ms = 0  # time under load without anything that prevents judging
        self.load_1 = self.load_2 = -1
        self.rpm_1 = self.rpm_2 = 0
        self.since_lean_ms = HELD_MS
        self.on = False
        self.under_load = False  # and steady: lambda belongs to the target

    def step(self, ms, rpm, load, wanted, throttle, lambdas, rails, pressure=None):
        """Process the state `ms` after the last one; returns `on`.

        load: tenths of kPa or %; wanted: thousandths; both None if unknown. throttle: -1 closed, 1 wide open, else 0.
        lambdas: thousandths for each bank, None if the controller gives none. rails: for each bank -1 at the rich end
        of its range, 1 at the lean end, else 0. pressure: of the manifold in
        tenths of kPa, if the load is another; None if unknown.
        """
        if ms > LONGEST_STEP_MS:
            ms = LONGEST_STEP_MS
        self._settle(ms, rpm, load, throttle, load if self.in_kpa else pressure)
        self.under_load = self.steady_ms >= _SETTLE_MS and wanted is not None
        lean = False
        for bank in range(len(self.known_ms)):
            if self._bank(bank, ms, wanted, lambdas[bank], rails[bank]):
                lean = True
        self.since_lean_ms = 0 if lean else min(HELD_MS, self.since_lean_ms + ms)
        if lean:
            self.on = True
        elif self.since_lean_ms >= HELD_MS:
            self.on = False
        return self.on

    def _full(self, ms, rpm, pressure, throttle):
        """Whether throttle or pressure show load."""
        if rpm <= 0:
            self._stand(ms, pressure)
        elif rpm >= judging.RUNNING_RPM and (throttle < 0 if self.throttle else rpm < judging.IDLE_RPM):
            self.flat_ms += ms if pressure >= self.full else -4 * ms
            self.flat_ms = max(0, min(2 * judging.NO_VACUUM_MS, self.flat_ms))
        full = self.boosted if self.flat_ms >= judging.NO_VACUUM_MS else self.full
        return throttle >= 0 and judging.under_load(pressure, full, throttle, 1)

    def _stand(self, ms, pressure):
        """With the engine stopped and pressure steady, take it as the pressure of the surrounding air."""
        if abs(pressure - self.stood) > 10 * judging.STOOD_KPA:
            self.stood = pressure
            self.stood_ms = 0
            return
        self.stood_ms = min(judging.STOOD_MS, self.stood_ms + ms)
        if self.stood_ms >= judging.STOOD_MS:
            self.full = judging.full_kpa(pressure, self.throttle, 10)
            self.boosted = judging.boosted_kpa(pressure, 10)

    def _settle(self, ms, rpm, load, throttle, pressure):
        """Update the time that the engine has been under steady load."""
        running = rpm >= judging.RUNNING_RPM
        if rpm > 0:
            self.stood_ms = 0
        self.running_ms = min(WARM_MS, self.running_ms + ms) if running else 0
        known = load is not None
        # a missing edge makes one speed too low, so two must be low
        falling = self.rpm_2 - max(self.rpm_1, rpm) > judging.FALLING_RPM_S * ms // 1000
        jumped = known and self.load_1 >= 0 and load - min(self.load_1, self.load_2) > self.jump
        loaded = pressure is not None and self._full(ms, rpm, pressure, throttle)
        loaded = known and (loaded or (not self.in_kpa and load >= 10 * judging.LOADED_PCT))
        if running and loaded and not falling and not jumped:
            self.steady_ms = min(_SETTLE_MS, self.steady_ms + ms)
        else:
            self.steady_ms = 0
        self.rpm_2 = self.rpm_1
        self.rpm_1 = rpm
        if known:
            self.load_2 = self.load_1 if self.load_1 >= 0 else load
            self.load_1 = load
        else:
            self.load_1 = self.load_2 = -1

    def _bank(self, bank, ms, wanted, value, rail):
        if value is None:
            self.known_ms[bank] = 0
            self.lean_ms[bank] = 0
            return False
        if rail == 0:
            self.known_ms[bank] = min(_SETTLE_MS, self.known_ms[bank] + ms)
        if not self.under_load or self.known_ms[bank] < _SETTLE_MS:
            self.lean_ms[bank] = 0
            return False
        if self.running_ms < WARM_MS and not self.warm[bank]:
            self.lean_ms[bank] = 0
            return False
        above = value - wanted
        if rail:
            # the end of the range is not a measurement: it can prolong a warning, but not start one
            self.lean_ms[bank] = self.lean_ms[bank] + ms if rail > 0 and self.lean_ms[bank] else 0
        elif above > self.margin:
            self.lean_ms[bank] = self.lean_ms[bank] + ms if self.lean_ms[bank] else 1  # it began before this step
        elif above <= self.margin >> 1:
            self.lean_ms[bank] = 0
        if self.lean_ms[bank] > self.after_ms:
            self.lean_ms[bank] = self.after_ms + 1
            return True
        return False
