"""Sentences for what config.check() finds, written for somebody who has never seen JSON."""

# code -> (what is wrong, likely cause, what to do); {w} where it is, {d} the detail
WORDS = {
    "not_object": (
        "{w} must be a group in curly brackets {{ }}, not {d}",
        "brackets of the wrong kind, or none",
        'write it as {{"name": value, ...}}',
    ),
    "not_list": (
        "{w} must be a list in square brackets [ ], not {d}",
        "the square brackets were left out",
        "write the values as [first, second, ...], also if there is only one",
    ),
    "not_text": ("{w} must be a text, not {d}", "the double quotes were left out", 'put it in "double quotes"'),
    "not_number": (
        "{w} must be a number, not {d}",
        "brackets or null stand where a number belongs",
        "write the bare number there",
    ),
    "bool_for_number": (
        "{w} must be a number, and {d} is a yes or no",
        "true or false was written where a number belongs",
        "write the number instead",
    ),
    "text_for_number": (
        "{w} must be a number, but {d} is a text",
        "quotes around a number make it a text",
        "take the double quotes away; a decimal part follows a point, not a comma",
    ),
    "not_yes_no": (
        "{w} must be true or false, not {d}",
        "quotes or a number where a plain yes or no belongs",
        "write true or false, in small letters and without quotes",
    ),
    "not_finite": (
        "{w} is not a usable number",
        "the number is too large to be kept, or stands for infinity",
        "write the number as it was meant",
    ),
    "not_whole": (
        "{w} must be a whole number, not {d}",
        "there is a decimal point in it",
        "write it without a decimal point",
    ),
    "out_of_range": (
        "{w} is out of range: {d}",
        "a slip of the decimal point, or another unit than the one asked for",
        "correct the number",
    ),
    "empty_text": ("{w} is empty", "something was meant to go between the quotes", "write it, or take the line away"),
    "long_text": ("{w} is too long: {d}", "a small board must hold it in memory", "shorten it"),
    "bad_choice": (
        "{w} can't be {d}",
        "a typing slip, or quotes where none belong",
        "use one of the allowed values, as written",
    ),
    "list_length": (
        "{w} has the wrong number of values: {d}",
        "one was left out, or one is too many",
        "count them again",
    ),
    "unknown_key": (
        "{w} is not a known name{d}",
        "a typing slip; names are written in small letters",
        "correct it or take it away: what is not understood is never passed over in silence",
    ),
    "missing_key": ("{w} is missing", "the line was left out", "add it"),
    "bad_version": (
        "{w} must be 1, not {d}",
        "version says by which rules this file is written, and so far there is one",
        'write "version": 1',
    ),
    "newer_version": (
        "version {d} is newer than what is known here",
        "the file was made for a newer release",
        'bring firmware and program up to date, or write "version": 1',
    ),
    "no_channels": ("There are no channels", "the list is empty", "describe at least one input in channels"),
    "many_channels": (
        "There are too many channels: {d}",
        "a row must fit into one block of the file",
        "take some away",
    ),
    "bad_name": (
        "{w} can't be used as a name: {d}",
        "capitals, spaces, hyphens, accents, too many letters or a digit in front",
        "use up to 24 small letters, digits and _, beginning with a letter: fuel_pressure",
    ),
    "reserved_name": (
        "{w}: {d} already means something else in the decoded table",
        "it is one of the table's own columns",
        "choose another name",
    ),
    "name_twice": (
        "{w}: {d} is the name of two channels",
        "a block was copied and its name left as it was",
        "give each channel its own name",
    ),
    "column_twice": (
        "{w} and another channel share a column of the decoded table: {d}",
        "the unit is added to the name, which the other name has already",
        "rename one of them",
    ),
    "bad_input": (
        "{w} is not the name of an input: {d}",
        "inputs are a letter and a number: a for analog, p for pulses, d for digital, x or y for an external converter",
        "write it as on the wiring table: a0, p0, d0, x3, or x0-x1 for a difference",
    ),
    "no_converters": (
        "{w} names no converter",
        "the group is empty",
        'name what is fitted, as "x": "mcp3304", or take the line away',
    ),
    "converter_missing": (
        "{w} belongs to a converter that is not told of: {d}",
        "the board has two places for external converters, x and y, and this one is not described",
        'say what is fitted there, as "converters": {{"x": "mcp3208", "y": "ads1115"}}, or use another input',
    ),
    "converter_input": (
        "{w} is not on that converter: {d}",
        "another converter was meant, or the number is one too high: counting begins at 0",
        "write an input that the converter has, or say in converters what is really fitted",
    ),
    "converter_pair": (
        "{w} is a difference that this converter can't measure: {d}",
        "converters measure fixed pairs, and some only single inputs",
        "wire the sensor to one of its pairs, or say in converters what is really fitted",
    ),
    "input_twice": (
        "{w} is used by two channels: {d}",
        "a block was copied and its input left as it was",
        "give each channel the input it is wired to",
    ),
    "input_kind": (
        "{w} can't take this kind of signal: {d}",
        "the kind of the channel and the input it is wired to do not go together",
        "correct the kind or the input: a, x or y for analog, p for pulses, d for digital",
    ),
    "kind_unknown": ("{w} is not a kind of channel: {d}", "a typing slip", "use one of the known kinds"),
    "pid_unknown": (
        "{w}: {d} is no value that the car's computer can be asked for here",
        "a typing slip, or a parameter whose scale is not known here",
        "write its name, such as engine_speed, or its two hexadecimal digits in quotes, such as \"0C\"",
    ),
    "pid_part": (
        "{w}: this parameter has no such part: {d}",
        "a typing slip, or the part of another parameter",
        "take one of the parts named",
    ),
    "frame_id": (
        "{w} is no frame's id: {d}",
        "more than 7FF without \"extended\": true, or more than 1FFFFFFF",
        "write its hexadecimal digits in quotes, such as \"5F0\"",
    ),
    "signal_outside": (
        "{w}: the signal reaches beyond the eight bytes of a frame",
        "the start bit is counted in another way",
        "count as a DBC file does: a little-endian signal's lowest bit, a big-endian one's highest",
    ),
    "factor_zero": ("{w} is 0: the channel would always read the same", "a typing slip", "write the signal's factor"),
    "obd_many": (
        "{w} asks for {d}",
        "the car's computer is asked for a few values at a time",
        "take those away that nothing is judged by",
    ),
    "obd_no_ask": (
        "{w} is to be asked for, and nothing may be asked",
        "the logger sends nothing on a car's bus unless it is told to",
        "write \"bus\": {{\"ask\": true}}, or take the channels of kind obd away",
    ),
    "bus_unused": (
        "{w} stands there, and no channel comes from the bus",
        "the channels of kind obd or can were taken away",
        "take it away too, or add such a channel",
    ),
    "key_of_other_kind": (
        "{w} belongs to channels of kind {d}",
        "the kind is another than was meant, or the line was copied",
        "correct the kind, or take the line away",
    ),
    "points_order": (
        "{w} must go steadily up or steadily down",
        "two points are swapped, or one stands twice",
        "put the points in order; values go with them",
    ),
    "points_close": (
        "{w} has two points less than {d} apart",
        "a slip of the decimal point, or another unit than the one asked for",
        "write points that can be told apart, or leave one out",
    ),
    "points_length": ("{w}: there are {d}", "each point has one number in either list", "add the missing one"),
    "values_flat": (
        "{w} are all the same",
        "the second value was left as it was",
        "write the value that belongs to each point",
    ),
    "linear_points": (
        "{w} has {d} points, and a straight line has two",
        "the curve is not straight",
        'set the kind to "table", or keep the two end points',
    ),
    "stoich_missing": (
        "{w} is missing, and values are air-fuel ratios",
        'scale "afr" needs the constant by which the controller turns lambda into its figure',
        "add it from the controller's papers, often 14.7; it is the controller's and not the fuel's",
    ),
    "stoich_alone": (
        "{w} has no use here",
        "values are read as lambda unless scale says otherwise",
        'add "scale": "afr" if the values are air-fuel ratios, or take stoich away',
    ),
    "lambda_looks_afr": (
        "{w} run from {d}: these look like air-fuel ratios, not lambda",
        "the controller prints air-fuel ratio",
        'add "scale": "afr" and the controller\'s "stoich"',
    ),
    "afr_looks_lambda": (
        "{w} run from {d}: these look like lambda, not air-fuel ratios",
        'scale is "afr" but was not needed',
        "take scale and stoich away",
    ),
    "lambda_range": (
        "{w} give lambda {d}",
        "a slip of the decimal point, or volts and values swapped",
        "copy both from the controller's papers",
    ),
    "thermistor_no_curve": (
        "{w} does not say how its resistance goes with temperature",
        "the sensor's curve was left out",
        'add "beta" and "r25_ohm", or three [degC, ohm] "points" from its table, or "steinhart_hart"',
    ),
    "thermistor_two_curves": (
        "{w} has more than one curve",
        "beta with r25_ohm, points and steinhart_hart exclude each other",
        "keep one",
    ),
    "thermistor_ohm": (
        "{w} has a resistance of zero or less",
        "degC and ohm are swapped",
        "write each point as [degC, ohm]",
    ),
    "thermistor_points": (
        "{w} must have fewer ohms at higher temperature, and no two alike",
        "two numbers are swapped, or it is another kind of sensor",
        "copy the points from the sensor's table again",
    ),
    "cold_two_ways": (
        "{w} has both cold and cold_degc",
        "the cold junction's temperature is either measured or given",
        "keep one, or neither if the amplifier makes up for it itself",
    ),
    "cold_no_temperature": (
        "{w}: channel {d} does not measure a temperature in degC",
        "another channel was meant",
        'write the name of a channel of kind "thermistor" or "rtd", or of one with unit "degC"',
    ),
    "per_both": ("{w} has both per_rev and per_metre", "a channel is either engine speed or road speed", "keep one"),
    "per_missing": (
        "{w} has neither per_rev nor per_metre",
        "without it edges can't be turned into a speed",
        'add "per_rev": pulses per turn of the crankshaft, or "per_metre" for road speed',
    ),
    "max_of_other": (
        "{w} does not belong here: {d}",
        "the line was copied from the other kind of speed",
        "take it away",
    ),
    "pulses_too_fast": (
        "{w} may send pulses {d}",
        "the pulses per turn or the highest speed are too large",
        'check both; many teeth need "board": "rp2", an RP2040, which stamps edges to 20,000 a second, or a divider '
        'before the input',
    ),
    "pulses_for_rate": (
        "{w} may send more pulses between two rows than this board keeps: {d}",
        "rows are far apart, and edge times wait in a ring for the next row",
        "raise rate_hz",
    ),
    "filter_too_long": (
        "{w} is longer than the shortest true period: {d}",
        "a filter as long as that throws true pulses away",
        "make it shorter, best half the shortest period, or leave it out: then it is just that",
    ),
    "ringing_too_long": (
        "{w} rings for too long: {d}",
        "ringing this long can't be told from the next true pulse",
        "take the signal elsewhere (the computer's own speed line) or filter it before the input",
    ),
    "filter_too_short": (
        "{w} is shorter than the ringing: {d}",
        "what rings longer than the filter is counted as pulses",
        "make it at least as long as the ringing, or leave it out",
    ),
    "filter_over_half": (
        "{w} is over half the shortest period: {d}",
        "on a line that rings, the shortest period must exceed twice the filter",
        "make it shorter, or leave it out: then it is half the shortest period",
    ),
    "calibration_same": (
        "{w}: both points are the same",
        "a calibration needs two different voltages",
        "measure again at two voltages far apart",
    ),
    "state_order": ("{w} of a state must be [lower, higher]", "the two voltages are swapped or equal", "swap them"),
    "state_covers": (
        "{w} hold all volts of the channel, so it would never tell a value",
        "the channel's own volts were copied to the state",
        "write the volts that the controller gives in that state alone",
    ),
    "state_overlap": ("{w} reaches into the state {d}", "one voltage can't mean two states", "part their voltages"),
    "fuel_unknown": (
        "{w} is not a known fuel: {d}",
        "a typing slip, or a fuel that needs its composition",
        'use a known name, or add the atoms "c", "h", "o", or a "stoich" constant',
    ),
    "fuel_two_ways": (
        "{w} is described in more than one way",
        "composition, blend and stoich exclude each other",
        "keep one",
    ),
    "fuel_no_air": (
        "{w}: a composition like this does not burn",
        "carbon and hydrogen are missing, or there is too much oxygen",
        'write atoms per molecule or per carbon atom, as "c": 1, "h": 1.85',
    ),
    "fuel_by_alone": ("{w} has no use without a blend", "the blend was left out", 'add "blend", or take "by" away'),
    "fuel_no_density": (
        "{w} has no density",
        "a blend by volume can't be reckoned without it",
        'add "density_kg_m3", or blend "by": "mass"',
    ),
    "fuel_parts_sum": ("{w}: the parts add up to {d}", "one is missing or mistyped", "make them add up to 1 (or 100)"),
    "gears_order": (
        "{w} must fall from gear to gear",
        "gears are engine speed per km/h, first gear first: each lower than the last",
        "put them in order",
    ),
    "channel_unknown": (
        "{w}: no channel is called {d}",
        "a typing slip, or the channel was renamed",
        "write the name exactly as it stands in channels",
    ),
    "target_load_unit": (
        "{w} is a channel with unit {d}",
        "the target's loads and the channel must be in the same unit",
        "give the channel that unit and the values that go with it (pressures as absolute kPa)",
    ),
    "target_no_axis": (
        "{w} has no loads to go with it",
        "a target is one number, or a list with one value for each load",
        'add "load_kpa" (or "load_pct"), or write a single lambda',
    ),
    "target_two_loads": ("{w} has both load_kpa and load_pct", "a target has one load axis", "keep one"),
    "target_order": ("{w} must go up from left to right", "two values are swapped or equal", "put them in order"),
    "target_rows": ("{w} has {d}", "a table has one row in [ ] for each speed in rpm", "add or take away a row"),
    "target_unreachable": (
        '{w} has no "when", so the targets after it can never count',
        'the first target whose "when" holds is used',
        'put the one without "when" last',
    ),
    "lean_no_lambda": (
        "{w} has no lambda to watch",
        "no channel of kind lambda measures the exhaust",
        'add the lambda controller\'s channel, or write "lean_warning": false',
    ),
    "lean_no_speed": (
        "{w} can't tell a running engine from a standing one",
        "there is no channel of kind pulses with per_rev",
        'add the engine speed, or write "lean_warning": false',
    ),
    "lean_no_load": (
        "{w} has no target that goes by the load of a linear or table channel",
        "a warning compares lambda with the target at the load that there is, and only under load",
        'give target a "load" channel with "load_kpa" or "load_pct", or write "lean_warning": false',
    ),
    "when_alone": (
        "{w}: there is no other target to choose",
        '"when" chooses between targets in a list',
        'put the targets in square brackets [ ], or take "when" away',
    ),
    "state_unknown": (
        "{w}: the channel has no state called {d}",
        "a typing slip",
        "write a state of that channel, or a number",
    ),
    "range_order": ("{w} is a range, and must be [lower, higher]", "the two numbers are swapped or equal", "swap them"),
}
