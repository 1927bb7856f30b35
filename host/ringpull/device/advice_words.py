"""Sentences of what `check` says beside mistakes."""

from shared_math import boards, lean_watch

# code -> as in shared_math/config/words.py
ADVICE = {
    "board_unknown": (
        "Board {d} is not known here",
        "another name for one of %s, or a board of your own" % ", ".join(boards.TITLES),
        "write one of these; for a board that is not known nothing can be said of its inputs and its speed",
    ),
    "input_not_there": (
        "{w} is wired to {d}, which this board does not have unless its wiring table was changed",
        "a slip, or a configuration for another board",
        "use an input of hardware/README.md; otherwise the logger shows fault 45 and the channel reads 0",
    ),
    "per_rev_unusual": (
        "{w} has {d} pulses per turn, and a tach line or coil of this engine usually gives another number",
        "half the cylinders on most four-stroke tach lines, 1 where two cylinders share a spark, 0.5 for a coil of its "
        "own",
        "compare engine speed at idle with the dashboard; half or twice of it means that per_rev is wrong",
    ),
    "sensor_too_small": (
        "{w} ends at {d} kPa, below the highest load of the target",
        "the sensor is too small for the boost: above its end the target stays that of a lower load",
        "fit a sensor of a larger range, or check its values and the target's load_kpa",
    ),
    "maybe_gauge": (
        "{w} begins at {d} kPa, as sensors of pressure over the air around (gauge) do",
        "boost is often shown as pressure over the air around, and the analysis takes it as absolute",
        "look at it with the engine off: an absolute sensor shows about 100 kPa; to a gauge sensor's values add 100",
    ),
    "unit_unknown": (
        "{w} has a unit that the analysis does not know: {d}",
        "units are read as written, capitals and small letters too; an unknown one is taken for the usual unit",
        "write one of the known units and the values that go with it",
    ),
    "tau_in_seconds": (
        "{w} has a lag of {d} ms, and no lambda sensor in an exhaust is so quick",
        "tau_ms is in milliseconds, and seconds were written",
        "multiply it by 1000 (0.08 s are 80 ms), or leave it out: then 80 ms are assumed unless the drive tells it",
    ),
    "falling_slope": (
        "{w} falls as the volts rise: {d}",
        "two values were swapped; nearly every controller's lambda rises with its volts",
        "compare the controller's display with what is logged, at two values far apart, before you believe any of it",
    ),
    "low_max_rpm": (
        "{w} ends at {d} rpm: edges of a faster engine are thrown away as ringing",
        "few petrol engines end so low",
        "write a speed that the engine never reaches, such as 9000",
    ),
    "own_divider": (
        "{w} is wired to {d}, which measures a third of the board's own supply, without a pin",
        "the divider on the board is another than that of the 0-5 V inputs",
        'write it: "divider": {{"top_ohm": 200000, "bottom_ohm": 100000}}',
    ),
    "fast_for_interrupts": (
        "{w} may send {d} pulses a second, and this board counts them by interrupts, good for 2000",
        "many teeth or pulses per turn on a board without a counter of its own",
        'use an RP2040 board ("board": "rp2"), which stamps edges without its processor, or divide the signal',
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
    "bus_asks": (
        "{w}: the car's computer will be asked, up to fifty times a second",
        "channels of kind obd need it; nothing is written to it, and the logger first listens for 2 s at each rate",
        "unplug any other tester; a stand-alone engine computer answers nothing: use channels of kind can for it",
    ),
    "soft_timer": (
        "While the card is busy, board {d} takes no rows",
        "its timers and interrupts wait until a write to the card has ended; most take a few milliseconds, some far "
        "longer",
        'use an RP2040 board ("board": "rp2") where none may be missing; what is lost is counted and shown as a gap',
    ),
    "below_converter": (
        "{w} uses volts below {d} V, and this board's own converter reads all of them as about that",
        "the ESP32's converter ends near 0.15 V at its pin: a warm-up state down there is not seen, a rich end looks "
        "like a number",
        "set the controller's output to begin higher, such as at 0.5 V, or wire it to an external converter's input",
    ),
    "battery_divider": (
        "{w} goes to {d} V, so its input is taken to stand behind the divider of the battery input",
        "a 0-5 V input reads to 5.5 V; the battery's, of 47 and 10 kiloohm, to 18 V",
        'solder that divider there, or write what is soldered: "divider": {{"top_ohm": 47000, "bottom_ohm": 10000}}',
    ),
    "duty_without_speed": (
        "{w} measures an injector, but no channel counts the crank",
        "duty is on-time times engine speed",
        'add a channel of kind "pulses" with "per_rev"; on-time is logged either way',
    ),
    "no_lean_warning": (
        "{w} stays off for want of {d}",
        "it compares lambda with the target at the load that there is, while the engine runs",
        'add what is missing, or write "lean_warning": false',
    ),
    "lean_after_warm_up": (
        "{w} is silent for the first %d s that the engine runs" % (lean_watch.WARM_MS // 1000),
        "no state of {d} tells that its controller is still heating",
        'add it from the controller\'s papers: "states": [{{"name": "warm-up", "volts": [0.0, 0.1]}}]',
    ),
}
