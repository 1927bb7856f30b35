"""Starts the logger on whatever board this is. Only wiring here; the order keeps the heap in one piece."""

import gc
import sys

gc.threshold(4096)  # garbage of loading modules would break the heap into pieces

if sys.platform != "linux":
    import micropython

    micropython.opt_level(3)  # no line numbers of what is compiled here: kilobytes of the heap

    from boards import light

    light.the_one()  # before the rest is loaded, which takes seconds from sources

import boards  # noqa: E402

board = boards.pick()
try:
    from start import plan_build

    plan = plan_build.make(board)
    del plan_build

    from panel.panel import Panel

    panel = Panel(board, plan)

    import memory

    memory.hold(len(plan.table), plan.config["rate_hz"])

    from logger import Logger

    gc.collect()
    gc.threshold(16384)  # most of what comes now is given back, and each look through the heap takes 15 ms
    logger = Logger(board, plan, panel)
    logger.start()
except Exception as error:  # whatever it is: logger.json must not stop the recording
    sys.print_exception(error)
    if board.raw is not None:
        raise
    # What was made so far may be in the way of a note on the board's flash
    plan = panel = logger = memory = None
    sys.modules.clear()
    gc.collect()
    from start.settings import told

    board.begin_raw(told(error))
try:
    logger.run()
except KeyboardInterrupt:  # over USB: the prompt is to stay
    board.unwatch()
    board.light.pattern = (250, b"\0")
    raise
