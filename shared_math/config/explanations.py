"""Three sentences for a mistake that config.check() reports. Loaded only when there is a mistake to show."""

from shared_math.config.words import WORDS

# What a key means: added to the third sentence when the key's value is wrong or missing
MEANING = {
    "rate_hz": "rows a second",
    "board": "the name of the board's wiring table, such as generic",
    "channels": "the list of everything that is logged",
    "version": "the version of this file's rules: 1",
    "name": "a short name of your own",
    "input": "the logger's terminal that it is wired to, such as a0",
    "kind": "the kind of signal, such as lambda, linear or pulses",
    "cylinders": "how many cylinders the engine has",
    "strokes": "4 for nearly every car engine, 2 for two-strokes",
    "displacement_cc": "displacement of all cylinders together, in cubic centimetres",
    "volts": "volts at the logger's terminal, one for each of the values",
    "values": "what the sensor measures at those volts, in the channel's unit",
    "hz": "pulses a second, one figure for each of the values",
    "per_rev": "pulses per turn of the crankshaft; on most four-stroke tach lines half the number of cylinders",
    "per_cycle": "how often the injector opens per engine cycle: 1, or 2 if all open at every turn (batch fire)",
    "per_metre": "pulses per metre of road",
    "max_rpm": "the highest engine speed that can occur",
    "max_kmh": "the highest road speed that can occur",
    "min_period_us": "an edge that follows the last by less than this many microseconds is rejected as ringing",
    "ringing_us": "for how many microseconds the line rings after a true edge; about 300 for an ignition coil",
    "pullup_ohm": "the resistor from the sensor to its supply",
    "supply_v": "the volts that feed that resistor",
    "beta": "the sensor's B value in kelvin, often 3000 to 4500",
    "r25_ohm": "the sensor's resistance at 25 degC",
    "r0_ohm": "the sensor's resistance at 0 degC: 100 or 1000",
    "gain": "volts out of the amplifier per volt of the thermocouple, often 100 to 250",
    "zero_v": "the amplifier's output at 0 degC (if it does not compensate the cold junction: with its input shorted)",
    "cold": "the name of the channel that measures the temperature of the amplifier's input terminals",
    "cold_degc": "the temperature of those terminals; leave it out if the amplifier compensates the cold junction",
    "steinhart_hart": "the three coefficients A, B and C, for ohms and kelvin",
    "points": "three points [degC, ohm] of the sensor's table",
    "stoich": "the air-fuel ratio at lambda 1",
    "lambda": "the lambda you want, such as 0.85",
    "load": "the name of the channel that measures load",
    "load_kpa": "the target's points of load, as absolute manifold pressure",
    "load_pct": "the target's points of load, in per cent",
    "rpm": "the engine speeds of the target's rows",
    "part": "the share of this fuel in the blend",
    "density_kg_m3": "density of the liquid fuel in kg per cubic metre; petrol about 745",
    "mass_kg": "car with driver, in kilograms",
    "cda_m2": "drag coefficient times frontal area, in square metres",
    "crr": "coefficient of rolling resistance, about 0.012",
    "gears": "engine rpm per km/h in each gear, first gear first",
    "exhaust_l": "volume of the exhaust from the valves to the lambda sensor, in litres",
    "top_ohm": "the resistor from the terminal to the converter",
    "bottom_ohm": "the resistor from the converter to ground",
    "counts": "the two raw readings",
    "bank": "the bank of cylinders, 1 or 2",
    "accuracy": "plus or minus, in the unit of values",
    "tau_ms": "the sensor's own lag in milliseconds",
    "channel": "the name of the channel that chooses between the targets",
    "expect": "[lower, higher]: the limits of a channel that measures a known value; outside them the logger shows a "
    "fault",
    "checks": "the name of the lambda channel whose signal wire this input measures once more, against the logger's "
    "own ground; where it reads 0.25 V more or 0.35 V less, the logger shows a fault",
    "is": "what that channel must read: a number, a range [lower, higher] or the name of a state",
    "polarity": "which edge or level counts",
    "margin": "how far lambda may be above target without a warning, such as 0.05",
    "after_s": "how many seconds lambda must be above that before the lamp warns, such as 0.3",
    "buzzer": "true if a buzzer is wired and is to sound with the lean warning",
    "screen": "true if a screen is wired",
    "front": "differential if the input measures against the sensor's own ground, else plain",
    "pid": "the value to ask the car's computer for: a name such as engine_speed, or two hexadecimal digits",
    "id": "the id of the frame that carries the signal, as hexadecimal digits in quotes",
    "start_bit": "counted as in a DBC file: the lowest bit of a little-endian signal, the highest of a big-endian one",
    "length": "the signal's length in bits, at most 24",
    "stale_s": "seconds after which a value that was not renewed is invalid",
    "ecu": "the id of the frames in which the engine's computer answers, such as 7E8",
    "reference_v": "volts that the reference block gives the converters; leave it out if that block is not fitted",
}
# Codes of the mistakes whose third sentence says what the key means
_ABOUT_A_VALUE = (
    "out_of_range",
    "missing_key",
    "not_number",
    "bool_for_number",
    "text_for_number",
    "not_finite",
    "not_whole",
    "not_list",
    "not_text",
    "list_length",
)


def explain(problem):
    """(what is wrong, likely cause, what to do). problem: (code, where, detail)."""
    code, where, detail = problem
    what, cause, step = WORDS[code]
    place = where or "The file"
    key = where.split(": ")[-1].split(", ")[-1]
    step = step.format(w=place, d=detail)
    if code in _ABOUT_A_VALUE and key in MEANING:
        step += " (%s: %s)" % (key, MEANING[key])
    return what.format(w=place, d=detail), cause, step
