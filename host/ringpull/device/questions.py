"""The questions of `ringpull setup`: each says what it is for, Enter takes what stands in brackets."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

from ringpull.device.starter_configs import BOOSTED, PRESETS, Plan, config_of, tach_of
from ringpull.errors import BadUsage
from shared_math import boards, config, mixture

Ask = Callable[[str], str]
Tell = Callable[[str], None]
FUELS = (*mixture.FUELS, *mixture.ETHANOL_BLENDS)


class Interview:
    """ask: shows a prompt and gives the answer (like input). tell: shows a line."""

    def __init__(self, ask: Ask, tell: Tell) -> None:
        self.ask = ask
        self.tell = tell

    def plan(self) -> Plan:
        """All questions, in order. Raises BadUsage where the answers end too soon."""
        try:
            return self._plan()
        except (EOFError, KeyboardInterrupt):
            raise BadUsage(
                "the answers ended before the last question",
                "setup was interrupted, or its input is not a keyboard",
                "start it again, or give a preset: ringpull setup --preset boosted-petrol -o logger.json",
            ) from None

    def _plan(self) -> Plan:
        self.tell("Enter takes what stands in [brackets]. Every answer can be changed in the file later.\n")
        for name, preset in PRESETS.items():
            self.tell(f"  {name:<15} {preset.what}")
        plan = PRESETS[self.choice("Which of these comes nearest?", tuple(PRESETS), "boosted-petrol")]
        for part in (self._engine, self._controller, self._other_inputs):
            plan = self._without_mistakes(part, plan)
        chips = "; ".join(f"{name}: {title}" for name, title in boards.TITLES.items())
        board = self.choice(f"Which board will log? ({chips})", tuple(boards.TITLES), plan.board)
        plan = replace(plan, board=board)
        return plan if self._go_together(plan) else self._without_mistakes(self._engine, plan)

    def _without_mistakes(self, part: Callable[[Plan], Plan], plan: Plan) -> Plan:
        """Answers that don't go together are told at once, and that part is asked again with them in brackets."""
        while True:
            plan = part(plan)
            if self._go_together(plan):
                return plan

    def _go_together(self, plan: Plan) -> bool:
        """Whether these answers make a configuration without mistakes; the first one is told."""
        problems = config.check(config_of(plan))
        if problems:
            what, cause, step = config.explain(problems[0])
            self.tell(f"\n  These answers don't go together: {what}\n  likely cause: {cause}\n  what to do: {step}")
        return not problems

    def _engine(self, plan: Plan) -> Plan:
        self.tell("\nThe engine. It is used for air flow, delays and what a whole cycle is.")
        cylinders = self.whole("Cylinders?", 1, 16, plan.cylinders)
        strokes = int(self.choice("Two-stroke or four-stroke?", ("2", "4"), str(plan.strokes)))
        cc = self.number("Displacement of all cylinders, in cubic centimetres?", 20, 30000, plan.displacement_cc)
        fuel = self.choice(f"Fuel? ({', '.join(FUELS)})", FUELS, plan.fuel)
        self.tell(
            "\nEngine speed comes from a line that pulses: half the cylinders a turn on most four-stroke tach lines."
        )
        same = (cylinders, strokes) == (plan.cylinders, plan.strokes)
        usual = plan.tach if same else tach_of(cylinders, strokes)
        tach = self.number("Pulses per turn of the crankshaft?", 0.1, 60, usual)
        coil = self.yes("Is it the ignition coil's own wire? (its ringing is then filtered)", plan.coil)
        rpm = self.whole("Highest engine speed there can be, 1/min?", 300, 30000, plan.max_rpm)
        plan = replace(plan, cylinders=cylinders, strokes=strokes, displacement_cc=cc, fuel=fuel)
        return replace(plan, tach=tach, max_rpm=rpm, coil=coil)

    def _controller(self, plan: Plan) -> Plan:
        self.tell("\nThe lambda controller's analog output is a straight line. Its papers name both ends.")
        afr = self.yes("Do its papers give air-fuel ratio (such as 10 to 20) instead of lambda?", bool(plan.afr_stoich))
        low_v = self.number("Volts at the lower end?", -1, 16, plan.volts[0])
        high_v = self.number("Volts at the upper end?", -1, 16, plan.volts[1], unlike=low_v)
        unit = "air-fuel ratio" if afr else "lambda"
        least, most = (4, 120) if afr else (0.3, 8)
        usual = plan.values if afr == bool(plan.afr_stoich) else (8.82, 20.58) if afr else BOOSTED.values
        low = self.number(f"Which {unit} do {low_v:g} V mean?", least, most, usual[0])
        high = self.number(f"Which {unit} do {high_v:g} V mean?", least, most, usual[1], unlike=low)
        stoich = 0.0
        if afr:
            self.tell("It makes that figure from lambda by a constant of its own, whatever the fuel.")
            stoich = self.number("Which air-fuel ratio does it show at lambda 1?", 4, 40, plan.afr_stoich or 14.7)
        plan = replace(plan, volts=(low_v, high_v), values=(low, high), afr_stoich=stoich)
        if self.yes(
            "Do its papers name volts by which it says that the sensor is still heating?", plan.warm_up is not None
        ):
            usual = plan.warm_up or (0.0, 0.1)
            least = self.number("From how many volts?", -1, 16, usual[0])
            most = self.number("To how many?", -1, 16, usual[1], unlike=least)
            return replace(plan, warm_up=(min(least, most), max(least, most)))
        return replace(plan, warm_up=None)

    def _other_inputs(self, plan: Plan) -> Plan:
        self.tell("\nManifold pressure tells how much air there is: without it there is one target for all loads.")
        if self.yes("Is a pressure sensor wired to a1?", plan.map_kpa is not None):
            kpa = plan.map_kpa or (20.0, 105.0)
            volts, values = self._line("kPa absolute", plan.map_volts, kpa, 0, 1000)
            plan = replace(plan, map_volts=volts, map_kpa=values)
        else:
            plan = replace(plan, map_kpa=None)
        self.tell("\nThrottle position ends a marked pull by itself and tells steady driving from a change.")
        if self.yes("Is the throttle's sensor wired to a2?", plan.throttle_volts is not None):
            usual = plan.throttle_volts or (0.5, 4.5)
            closed = self.number("Volts with the throttle closed?", 0, 5.5, usual[0])
            opened = self.number("Volts with the throttle open?", 0, 5.5, usual[1], unlike=closed)
            plan = replace(plan, throttle_volts=(closed, opened))
        else:
            plan = replace(plan, throttle_volts=None)
        self.tell(
            "\nAn injector's on-time tells fuel cut exactly, and duty shows how much fuel is left to give. Its line "
            "kicks far"
        )
        self.tell(
            "above 12 V when it closes: never onto a bare pin, only through the tach block of hardware/README.md."
        )
        if self.yes("Is an injector's driver wired to p1?", plan.injector > 0):
            openings = self.whole("How often does it open in a whole engine cycle?", 1, 16, plan.injector or 1)
            return replace(plan, injector=openings)
        return replace(plan, injector=0)

    def _line(self, unit: str, volts: Sequence[float], values: Sequence[float], least: float, most: float):
        low_v = self.number("Volts at the lower end of its range?", 0, 16, volts[0])
        high_v = self.number("Volts at the upper end?", 0, 16, volts[1], unlike=low_v)
        low = self.number(f"How many {unit} do {low_v:g} V mean?", least, most, values[0])
        high = self.number(f"How many {unit} do {high_v:g} V mean?", least, most, values[1], unlike=low)
        return (low_v, high_v), (low, high)

    def choice(self, question: str, allowed: Sequence[str], usual: str) -> str:
        """One of `allowed`, or the only one that begins with what was typed."""
        while True:
            said = self.ask(f"{question} [{usual}] ").strip().lower()
            fitting = [one for one in allowed if one == said] or [
                one for one in allowed if said and one.startswith(said)
            ]
            if not said:
                return usual
            if len(fitting) == 1:
                return fitting[0]
            self.tell(f"  Please one of: {', '.join(allowed)}")

    def yes(self, question: str, usual: bool) -> bool:
        """Yes or no."""
        return self.choice(question + " (yes or no)", ("yes", "no"), "yes" if usual else "no") == "yes"

    def number(self, question: str, least: float, most: float, usual: float, unlike: float | None = None) -> float:
        """A number in range; unlike: one that it must not be."""
        while True:
            said = self.ask(f"{question} [{usual:g}] ").strip().replace(",", ".")
            try:
                number = float(said) if said else usual
            except ValueError:
                self.tell("  Please a number, such as 4.5")
                continue
            if not least <= number <= most:
                self.tell(f"  That is out of range: {least:g} to {most:g}")
            elif number == unlike:
                self.tell(f"  The two ends can't both be {number:g}")
            else:
                return number

    def whole(self, question: str, least: int, most: int, usual: int) -> int:
        """A whole number in range."""
        while True:
            number = self.number(question, least, most, usual)
            if number == int(number):
                return int(number)
            self.tell("  Please a whole number")
