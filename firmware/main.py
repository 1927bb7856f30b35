"""Starts the logger on whatever board this is. Only wiring here; the order keeps the heap in one piece."""

import gc

gc.threshold(4096)  # garbage of loading modules would break the heap into pieces

import boards  # noqa: E402
import plan_build  # noqa: E402

board = boards.pick()
plan = plan_build.make(board)
del plan_build

from panel.panel import Panel  # noqa: E402

panel = Panel(board, plan)

import memory  # noqa: E402

memory.hold(len(plan.table), plan.config["rate_hz"])

from logger import Logger  # noqa: E402

gc.collect()
Logger(board, plan, panel).run()
