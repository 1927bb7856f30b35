"""The sentences of the advice that `check` prints."""

from shared_math import boards, lean_watch

# code -> (what, why, what to do) with {w} and {d} as in shared_math/config/words.py
ADVICE = {
    "board_unknown": (
        "There is no board {d} in the list",
        "another name for one of %s, or a board of your own" % ", ".join(boards.TITLES),
        "write one of these; of an unknown board neither inputs nor speed can be checked",
    ),
    "input_not_there": (
        "{w} is wired to {d}, which this board does not have unless its wiring table was changed",
        "it is mistyped, or the configuration is for another board",
        "use an input that hardware/README.md lists; otherwise the logger shows fault 45 and the channel reads 0",
    ),
    "per_rev_unusual": (
        "{w} has {d} pulses per turn, but a tach line or coil of this engine usually gives another number",
        "most four-stroke tach lines give half the number of cylinders, a coil shared by two cylinders 1, a coil of "
        "one cylinder 0.5",
        "compare engine speed at idle with the dashboard; if it is half or double, per_rev is wrong",
    ),
    "target_unusual": (
        "{w} at the highest load is lambda {d}",
        "petrol and ethanol engines are given about 0.72 to 0.95 there; held against a lean target, a lean engine "
        "passes for a good one",
        "write lambda, not an air-fuel ratio, as whoever built the engine wants it",
    ),
    "lambda_range_short": (
        "{w} ends at {d}: too little is left to show how lean the engine is",
        "the volts or values are those of another output or sensor",
        "compare both ends with the controller's manual; the scale must reach 0.1 above the target",
    ),
    "when_at_the_end": (
        "a target's condition on {w} ends at {d}, where the channel's own scale ends",
        "noise takes a reading a little beyond that end, and then another target is used",
        "let the range of the condition reach a tenth beyond the scale",
    ),
    "sensor_too_small": (
        "{w} ends at {d} kPa, below the highest load of the target",
        "the sensor is too small for the boost: beyond its range the target of a lower load is used",
        "fit a sensor with a larger range, or check its values and the target's load_kpa",
    ),
    "maybe_gauge": (
        "{w} begins at {d} kPa, as gauge pressure sensors do",
        "boost is often given as gauge pressure (above the surrounding air), but the analysis takes it as absolute",
        "look at it with the engine off: an absolute sensor reads about 100 kPa; add 100 to a gauge sensor's values",
    ),
    "fuel_pressure_range": (
        "{w} reaches {d}, which no fuel pressure sensor does",
        "the unit is another one: rails have 3 to 10 bar (300 to 1000 kPa), direct injection 50 to 350 bar",
        "write the range of the sensor's data sheet with its unit, kPa, bar or psi",
    ),
    "unit_unknown": (
        "{w} has a unit that the analysis does not know: {d}",
        "units must be spelled exactly, with their capitals; an unknown unit is read as the usual one",
        "write one of the known units, with values in that unit",
    ),
    "tau_in_seconds": (
        "{w} has a lag of {d} ms, but no lambda sensor in an exhaust is so quick",
        "tau_ms is in milliseconds, but seconds were written",
        "multiply it by 1000 (0.08 s is 80 ms), or leave it out: then it is measured from the drive, else 80 ms is "
        "assumed",
    ),
    "falling_slope": (
        "{w} falls as the volts rise: {d}",
        "two values were swapped: with nearly every controller lambda rises with the volts",
        "compare the controller's display with the logged value at two points far apart before you trust it",
    ),
    "falling_pressure": (
        "{w} falls as the volts rise: {d}",
        "two values were swapped: with nearly every sensor pressure rises with the volts",
        "look at the sensor's data sheet, and compare the logged value with a gauge, or with the air outside while the "
        "sensor is open to it",
    ),
    "low_max_rpm": (
        "{w} allows at most {d} rpm: pulses of a faster engine are rejected as ringing",
        "few petrol engines have so low a limit",
        "write a speed that the engine never reaches, such as 9000",
    ),
    "own_divider": (
        "{w} is wired to {d}, which measures a third of the board's own supply, without a pin",
        "the board's divider there differs from that of the 0-5 V inputs",
        'write it: "divider": {{"top_ohm": 200000, "bottom_ohm": 100000}}',
    ),
    "fast_for_interrupts": (
        "{w} may send {d} pulses a second, but this board counts by interrupts, at most 2000 a second",
        "many teeth or pulses per turn, on a board that does not time pulses in hardware",
        'use an RP2040 board ("board": "rp2"), which times pulses in hardware, or divide the signal',
    ),
    "bus_two_buffers": (
        "{w} is read through an MCP2515, which holds two frames",
        "while the board is busy with something else a third frame is lost, and with it the answer; it is counted",
        "take an MCP2518FD, which holds 32, where values are missing",
    ),
    "bus_not_own": (
        "{w}: the board {d} has no bus controller of its own that MicroPython drives",
        "machine.CAN exists on STM32 alone",
        'fit an MCP2518FD and write "chip": "mcp2518fd"',
    ),
    "trims_alone": (
        "{w} is a fuel trim, but whether the car's computer follows it is not logged",
        "trims count in closed loop alone; in open loop, as under full load in most cars, they are what closed loop "
        "left behind, and the fuel map would take them for a correction",
        'add {{"name": "fuel_state", "kind": "obd", "pid": "03", "hz": 4}}',
    ),
    "bus_asks": (
        "{w}: the car's computer will be asked, up to fifty times a second",
        "channels of kind obd need it; nothing is written to it, and the logger first listens for 2 s at each rate",
        "the circuit as drawn can't ask: hardware/README.md says under The car's bus what to close and bridge for it, "
        "after which a chafed cable can stop the engine; unplug any other tester; a stand-alone engine computer "
        "answers nothing: use channels of kind can for it",
    ),
    "soft_timer": (
        "While the card is busy, board {d} takes no rows",
        "its timers and interrupts wait until a write to the card has ended; most writes take a few milliseconds, some "
        "far longer",
        'use an RP2040 board ("board": "rp2") if no row may be lost; lost rows are counted and shown as a gap',
    ),
    "below_converter": (
        "{w} uses volts below {d} V, but this board's own converter can't read them: it shows about {d} V",
        "the ESP32's converter ends near 0.15 V at its pin, so a warm-up state below is not seen and the rich end "
        "reads as a valid value",
        "set the controller's output to begin higher, for instance at 0.5 V, or wire it to an external converter",
    ),
    "battery_divider": (
        "{w} goes to {d} V, so its input is assumed to have the divider of the battery input",
        "a 0-5 V input reads up to 5.5 V; the battery input, with 47 and 10 kilohm, up to 18 V",
        'solder that divider, or write the one that is fitted: "divider": {{"top_ohm": 47000, "bottom_ohm": 10000}}',
    ),
    "duty_without_speed": (
        "{w} measures an injector, but no channel counts the crank",
        "duty is on-time times engine speed",
        'add a channel of kind "pulses" with "per_rev"; on-time is logged either way',
    ),
    "no_lean_warning": (
        "{w} stays off because the configuration lacks {d}",
        "it compares lambda with the target at the present load while the engine runs",
        'add them, or write "lean_warning": false',
    ),
    "lean_after_warm_up": (
        "{w} is off for the first %d s that the engine runs" % (lean_watch.WARM_MS // 1000),
        "no state of {d} shows that its controller is still heating",
        'add the state from the controller\'s manual: "states": [{{"name": "warm-up", "volts": [0.0, 0.1]}}]',
    ),
    "lean_no_room_for_state": (
        "{w} is off for the first %d s that the engine runs" % (lean_watch.WARM_MS // 1000),
        "the range of {d} begins near 0 V, so that no volts below it are left to show that its controller is heating",
        "if the controller's output can be set, let its range begin at 0.5 V, and add the volts that it gives while "
        "heating as a state; otherwise nothing needs to be done",
    ),
    "wire_divider": (
        "{w} has no divider, though it checks {d}",
        "without one other resistors are assumed than those of block W0, 16.8 and 10 kilohm, and a sound core would "
        "then show fault 48",
        'with block W0: "divider": {{"top_ohm": 16800, "bottom_ohm": 10000}}',
    ),
    "wire_unchecked": (
        "Nothing tells whether the ground core of {w} is whole; input {d} is free for that",
        "with a broken core lambda reads 0.63 of the volts that it should, which looks like a rich engine",
        'measure its signal wire once more, as hardware/README.md shows, by a channel of kind "linear" and unit "V" '
        'with "checks"',
    ),
}
