"""Tolerances and drift of the logger's 0-5 V inputs, for the simulation of the circuit and the uncertainty budget.

They are half-widths, from memory of the makers' data sheets.
"""

from shared_math.channels import DIFFERENTIAL, PLAIN

RESISTOR_TOLERANCE = {PLAIN: 0.01, DIFFERENTIAL: 0.001}
RESISTOR_PPM = {PLAIN: 50.0, DIFFERENTIAL: 25.0}  # per kelvin

REFERENCE_V = 3.3  # the board's supply, which is its converter's reference
REFERENCE_TOLERANCE = 0.02
FITTED_REFERENCE_TOLERANCE = 0.005  # of a reference block, if "reference_v" is in logger.json
REFERENCE_PPM = 100.0  # per kelvin, of both references

OFFSET_V = 0.0005  # of the differential input's amplifier, at its input
GROUND_V = 0.010  # between the sensor's and the logger's ground, wired as in hardware/README.md

TEMPERATURES_DEGC = (-40.0, 85.0)  # possible temperatures of a logger, all equally likely
CALIBRATED_AT_DEGC = 25.0
MULTIMETER = 0.005  # of the multimeter's volts in a two-point calibration
