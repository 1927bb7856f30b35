"""What hands, eyes and ears notice of a fault: button, lamp and sounder, simulated on and off; a board that resets."""

from __future__ import annotations

from dataclasses import replace

from hardware.circuit import failures
from hardware.circuit.failures import Run
from hardware.circuit.faults import Fault

_TERMINALS = {"T15", "T16", "T17", "T18"}
_LEGS = {"lamp", "button", "buzzer", "run"}
_LIT_A, _DARK_A = 0.5e-3, 0.05e-3  # through the lamp: seen by night, seen by nobody
_LOUD_A, _SILENT_A = 10e-3, 1e-3  # through the sounder
_HIGH_V, _LOW_V = 2.0, 0.8  # what the RP2040 takes for either (its data sheet, from memory)


def concerns(fault: Fault) -> bool:
    """Whether it may touch any of them."""
    if fault.use is not None:
        return fault.use.block in ("button_lamp", "buzzer")
    moved = {name for pair in fault.moved for name in pair}
    return bool({fault.place, *moved} & _TERMINALS or {*fault.legs} & _LEGS)


def words(run: Run) -> tuple[str, ...]:
    """What works no more. run: with lamp and sounder on and the button up; two more with either the other way."""
    pressed, dark = (failures.run(replace(run.bench, **{key: True}), run.fault)[0] for key in ("pressed", "dark"))
    out = []
    if run.pin("button") < _HIGH_V:
        out.append("button always pressed")
    elif dark.pin("button") < _HIGH_V:
        out.append("button pressed whenever the lamp is dark")
    elif pressed.pin("button") > _LOW_V:
        out.append("button not seen")
    out += _shown("lamp", ("dark", "never dark"), _amps(run, "led"), _amps(dark, "led"), (_LIT_A, _DARK_A))
    if run.bench.build.reaches("buzzer"):
        sound = _amps(run, "buzzer"), _amps(dark, "buzzer")
        out += _shown("sounder", ("silent", "never silent"), *sound, (_LOUD_A, _SILENT_A))
    if "run" in run.fault.legs:
        low_v = run.volts("run", at_s=failures.LEAN_S)
        out += [f"board may reset (RUN at {low_v:.1f} V)"] if low_v < _HIGH_V else []
    return tuple(out)


def _shown(name: str, said: tuple[str, str], on_a: float, off_a: float, limits_a: tuple[float, float]) -> list[str]:
    if on_a < limits_a[0]:
        return [f"{name} {said[0]}"]
    return [f"{name} {said[1]}"] if off_a > limits_a[1] else []


def _amps(run: Run, stock: str) -> float:
    use, part = next((u, p) for u in run.bench.uses for p in u.data.parts if p.stock == stock)
    name = f"{use.prefix}.{part.ref}".lower()
    return run.amps(f"@d{name}[id]" if stock == "led" else f"@r{name}.load[i]")
