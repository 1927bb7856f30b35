"""The command `ringpull`: arguments and printing. Each command's module is loaded only when it is used."""

from __future__ import annotations

import argparse
import importlib
import io
import os
import signal
import sys
import threading
from pathlib import Path
from typing import NoReturn

from ringpull.cli.ctrl_c import waits_its_turn

COMMANDS = {
    "demo": "run the whole job once on an invented drive: firmware, ring files, answer, report",
    "dryrun": "run the firmware on recorded signals, as it would run in the car",
    "setup": "make a configuration by questions, or from a preset, and explain it",
    "check": "explain what is wrong with a configuration and what each of its channels is used for",
    "prepare": "make the ring files on a card and write the configuration to it",
    "install": "bring the firmware, or a newer one, onto a board over USB",
    "live": "the logger's values now, over USB, while it records",
    "fetch": "marked pulls, or the whole card, over USB while the logger records",
    "calibrate": "calibrate the logger's inputs over USB: two voltages, ground, frequency, free air",
    "selftest": "test the logger's card, inputs, tach, button, lamp, screen, supply, memory and clock over USB",
    "codes": "trouble codes, readiness and freeze frame, from a card or over USB; clearing, with its cautions",
    "info": "show what is on a card: sessions, channels, marks, damage, timing health",
    "decode": "write the table in engineering units as CSV, Parquet or MDF4",
    "pulls": "list the pulls, one line each: those marked with the button and those found in the signals",
    "note": "keep a remark about a pull, or the date of a drive, beside the ring file",
    "report": "write the whole answer as one HTML file that works offline",
    "view": "show drives of any length on a local page in the browser",
    "fuelmap": "measured lambda over target by engine speed and load, with a factor for the fuel table",
    "power": "estimate power and torque at the wheels, with intervals",
    "compare": "compare two drives or two sets of pulls: did the change work",
    "keep": "judge drives and keep them on a shelf, to be asked across months",
    "kept": "what a shelf holds, and what an older analysis judged; moves or removes a drive",
    "rejudge": "judge the drives of a shelf again, by a newer analysis or a mended configuration",
    "tidy": "put the small tables of a shelf into one file a car",
    "ask": "lean margin, drift, delay, changes and outliers over all drives of a shelf",
}


class Parser(argparse.ArgumentParser):
    """Reports wrong arguments like any other error: three lines, exit code 2."""

    def error(self, message: str) -> NoReturn:
        print(
            f"error: {self.prog}: {message}\n"
            "  likely cause: an argument is missing or misspelt, or its value is not allowed\n"
            f"  what to do: '{self.prog} --help' lists all arguments and gives an example",
            file=sys.stderr,
        )
        raise SystemExit(2)


def parser_of(name: str) -> tuple[argparse.ArgumentParser, object]:
    """(parser, module) of one command."""
    module = importlib.import_module(f"ringpull.cli.commands.{name}")
    parser = Parser(
        prog=f"ringpull {name}",
        description=module.HELP[0].upper() + module.HELP[1:] + ".",
        epilog=f"example:\n  {module.EXAMPLE}",
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    module.add_arguments(parser)
    return parser, module


def main_parser() -> argparse.ArgumentParser:
    """The top-level parser: names and one line for each command."""
    width = max(map(len, COMMANDS))
    table = "\n".join(f"  {name:<{width}}  {line}" for name, line in COMMANDS.items())
    parser = Parser(
        prog="ringpull",
        description="Lambda under load, with evidence: decode, analyse and report what the logger recorded.",
        epilog=f"commands:\n{table}\n\n'ringpull COMMAND --help' explains a command.\n"
        "example:\n  ringpull demo -o build/demo",
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("--version", action="store_true", help="print the version")
    parser.add_argument("command", nargs="?", metavar="COMMAND", help="one of the commands below")
    return parser


def main(argv: list[str] | None = None) -> int:
    """Run one command; returns its exit code."""
    try:
        _let_every_letter_out()
        _end_tidily()
        with waits_its_turn():
            code = _main(sys.argv[1:] if argv is None else argv)
        if sys.stdout:
            sys.stdout.flush()
        return code
    except KeyboardInterrupt:
        print(
            "error: the command was stopped before it had finished\n  likely cause: Ctrl-C was pressed\n"
            "  what to do: run it again; the files that it read are unchanged",
            file=sys.stderr,
        )
        return 2
    except BrokenPipeError:  # the reader has closed the pipe, as `head` does
        _drop_output()
        return 0
    except OSError as error:
        name = Path(error.filename).name if isinstance(error.filename, str) else "the output"
        print(
            f"error: {name or 'a file'} can't be used: {error.strerror or error}\n"
            "  likely cause: a wrong path, a full disk or missing permission\n"
            "  what to do: check the path and try again",
            file=sys.stderr,
        )
        _drop_output()
        return 2


def _let_every_letter_out() -> None:
    """Print the code of a character that the terminal cannot show, instead of stopping the command."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="backslashreplace")


def _end_tidily() -> None:
    """On SIGTERM, exit in the ordinary way, so that half-written files are removed as after any other fault."""
    if threading.current_thread() is threading.main_thread() and signal.getsignal(signal.SIGTERM) is signal.SIG_DFL:
        signal.signal(signal.SIGTERM, lambda number, _: sys.exit(128 + number))


def _drop_output() -> None:
    """Discard unwritten output: flushing it to a closed pipe or a full disk would fail once more at exit."""
    try:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    except (AttributeError, OSError, ValueError):  # standard output is not a file
        return


def _main(arguments: list[str]) -> int:
    if arguments and not arguments[0].startswith("-"):
        return _run(arguments[0], arguments[1:]) if arguments[0] in COMMANDS else _unknown(arguments[0])
    parser = main_parser()
    parsed, rest = parser.parse_known_args(arguments)
    if rest and not parsed.command:
        parser.error(f"unrecognized arguments: {' '.join(rest)}")
    if parsed.version:
        from ringpull import __version__

        print(f"ringpull {__version__}")
        return 0
    if parsed.command:
        return _unknown(parsed.command)
    parser.print_help()
    return 0


def _unknown(command: str) -> int:
    print(
        f"error: there is no command {command!r}\n  likely cause: a slip of the keyboard\n"
        f"  what to do: use one of {', '.join(COMMANDS)}",
        file=sys.stderr,
    )
    return 2


def _run(name: str, arguments: list[str]) -> int:
    from ringpull.errors import RingpullError

    parser, module = parser_of(name)
    parsed = None
    try:
        parsed = parser.parse_args(arguments)
        return module.run(parsed)  # type: ignore[attr-defined]
    except RingpullError as error:
        if getattr(parsed, "json", None) is True:
            import json

            print(json.dumps({"error": {"what": error.what, "cause": error.cause, "step": error.step}}))
        print(error.lines(), file=sys.stderr)
        return error.exit_code
