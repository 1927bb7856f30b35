"""A mistake that config.check() found, in three sentences. Loaded only when there is one to show."""

from shared_math.config.words import WORDS

# What a key means, added to what to do when its value is wrong or missing
MEANING = {
    "rate_hz": "rows a second",
    "board": "the name of the board's wiring table, such as generic",
    "channels": "the list of everything that is logged",
    "version": "the rules this file is written by: 1",
    "name": "a short name of your own",
    "input": "the logger's terminal it is wired to, such as a0",
    "kind": "what sort of signal it is, such as lambda, linear or pulses",
    "cylinders": "how many cylinders the engine has",
    "strokes": "4 for nearly every car engine, 2 for two-strokes",
    "displacement_cc": "all cylinders together, in cubic centimetres",
    "volts": "volts at the logger's terminal, in the order of the values",
    "values": "what the sensor means at those volts, in the channel's unit",
    "hz": "pulses a second, in the order of the values",
    "per_rev": "pulses per turn of the crankshaft; half the cylinders on most four-stroke tach lines",
    "per_cycle": "how often the injector opens in an engine cycle: 1, or 2 where all open at every turn (batch fire)",
    "per_metre": "pulses per metre of road",
    "max_rpm": "the highest engine speed there can be",
    "max_kmh": "the highest road speed there can be",
    "min_period_us": "an edge sooner than this many microseconds after the last is taken for ringing",
    "ringing_us": "for how many microseconds the line rings after a true edge; an ignition coil's about 300",
    "pullup_ohm": "the resistor from the sensor to its supply",
    "supply_v": "the volts that feed that resistor",
    "beta": "the sensor's B value in kelvin, often 3000 to 4500",
    "r25_ohm": "the sensor's resistance at 25 degC",
    "r0_ohm": "the sensor's resistance at 0 degC: 100 or 1000",
    "gain": "volts out of the amplifier per volt of the thermocouple, often 100 to 250",
    "zero_v": "the amplifier's volts at 0 degC (or, if it adds no cold junction, with its input shorted)",
    "cold": "the name of the channel that measures the temperature of the amplifier's input terminals",
    "cold_degc": "the temperature of those terminals; leave it out if the amplifier makes up for it itself",
    "steinhart_hart": "the three coefficients A, B, C for ohms and kelvin",
    "points": "three points [degC, ohm] of the sensor's table",
    "stoich": "air-fuel ratio that stands for lambda 1",
    "lambda": "the lambda that is wanted, such as 0.85",
    "load": "the name of the channel that measures load",
    "load_kpa": "absolute manifold pressures of the target",
    "load_pct": "loads of the target in per cent",
    "rpm": "engine speeds of the target's rows",
    "part": "the share of this fuel in the blend",
    "density_kg_m3": "of the liquid, in kg per cubic metre; petrol about 745",
    "mass_kg": "car with driver, in kilograms",
    "cda_m2": "drag coefficient times frontal area, in square metres",
    "crr": "rolling resistance, about 0.012",
    "gears": "engine revolutions a minute per km/h, first gear first",
    "exhaust_l": "litres of exhaust between valves and lambda sensor",
    "top_ohm": "the resistor from the terminal to the converter",
    "bottom_ohm": "the resistor from the converter to ground",
    "counts": "the two raw readings",
    "bank": "1 or 2, the side of the engine",
    "accuracy": "plus or minus, in the unit of values",
    "tau_ms": "the sensor's own lag in milliseconds",
    "channel": "the name of the channel that decides",
    "expect": "of a channel that measures something known: [lower, higher], and outside it the logger shows a fault",
    "is": "a number, a range [lower, higher] or the name of a state",
    "polarity": "which edge or level counts",
    "margin": "how far lambda may stand above target before it is a warning, such as 0.05",
    "after_s": "for how many seconds it must stand there, such as 0.3",
    "buzzer": "true if a buzzer is wired and shall sound with the lean warning",
    "screen": "true if a screen is wired",
    "front": "differential for an input that measures against the sensor's own ground, else plain",
    "pid": "what the car's computer is asked for: a name such as engine_speed, or two hexadecimal digits",
    "id": "the frame that carries the signal, as hexadecimal digits in quotes",
    "start_bit": "as a DBC file counts: a little-endian signal's lowest bit, a big-endian one's highest",
    "length": "bits of the signal, 24 at most",
    "stale_s": "seconds after which a value that did not come again is none",
    "ecu": "the id of the frames that the engine's computer answers with, such as 7E8",
    "reference_v": "volts of the reference block at the converters' reference pins; leave it out without that block",
}
# Codes where it helps to say what the key means
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
    """(what is wrong, likely cause, what to do) of a (code, where, detail)."""
    code, where, detail = problem
    what, cause, step = WORDS[code]
    place = where or "The file"
    key = where.split(": ")[-1].split(", ")[-1]
    step = step.format(w=place, d=detail)
    if code in _ABOUT_A_VALUE and key in MEANING:
        step += " (%s: %s)" % (key, MEANING[key])
    return what.format(w=place, d=detail), cause, step
