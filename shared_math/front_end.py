"""What the logger's 0-5 V inputs are built of: tolerances and drift, for the circuit's draw and a reading's budget.

Half-widths; from memory of the makers' data sheets.
"""

from shared_math.channels import DIFFERENTIAL, PLAIN

RESISTOR_TOLERANCE = {PLAIN: 0.01, DIFFERENTIAL: 0.001}
RESISTOR_PPM = {PLAIN: 50.0, DIFFERENTIAL: 25.0}  # per kelvin

REFERENCE_V = 3.3  # the board's supply, which is its converter's reference
REFERENCE_TOLERANCE = 0.02
FITTED_REFERENCE_TOLERANCE = 0.005  # of a reference block, which "reference_v" in logger.json tells
REFERENCE_PPM = 100.0  # per kelvin, of either

OFFSET_V = 0.0005  # of the differential input's amplifier, at its own input
GROUND_V = 0.010  # between the sensor's ground and the logger's, wired as the hardware's README says

TEMPERATURES_DEGC = (-40.0, 85.0)  # in which a logger may be, any of them as likely
CALIBRATED_AT_DEGC = 25.0
MULTIMETER = 0.005  # of the volts that a two-point calibration goes by
