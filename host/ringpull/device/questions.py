"""The questions of `ringpull setup`. Each says what it is for; Enter takes the value in brackets."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from ringpull.device import answers, car_values, dbc
from ringpull.device.starter_configs import BOOSTED, FUEL_KPA, PRESETS, Plan, config_of, loads_to, tach_of
from ringpull.errors import BadUsage
from shared_math import boards, config, mixture, plausible

Ask = Callable[[str], str]
Tell = Callable[[str], None]
FUELS = (*mixture.FUELS, *mixture.ETHANOL_BLENDS)
BACK = ("back", "<")
LEAST_LOAD_KPA, MOST_LOADS = 10.0, 12
COIL, LINE, WHEEL = "coil", "line", "wheel"
NONE, LISTEN, ASK = "none", "listen", "ask"


class _BackAQuestion(Exception):
    """The user wants to answer the previous question again."""


class Interview:
    """ask: shows a prompt and returns the answer (like input). tell: shows a line.

    To go back a question, the interview starts again and repeats all answers so far except the last by itself.
    """

    def __init__(self, ask: Ask, tell: Tell) -> None:
        self._asks = ask
        self._tells = tell
        self._given: list[str] = []
        self._ahead: list[str] = []
        self._again = ""  # the answer that was gone back to, offered once more

    def plan(self) -> Plan:
        """Ask all questions in order. Raises BadUsage if the answers end too soon."""
        self._tells("Enter takes the value in [brackets]; 'back' returns to the previous question.")
        self._tells("Every answer can be changed in the file later.\n")
        try:
            while True:
                try:
                    return self._plan()
                except _BackAQuestion:
                    self._ahead, self._again = self._given[:-1], "".join(self._given[-1:])
                    self._given = []
        except (EOFError, KeyboardInterrupt):
            raise BadUsage(
                "the answers ended before the last question",
                "setup was interrupted, or its input is not a keyboard",
                "start it again, or give a preset: ringpull setup --preset boosted-petrol -o logger.json",
            ) from None

    def ask(self, prompt: str) -> str:
        """The next answer as typed, without surrounding blanks."""
        if self._ahead:
            return self._ahead.pop(0)
        said = self._asks(prompt).strip()
        if said.lower() in BACK:
            raise _BackAQuestion
        return said

    def _gone_back_to(self) -> str:
        """The earlier answer to the question that is asked now, "" if it was not gone back to."""
        if self._ahead:
            return ""
        again, self._again = self._again, ""
        return again

    def tell(self, line: str) -> None:
        """Show a line, except while earlier answers are being repeated."""
        if not self._ahead:
            self._tells(line)

    def _plan(self) -> Plan:
        for name, preset in PRESETS.items():
            self.tell(f"  {name:<15} {preset.what}")
        plan = PRESETS[self.choice("Which of these is nearest?", tuple(PRESETS), "boosted-petrol")]
        chips = "; ".join(f"{name}: {title}" for name, title in boards.TITLES.items())
        board = self.choice(f"Which board is the logger? ({chips})", tuple(boards.TITLES), plan.board)
        plan = replace(plan, board=board)
        for part in (self._engine, self._controller, self._pressure, self._throttle, self._others, self._bus):
            plan = self._without_mistakes(part, plan)
        return plan

    def _without_mistakes(self, part: Callable[[Plan], Plan], plan: Plan) -> Plan:
        """Ask a part until its answers fit together; after a mistake it is asked again with the answers in brackets."""
        while True:
            plan = part(plan)
            problems = config.check(config_of(plan))
            if not problems:
                return plan
            what, cause, step = config.explain(problems[0])
            self.tell(f"\n  These answers don't fit together: {what}\n  likely cause: {cause}\n  what to do: {step}")

    def _engine(self, plan: Plan) -> Plan:
        self.tell("\nThe engine. Its figures give the air flow, the delay to the sensor and the engine cycle.")
        cylinders = self.whole("Cylinders?", 1, 16, plan.cylinders)
        strokes = int(self.choice("Two-stroke or four-stroke?", ("2", "4"), str(plan.strokes)))
        cc = self.number("Displacement of all cylinders, in cubic centimetres?", 20, 30000, plan.displacement_cc)
        fuel = self.choice(f"Fuel? ({', '.join(FUELS)})", FUELS, plan.fuel)
        self.tell(
            "\nEngine speed comes from a line with pulses: an ignition coil's own wire (its ringing is then filtered;"
        )
        self.tell(
            "up to 400 V, so only through the coil block of hardware/README.md), the tach line of the engine computer"
        )
        self.tell("or dashboard, or the sensor of a toothed wheel on the crank.")
        source = self.choice("Where does engine speed come from? (coil, line, wheel)", (COIL, LINE, WHEEL), plan.source)
        same = (cylinders, strokes, source) == (plan.cylinders, plan.strokes, plan.source)
        tach = plan.tach if same else tach_of(cylinders, strokes, source)
        if source == COIL:
            fired = self.whole(
                "How many cylinders does that coil fire? (1: a coil each, 2: a shared coil, all: a distributor)",
                1,
                cylinders,
                plan.fired if same else 1,
            )
            tach = plan.tach if same and fired == plan.fired else tach_of(fired, strokes, LINE)
            plan = replace(plan, fired=fired)
        tach = self.number("Pulses per turn of the crankshaft?", 0.1, 60, tach)
        rpm = self.whole("Highest possible engine speed, rpm?", plausible.IDLE_MOST_RPM + 1, 30000, plan.max_rpm)
        plan = replace(plan, cylinders=cylinders, strokes=strokes, displacement_cc=cc, fuel=fuel)
        return replace(plan, tach=tach, max_rpm=rpm, source=source)

    def _controller(self, plan: Plan) -> Plan:
        self.tell("\nThe lambda controller's analog output is linear; its manual gives volts and values of both ends.")
        afr = self.yes("Does the manual give air-fuel ratio (such as 10 to 20), not lambda?", bool(plan.afr_stoich))
        low_v = self.number("Volts at the lower end?", -1, 5.5, plan.volts[0])
        high_v = self.number("Volts at the upper end?", -1, 5.5, plan.volts[1], unlike=low_v)
        unit = "air-fuel ratio" if afr else "lambda"
        least, most = (4, 120) if afr else (0.3, 8)
        usual = plan.values if afr == bool(plan.afr_stoich) else (8.82, 20.58) if afr else BOOSTED.values
        low = self.number(f"Which {unit} is {low_v:g} V?", least, most, usual[0])
        high = self.number(f"Which {unit} is {high_v:g} V?", least, most, usual[1], unlike=low)
        stoich = 0.0
        if afr:
            self.tell("It converts lambda to that figure by a constant of its own, whatever the fuel.")
            stoich = self.number("Which air-fuel ratio does it show at lambda 1?", 4, 40, plan.afr_stoich or 14.7)
        plan = replace(plan, volts=(low_v, high_v), values=(low, high), afr_stoich=stoich)
        if self.yes("Does the manual give volts that mean the sensor is still heating?", plan.warm_up is not None):
            usual = plan.warm_up or (0.0, 0.1)
            least = self.number("From how many volts?", -1, 5.5, usual[0])
            most = self.number("To how many?", -1, 5.5, usual[1], unlike=least)
            plan = replace(plan, warm_up=(min(least, most), max(least, most)))
        else:
            plan = replace(plan, warm_up=None)
        self.tell("\nAn engine with two banks needs a sensor in each: a mean of both hides a lean bank.")
        return replace(plan, second_lambda=self.yes("Is there a second controller, set up alike?", plan.second_lambda))

    def _pressure(self, plan: Plan) -> Plan:
        self.tell("\nManifold pressure shows the load: without it there is one target for all loads.")
        if self.yes("Is a manifold pressure sensor wired?", plan.map_kpa is not None):
            volts, values = self._line(plan.map_volts, plan.map_kpa or (20.0, 105.0))
            highest = max(plan.load_kpa or (100.0,))
            self.tell("\nAll pressures are absolute: 100 kPa without boost, 200 kPa at 1 bar of boost.")
            highest = self.kpa("Highest manifold pressure of the engine?", 60, max(values), min(highest, max(values)))
            loads, wanted = self._load_points(*loads_to(highest, plan), max(values))
            plan = replace(plan, map_volts=volts, map_kpa=values, load_kpa=loads, target=wanted)
            self.tell(f"\nThe lambda that you want, from whoever built the engine. Rule of thumb: {plan.why}.")
            asked = [
                self.number(f"Lambda wanted at {kpa:g} kPa?", 0.5, 1.3, usual)
                for kpa, usual in zip(loads, wanted, strict=True)
            ]
            return replace(plan, target=tuple(asked))
        self.tell(f"\nThe lambda that you want at full load. Rule of thumb: {plan.why}.")
        full = self.number("Lambda wanted at full load?", 0.5, 1.3, plan.target[-1])
        return replace(plan, map_kpa=None, target=(*plan.target[:-1], full))

    def _load_points(
        self, loads: tuple[float, ...], wanted: tuple[float, ...], most: float
    ) -> tuple[tuple[float, ...], tuple[float, ...]]:
        """(loads in kPa, the lambda that is usual there) of the target. most: the sensor's highest pressure."""
        self.tell("\nThe target is given at some pressures, with straight lines between; below the lowest it stays as")
        self.tell("it is there. If lambda is 1.0 up to 80 kPa, let them begin at 80.")
        chosen = self.rising("At which pressures? (kPa absolute, blanks between)", LEAST_LOAD_KPA, most, loads)
        at = [answers.between(kpa, loads, wanted) for kpa in chosen]
        return chosen, tuple(round(lam, 3) for lam in at)

    def _throttle(self, plan: Plan) -> Plan:
        self.tell("\nWith throttle position a marked pull ends by itself, and steady driving can be told from changes.")
        self.tell("Tap only the sensor of a cable-driven throttle: never an electronic throttle or pedal.")
        if not self.yes("Is the throttle's sensor wired?", plan.throttle_volts is not None):
            return replace(plan, throttle_volts=None)
        usual = plan.throttle_volts or (0.5, 4.5)
        closed = self.number("Volts with the throttle closed?", 0, 5.5, usual[0])
        opened = self.number("Volts with the throttle open?", 0, 5.5, usual[1], unlike=closed)
        return replace(plan, throttle_volts=(closed, opened))

    def _others(self, plan: Plan) -> Plan:
        self.tell("\nFuel pressure shows whether a weak pump or a wrong table is the cause of a lean pull.")
        if self.yes("Is a fuel pressure sensor wired?", plan.fuel_kpa is not None):
            volts, values = self._line(plan.fuel_volts, plan.fuel_kpa or FUEL_KPA, least_high=100)
            plan = replace(plan, fuel_volts=volts, fuel_kpa=values)
        else:
            plan = replace(plan, fuel_kpa=None)
        self.tell("\nSupply voltage shows whether injectors opened late for lack of it, or the table is wrong.")
        plan = replace(plan, battery=self.yes("Is the car's 12 V to be logged?", plan.battery))
        self.tell(
            "\nAn injector's on-time shows fuel cuts exactly, and its duty how much more fuel it can give. Its line"
        )
        self.tell("kicks far above 12 V when it closes: only through the tach block of hardware/README.md.")
        if self.yes("Is an injector's driver wired to p1?", plan.injector > 0):
            openings = self.whole("How often does it open per engine cycle?", 1, 16, plan.injector or 1)
            return replace(plan, injector=openings)
        return replace(plan, injector=0)

    def _bus(self, plan: Plan) -> Plan:
        self.tell("\nOver the diagnostic bus (CAN, pins 6 and 14) the car's own computer tells fuel trims, spark and")
        self.tell("codes; a stand-alone engine computer broadcasts what a DBC file describes. Both need block K of the")
        self.tell("drawings.")
        how = self.choice("What is to be taken from the car's bus? (none, listen, ask)", (NONE, LISTEN, ASK), NONE)
        if how == ASK:
            self.tell("\nThen the logger sends: it listens first, then asks the car's computer up to fifty times a")
            self.tell("second. Nothing is written to the car. Block K as drawn can't send: read its cautions first.")
            said = "; ".join(f"{name}: {what}" for name, what in car_values.SETS_SAID.items())
            chosen = self.choice(f"Which values? ({said})", tuple(car_values.SETS), "mixture")
            return replace(plan, asks=True, from_bus=tuple(car_values.SETS[chosen]))
        heard = self._signals() if how == LISTEN else ()
        if how == LISTEN and not heard:
            self.tell("  Nothing is taken from the bus now; later: ringpull setup --dbc FILE --signals A,B")
        return replace(plan, asks=False, from_bus=heard)

    def _signals(self) -> tuple[dict[str, Any], ...]:
        """Channels of a DBC file; none where none is given."""
        while True:
            file = self.text("The DBC file? (Enter: none)")
            try:
                there = list(dbc.signals(Path(file))) if file else []
                self.tell("".join(f"  {name}\n" for name in there).rstrip())
                wanted = self.text("Which of these? (blanks between)").split() if there else []
                channels, left = dbc.chosen(Path(file), wanted) if wanted else ([], [])
            except BadUsage as wrong:
                self.tell(f"  {wrong.what}: {wrong.step}")
                continue
            for line in left:
                self.tell(f"  {line}")
            return tuple(channels)

    def _line(self, volts: Sequence[float], values: Sequence[float], least_high: float = plausible.AMBIENT_LEAST_KPA):
        """Ask for both ends of a pressure sensor: ((volts), (kPa)). least_high: least allowed kPa at its upper end."""
        low_v = self.number("Volts at the lower end of its range?", 0, 5.5, volts[0])
        high_v = self.number("Volts at the upper end?", 0, 5.5, volts[1], unlike=low_v)
        low = self.kpa(f"Which pressure is {low_v:g} V?", 0, 2000, values[0])
        high = self.kpa(f"Which pressure is {high_v:g} V?", least_high, 2000, values[1], unlike=low)
        return (low_v, high_v), (low, high)

    def text(self, question: str) -> str:
        """Ask for any text."""
        before = self._gone_back_to()
        said = self.ask(f"{question} [{before}] ") or before
        self._given.append(said)
        return said

    def choice(self, question: str, allowed: Sequence[str], usual: str) -> str:
        """Ask for one of `allowed`; its first letters are enough."""
        before = self._gone_back_to()
        usual = answers.chosen(before, allowed) or usual if before else usual
        while True:
            said = self.ask(f"{question} [{usual}] ") or before
            fits = answers.chosen(said, allowed) if said else usual
            if fits is not None:
                self._given.append(said)
                return fits
            guess = answers.meant(said, allowed)
            self.tell(f"  Did you mean {guess}?" if guess else f"  Please type one of: {', '.join(allowed)}")

    def yes(self, question: str, usual: bool) -> bool:
        """Ask a yes-or-no question."""
        return self.choice(question + " (yes or no)", ("yes", "no"), "yes" if usual else "no") == "yes"

    def kpa(self, question: str, least: float, most: float, usual: float, unlike: float | None = None) -> float:
        """Ask for an absolute pressure in kPa, or bar or psi if the unit is typed; a bare figure in bar is refused."""
        return self.number(f"{question} (kPa absolute)", least, most, usual, unlike, in_kpa=True)

    def number(
        self,
        question: str,
        least: float,
        most: float,
        usual: float,
        unlike: float | None = None,
        in_kpa: bool = False,
        is_whole: bool = False,
    ) -> float:
        """A number in range; unlike: one that it must not be."""
        before = self._gone_back_to()
        usual = answers.number(before, least, most, in_kpa) or usual if before else usual
        while True:
            said = self.ask(f"{question} [{usual:g}] ") or before
            number = answers.number(said, least, most, in_kpa) if said else usual
            if number is None:
                self.tell("  Please type a number, such as 4.5")
            elif in_kpa and least <= 100 * number <= most and number < min(least, 15):
                self.tell(
                    f"  {number:g} looks like bar: that is {100 * number:g} kPa. Please type it in kPa, or add the unit"
                )
            elif not least <= number <= most:
                self.tell(f"  That is out of range: {least:g} to {most:g}")
            elif number == unlike:
                self.tell(f"  The two ends can't both be {number:g}")
            elif is_whole and number != int(number):
                self.tell("  Please type a whole number")
            else:
                self._given.append(said)
                return number

    def rising(self, question: str, least: float, most: float, usual: tuple[float, ...]) -> tuple[float, ...]:
        """Ask for several rising numbers in a range."""
        before = self._gone_back_to()
        usual = answers.several(before) or usual if before else usual
        while True:
            said = self.ask(f"{question} [{' '.join(f'{one:g}' for one in usual)}] ") or before
            found = answers.several(said) if said else usual
            if not found or not 2 <= len(found) <= MOST_LOADS:
                self.tell(f"  Please type 2 to {MOST_LOADS} numbers with blanks between, such as 80 100 150 200")
            elif not all(least <= one <= most for one in found):
                self.tell(f"  One is out of range: {least:g} to {most:g}")
            elif any(b <= a for a, b in zip(found, found[1:], strict=False)):
                self.tell("  Each must be higher than the one before it")
            else:
                self._given.append(said)
                return found

    def whole(self, question: str, least: int, most: int, usual: int) -> int:
        """Ask for a whole number in a range."""
        return int(self.number(question, least, most, usual, is_whole=True))
