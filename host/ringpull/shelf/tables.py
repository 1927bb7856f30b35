"""The shelf's tables: their columns with type, unit and meaning. SHELF.md's lists are held against these."""

from __future__ import annotations

from typing import NamedTuple

FORMAT = 1  # of the layout; its folder is called after it
TEXT, WHOLE, LONG, SINGLE, DOUBLE, FLAG, MOMENT = "text", "int32", "int64", "float", "double", "bool", "timestamp"


class Column(NamedTuple):
    """kind: one of the above. unit: "" where it has none. meaning: for whoever reads the files."""

    name: str
    kind: str
    unit: str
    meaning: str


KEYS = (
    Column("car_name", TEXT, "", "the car as it was named; the folder's `car` is `c_` and this name"),
    Column("drive", TEXT, "", "ring id and session: one power-on of one logger"),
    Column("part", TEXT, "", "the judgement that a row belongs to; join on drive and part"),
)
PULL = Column("pull", WHOLE, "", "number of the pull in its drive, from 1")
BANK = Column("bank", TEXT, "", "the lambda channel")

DRIVES = (
    *KEYS,
    Column("rows_part", TEXT, "", "the part of this drive's rows, which tidying leaves alone"),
    Column("serial", LONG, "", "of one drive's rows the one with the greatest counts"),
    Column("ring_id", TEXT, "", "of the logger's ring files, hexadecimal"),
    Column("session", WHOLE, "", "number of the power-on"),
    Column("date", MOMENT, "UTC", "when it was driven; midnight where only the day is known; null where nothing is"),
    Column("date_from", TEXT, "", "clock, told, noted, file's date (a guess) or unknown"),
    Column("day", DOUBLE, "d", "the date in days since 1970-01-01"),
    Column("month", TEXT, "", "the date's year and month, as 2026-04"),
    Column("fuel", TEXT, "", "as it was told, else as configured"),
    Column("sensor_day", DOUBLE, "d", "when the lambda sensor was fitted, days since 1970-01-01, if it was told"),
    Column("change", TEXT, "", "what was changed before this drive, if anything was told"),
    Column("invented", FLAG, "", "recorded on a desk, not in a car"),
    Column("analysis", WHOLE, "", "number of the analysis that judged it"),
    Column("program", TEXT, "", "version of the program that judged it"),
    Column("calibration", TEXT, "", "start of the SHA-256 of the configuration that it was judged by"),
    Column("calibration_from", TEXT, "", "ring, or the file in calibrations/ where a configuration was given later"),
    Column("setup", TEXT, "", "start of the SHA-256 of the ring's own columns and configuration"),
    Column("blocks", LONG, "", "blocks in the copy of the ring"),
    Column("first_row", LONG, "", "number of the first row"),
    Column("end_row", LONG, "", "number after the last row"),
    Column("rows", LONG, "", "rows that can be read; what end_row less first_row has more is missing"),
    Column("seconds", DOUBLE, "s", "from row 0 to the end"),
    Column("engine_s", DOUBLE, "s", "of turning engine"),
    Column("rate_hz", SINGLE, "Hz", "rows a second"),
    Column("pulls", WHOLE, "", "pulls, spoiled ones too"),
    Column("judged_pulls", WHOLE, "", "pulls that the verdict speaks of"),
    Column("lean_events", WHOLE, "", "lean events of the judged pulls"),
    Column("verdict", TEXT, "", "attention, no lean event found, or not enough data"),
    Column("doubted", FLAG, "", "an instrument that the verdict rests on is contradicted"),
    Column("assumed_target", FLAG, "", "no target was configured"),
    Column("load_unit", TEXT, "", "of the load axis: kPa, % or none"),
    Column("cylinders", WHOLE, "", "as configured"),
    Column("displacement_cc", SINGLE, "cc", "as configured"),
    Column("firmware", TEXT, "", "version of the logger's firmware"),
    Column("board", TEXT, "", "the logger's board"),
    Column("ring", TEXT, "", "name of the copy in rings/, in the folder of the same car"),
    Column("source", TEXT, "", "the card as it was given"),
)
PULLS = (
    *KEYS,
    PULL,
    Column("start_s", DOUBLE, "s", "since the session's row 0"),
    Column("end_s", DOUBLE, "s", ""),
    Column("source", TEXT, "", "mark or found"),
    Column("spoiled", FLAG, "", "flagged by its driver: in no other table"),
    Column("rpm_from", SINGLE, "1/min", "of what is judged"),
    Column("rpm_to", SINGLE, "1/min", ""),
    Column("lambda_mean", SINGLE, "lambda", "under load"),
    Column("lambda_min", SINGLE, "lambda", ""),
    Column("lambda_max", SINGLE, "lambda", ""),
    Column("load_max", SINGLE, "load_unit", ""),
    Column("judged_s", SINGLE, "s", "judged time"),
    Column("excess_max", SINGLE, "lambda", "largest mean over 0.25 s of lambda above target"),
    Column("lean_events", WHOLE, "", ""),
)
EVENTS = (
    *KEYS,
    PULL,
    BANK,
    Column("start_s", DOUBLE, "s", ""),
    Column("end_s", DOUBLE, "s", ""),
    Column("rpm_from", SINGLE, "1/min", ""),
    Column("rpm_to", SINGLE, "1/min", ""),
    Column("rpm_deepest", SINGLE, "1/min", ""),
    Column("load_from", SINGLE, "load_unit", ""),
    Column("load_to", SINGLE, "load_unit", ""),
    Column("target", SINGLE, "lambda", "where it is deepest"),
    Column("depth", SINGLE, "lambda", "above target"),
    Column("depth_u", SINGLE, "lambda", "half-width of its 95 % interval, random errors"),
    Column("systematic_u", SINGLE, "lambda", "half-width of the systematic part"),
    Column("exposure", SINGLE, "lambda s", "integral of lambda above target"),
    Column("chance", DOUBLE, "", "of noise alone reaching this depth in the pull"),
    Column("bound", FLAG, "", "at the end of the sensor's range: the depth is a least one"),
)
CELLS = (
    *KEYS,
    PULL,
    BANK,
    Column("rpm", WHOLE, "1/min", "middle of the cell: whole steps of 500"),
    Column("load", WHOLE, "load_unit", "middle of the cell: whole steps of 20; null without a load channel"),
    Column("seconds", SINGLE, "s", "judged time under load"),
    Column("ratio", SINGLE, "", "measured over target, mean of the visit; above 1 is lean"),
    Column("ratio_max", SINGLE, "", "largest mean over 0.25 s"),
)
DELAYS = (
    *KEYS,
    BANK,
    Column("found", FLAG, "", "delay and lag are this drive's own, not configured or assumed ones"),
    Column("lag_found", FLAG, "", "so is the lag"),
    Column("events", WHOLE, "", "that they were found from"),
    Column("lag_s", SINGLE, "s", "first-order lag of sensor and filter"),
    Column("lag_u_s", SINGLE, "s", "its standard uncertainty"),
    Column("delay_s", SINGLE, "s", "transport delay at 3000 1/min and 100 kPa"),
    Column("delay_u_s", SINGLE, "s", "its standard uncertainty"),
    Column("volume_l", SINGLE, "l", "exhaust volume up to the sensor"),
)
INSTRUMENTS = (
    *KEYS,
    Column("channel", TEXT, "", "as configured"),
    Column("role", TEXT, "", "lambda, rpm, map, throttle, battery or wheel"),
    Column("state", TEXT, "", "sound, not tested or contradicted"),
    Column("against", TEXT, "", "names of the checks that contradict it, joined by a semicolon"),
)
ROWS = (
    *KEYS,
    PULL,
    Column("time_s", DOUBLE, "s", "since the session's row 0"),
    Column("rpm", SINGLE, "1/min", ""),
    Column("map_kpa", SINGLE, "kPa", ""),
    Column("throttle_pct", SINGLE, "%", ""),
    Column("load", SINGLE, "load_unit", ""),
    Column("lambda_measured", SINGLE, "lambda", "at the sensor; of two banks the leaner"),
    Column("lambda_aligned", SINGLE, "lambda", "at the time of injection, delay and lag undone"),
    Column("lambda_target", SINGLE, "lambda", ""),
    Column("fuel_pressure_kpa", SINGLE, "kPa", ""),
    Column("battery_v", SINGLE, "V", ""),
    Column("intake_degc", SINGLE, "degC", ""),
    Column("coolant_degc", SINGLE, "degC", ""),
    Column("loaded", FLAG, "", "under load"),
    Column("judged", FLAG, "", "under load, and taken out by no mask"),
)

TABLES: dict[str, tuple[Column, ...]] = {
    "drives": DRIVES,
    "pulls": PULLS,
    "events": EVENTS,
    "cells": CELLS,
    "delays": DELAYS,
    "instruments": INSTRUMENTS,
    "rows": ROWS,
}
BESIDE = tuple(name for name in TABLES if name != "drives")  # written before a drive's row, which counts them
SMALL = tuple(name for name in BESIDE if name != "rows")  # what tidying puts together
