"""The sentences for mistakes from config.check(), written for somebody who has never seen JSON."""

# code -> (what is wrong, likely cause, what to do); {w} is the place, {d} the detail
WORDS = {
    "not_object": (
        "{w} must be a group in curly brackets {{ }}, not {d}",
        "the brackets are of the wrong kind or missing",
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
        "{w} must be a number, but {d} is a yes or no",
        "true or false was written where a number belongs",
        "write the number instead",
    ),
    "text_for_number": (
        "{w} must be a number, but {d} is a text",
        "quotes around a number make it a text",
        "remove the double quotes, and write a decimal point, not a comma",
    ),
    "not_yes_no": (
        "{w} must be true or false, not {d}",
        "quotes or a number stand where a plain yes or no belongs",
        "write true or false in lower case, without quotes",
    ),
    "not_finite": (
        "{w} is not a usable number",
        "the number is too large, or means infinity",
        "write the number as it was meant",
    ),
    "not_whole": (
        "{w} must be a whole number, not {d}",
        "it has a decimal point",
        "write it without a decimal point",
    ),
    "out_of_range": (
        "{w} is out of range: {d}",
        "the decimal point is misplaced, or the number is in another unit",
        "correct the number",
    ),
    "empty_text": ("{w} is empty", "the text between the quotes is missing", "write it, or remove the line"),
    "long_text": ("{w} is too long: {d}", "a small board must hold it in memory", "shorten it"),
    "bad_choice": (
        "{w} can't be {d}",
        "it is mistyped, or has quotes where none belong",
        "use one of the allowed values, exactly as written",
    ),
    "list_length": (
        "{w} has the wrong number of values: {d}",
        "one is missing, or there is one too many",
        "count them again",
    ),
    "unknown_key": (
        "{w} is not a known name{d}",
        "it is mistyped; names are in lower case",
        "correct or remove it: an unknown key is never ignored silently",
    ),
    "missing_key": ("{w} is missing", "the line was left out", "add it"),
    "bad_version": (
        "{w} must be 1, not {d}",
        "version is the version of this file's rules, and so far there is only one",
        'write "version": 1',
    ),
    "newer_version": (
        "version {d} is newer than this program or firmware knows",
        "the file was made for a newer release",
        'update firmware and program, or write "version": 1',
    ),
    "no_channels": ("There are no channels", "the list is empty", "describe at least one input in channels"),
    "many_channels": (
        "There are too many channels: {d}",
        "a row must fit into one block of the file",
        "remove some",
    ),
    "bad_name": (
        "{w} can't be used as a name: {d}",
        "it has capitals, spaces, hyphens or accents, is too long, or begins with a digit",
        "use up to 24 lower-case letters, digits and _, beginning with a letter, such as fuel_pressure",
    ),
    "reserved_name": (
        "{w}: {d} is a reserved name in the decoded table",
        "it is one of the table's own columns",
        "choose another name",
    ),
    "name_twice": (
        "{w}: two channels are named {d}",
        "a channel was copied and its name not changed",
        "give each channel its own name",
    ),
    "column_twice": (
        "{w} and another channel share a column of the decoded table: {d}",
        "the unit is added to the name, and the other name already ends so",
        "rename one of them",
    ),
    "bad_input": (
        "{w} is not the name of an input: {d}",
        "inputs are a letter and a number: a for analog, p for pulses, d for digital, x or y for an external converter",
        "write it as in the wiring table: a0, p0, d0, x3, or x0-x1 for a difference",
    ),
    "no_converters": (
        "{w} names no converter",
        "the group is empty",
        'name the fitted converter, as "x": "mcp3304", or remove the line',
    ),
    "converter_missing": (
        "{w} belongs to a converter that is not configured: {d}",
        "external converters are called x and y, and this one is missing in converters",
        'name the fitted converters, as "converters": {{"x": "mcp3208", "y": "ads1115"}}, or use another input',
    ),
    "converter_input": (
        "{w} is not on that converter: {d}",
        "another converter was meant, or the number is one too high, since counting begins at 0",
        "use an input that the converter has, or correct converters to what is fitted",
    ),
    "converter_pair": (
        "{w} is a difference that this converter can't measure: {d}",
        "converters measure fixed pairs, some only single inputs",
        "wire the sensor to one of its pairs, or correct converters to what is fitted",
    ),
    "input_twice": (
        "{w} is used by two channels: {d}",
        "a channel was copied and its input not changed",
        "give each channel the input it is wired to",
    ),
    "input_kind": (
        "{w} can't take this kind of signal: {d}",
        "the kind of the channel and the kind of its input do not match",
        "correct the kind or the input: a, x or y for analog, p for pulses, d for digital",
    ),
    "kind_unknown": ("{w} is not a kind of channel: {d}", "it is mistyped", "use one of the known kinds"),
    "pid_unknown": (
        "{w}: {d} is not a known value to ask the car's computer for",
        "it is mistyped, or a parameter whose scale is not known here",
        'write its name, such as engine_speed, or its two hexadecimal digits in quotes, such as "0C"; '
        "`ringpull setup --values` lists all names",
    ),
    "pid_part": (
        "{w}: this parameter has no such part: {d}",
        "it is mistyped, or belongs to another parameter",
        "use one of the named parts",
    ),
    "frame_id": (
        "{w} is not the id of a frame: {d}",
        'it is above 7FF without "extended": true, or above 1FFFFFFF',
        'write its hexadecimal digits in quotes, such as "5F0"',
    ),
    "signal_outside": (
        "{w}: the signal reaches beyond the eight bytes of a frame",
        "the start bit is counted differently",
        "count as a DBC file does: the lowest bit of a little-endian signal, the highest of a big-endian one",
    ),
    "factor_zero": ("{w} is 0: the channel would always read the same", "it is mistyped", "write the signal's factor"),
    "obd_many": (
        "{w} asks for {d}",
        "the car's computer is asked for a few values at a time",
        "remove those that are not needed for judging",
    ),
    "obd_no_ask": (
        "{w} needs a request to the car, but requests are not allowed",
        "the logger sends nothing on the car's bus unless the configuration says so",
        'write "bus": {{"ask": true}}, or remove the channels of kind obd',
    ),
    "bus_unused": (
        "{w} is configured, but no channel comes from the bus",
        "the channels of kind obd or can were removed",
        "remove it too, or add such a channel",
    ),
    "key_of_other_kind": (
        "{w} belongs to channels of kind {d}",
        "the kind is wrong, or the line was copied from another channel",
        "correct the kind, or remove the line",
    ),
    "points_order": (
        "{w} must rise or fall steadily",
        "two points are swapped, or one occurs twice",
        "put the points in order, together with their values",
    ),
    "points_close": (
        "{w} has two points less than {d} apart",
        "the decimal point is misplaced, or the number is in another unit",
        "write points that are further apart, or leave one out",
    ),
    "points_length": ("{w}: there are {d}", "each point needs a number in both lists", "add the missing one"),
    "values_flat": (
        "{w} are all the same",
        "the second value was not changed",
        "write the value that belongs to each point",
    ),
    "linear_points": (
        "{w} has {d} points, but a straight line has two",
        "the curve is not straight",
        'set the kind to "table", or keep the two end points',
    ),
    "stoich_missing": (
        "{w} is missing, although values are air-fuel ratios",
        'scale "afr" needs the constant by which the controller converts lambda to air-fuel ratio',
        "add it from the controller's manual, often 14.7; it is the controller's constant, not the fuel's",
    ),
    "stoich_alone": (
        "{w} has no use here",
        "values are read as lambda unless scale says otherwise",
        'add "scale": "afr" if the values are air-fuel ratios, or remove stoich',
    ),
    "lambda_looks_afr": (
        "{w} run from {d}: these look like air-fuel ratios, not lambda",
        "the controller's manual gives air-fuel ratios",
        'add "scale": "afr" and the controller\'s "stoich"',
    ),
    "afr_looks_lambda": (
        "{w} run from {d}: these look like lambda, not air-fuel ratios",
        'scale is "afr", but the values are lambda',
        "remove scale and stoich",
    ),
    "lambda_range": (
        "{w} give lambda {d}",
        "the decimal point is misplaced, or volts and values are swapped",
        "copy both from the controller's manual",
    ),
    "thermistor_no_curve": (
        "{w} does not say how its resistance depends on temperature",
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
        "{w} must have fewer ohms at higher temperatures, and no two equal",
        "two numbers are swapped, or it is another kind of sensor",
        "copy the points from the sensor's table again",
    ),
    "cold_two_ways": (
        "{w} has both cold and cold_degc",
        "the cold junction's temperature is either measured or given",
        "keep one, or neither if the amplifier compensates the cold junction",
    ),
    "cold_no_temperature": (
        "{w}: channel {d} does not measure a temperature in degC",
        "another channel was meant",
        'write the name of a channel of kind "thermistor" or "rtd", or of one with unit "degC"',
    ),
    "checks_no_lambda": (
        "{w}: {d} is no channel of kind lambda",
        "the name of another channel stands there",
        "name the lambda channel whose signal wire is measured once more",
    ),
    "checks_not_volts": (
        "{w}: the channel's unit is {d}",
        "what is compared is the volts of one wire against two grounds",
        'give the channel the "unit": "V", with its values in volts',
    ),
    "checks_short": (
        "{w}: its volts do not reach half a volt beyond those of the channel that it checks ({d})",
        "a wire whose volts are beyond its range is not compared, and a broken ground core not told",
        'let them: "volts": [0, 8], "values": [0, 8] for the parts of block W0',
    ),
    "checks_folded": (
        "{w}: the values of {d} do not rise, or fall, throughout",
        "where two voltages mean one lambda, its volts can't be told from it and compared",
        "leave the piece out in which they stand still or turn",
    ),
    "checks_slow": (
        "{w}: one of the two channels is on a slow converter",
        "its value is held while the signal moves, so that both differ though the wiring is sound",
        "use an input of the board, or of an mcp3208 or mcp3304",
    ),
    "checks_twice": (
        "{w}: another channel checks {d} already",
        "a channel was copied and its name not changed",
        "name the lambda channel that this one belongs to, or remove one of the two",
    ),
    "per_both": ("{w} has both per_rev and per_metre", "a channel is either engine speed or road speed", "keep one"),
    "per_missing": (
        "{w} has neither per_rev nor per_metre",
        "without it pulses can't be converted to a speed",
        'add "per_rev": pulses per turn of the crankshaft, or "per_metre" for road speed',
    ),
    "max_of_other": (
        "{w} does not belong here: {d}",
        "the line was copied from the other kind of speed",
        "remove it",
    ),
    "pulses_too_fast": (
        "{w} may send pulses {d}",
        "the pulses per turn or the highest speed are too large",
        'check both; many teeth need "board": "rp2" (an RP2040), which times 20,000 edges a second, or a divider '
        "before the input",
    ),
    "pulses_for_rate": (
        "{w} may send more pulses between two rows than this board keeps: {d}",
        "rows are far apart, and edge times are stored until the next row",
        "raise rate_hz",
    ),
    "filter_too_long": (
        "{w} is longer than the shortest true period: {d}",
        "so long a filter rejects true pulses",
        "make it shorter, best half the shortest period, or leave it out: then it is half the shortest period",
    ),
    "ringing_too_long": (
        "{w} rings for too long: {d}",
        "so long a ringing can't be told from the next true pulse",
        "take the signal from elsewhere (the engine computer's speed line) or filter it before the input",
    ),
    "filter_too_short": (
        "{w} is shorter than the ringing: {d}",
        "ringing that lasts longer than the filter is counted as pulses",
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
        "{w} cover all volts of the channel, so it would never give a value",
        "the channel's own volts were copied to the state",
        "write only the volts that the controller outputs in that state",
    ),
    "state_overlap": ("{w} overlaps the state {d}", "one voltage can't mean two states", "separate their voltages"),
    "fuel_unknown": (
        "{w} is not a known fuel: {d}",
        "it is mistyped, or the fuel needs its composition",
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
    "fuel_by_alone": ("{w} has no use without a blend", "the blend was left out", 'add "blend", or remove "by"'),
    "fuel_no_density": (
        "{w} has no density",
        "a blend by volume can't be calculated without it",
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
        "it is mistyped, or the channel was renamed",
        "write the name exactly as in channels",
    ),
    "target_load_unit": (
        "{w} is a channel with unit {d}",
        "the target's loads and the channel must be in the same unit",
        "give the channel that unit, with its values in that unit (pressures as absolute kPa)",
    ),
    "target_no_axis": (
        "{w} has no loads to go with it",
        "a target is one number, or a list with one value for each load",
        'add "load_kpa" (or "load_pct"), or write a single lambda',
    ),
    "target_two_loads": ("{w} has both load_kpa and load_pct", "a target has one load axis", "keep one"),
    "target_order": ("{w} must rise from left to right", "two values are swapped or equal", "put them in order"),
    "target_rows": ("{w} has {d}", "a table has one row in [ ] for each speed in rpm", "add or remove a row"),
    "target_unreachable": (
        '{w} has no "when", so the targets after it can never count',
        'the first target whose "when" is true is used',
        'put the one without "when" last',
    ),
    "lean_no_lambda": (
        "{w} has no lambda to watch",
        "no channel of kind lambda measures the exhaust",
        'add the lambda controller\'s channel, or write "lean_warning": false',
    ),
    "lean_no_speed": (
        "{w} can't tell whether the engine is running",
        "there is no channel of kind pulses with per_rev",
        'add the engine speed, or write "lean_warning": false',
    ),
    "lean_no_load": (
        "{w} needs a target that depends on the load of a linear or table channel",
        "it compares lambda with the target at the present load, and only under load",
        'give target a "load" channel with "load_kpa" or "load_pct", or write "lean_warning": false',
    ),
    "when_alone": (
        "{w}: there is no other target to choose",
        '"when" chooses between targets in a list',
        'put the targets in square brackets [ ], or remove "when"',
    ),
    "state_unknown": (
        "{w}: the channel has no state called {d}",
        "it is mistyped",
        "write a state of that channel, or a number",
    ),
    "range_order": ("{w} is a range, and must be [lower, higher]", "the two numbers are swapped or equal", "swap them"),
}
