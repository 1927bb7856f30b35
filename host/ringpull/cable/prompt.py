"""The board's own prompt, when nothing records: what the board is, and files on it. On mpremote's transport."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from contextlib import contextmanager, redirect_stdout
from dataclasses import dataclass
from io import StringIO
from typing import Any

from ringpull.cable import ports
from ringpull.errors import CablePulled, CableSilent

ARCHITECTURES = (
    *("", "x86", "x64", "armv6", "armv6m", "armv7m", "armv7em", "armv7emsp", "armv7emdp", "xtensa", "xtensawin"),
    "rv32imc",
)  # by the number in sys.implementation._mpy (MicroPython's documentation, "MicroPython .mpy files")
PROMPT_S = 3  # the prompt is waited for so long, and asked for again
TRIES = 5
PIECE = 1024  # bytes of a file sent at once


@dataclass(frozen=True)
class BoardFacts:
    """platform: sys.platform. machine: what it calls itself. version: of MicroPython. mpy: version of .mpy files that
    it loads, 0 where it loads none. arch: for mpy-cross, "" where it runs no native code. heap, flash_free: bytes."""

    platform: str
    machine: str
    version: tuple[int, ...]
    mpy: int
    arch: str
    heap: int
    flash_free: int


class Prompt:
    """A board at its prompt."""

    def __init__(self, path: str) -> None:
        """Stops whatever runs. Raises NoPort, PortRefused, CableSilent, CablePulled."""
        ports.open_port(path, 0.1).close()  # its errors are told; mpremote's are not
        from mpremote.transport_serial import SerialTransport

        self.path = path
        with self._told(), redirect_stdout(StringIO()):
            self.wire = SerialTransport(path, timeout=PROMPT_S)
            self._enter(soft_reset=False)
            if self.run("import sys; print(sys.platform)") != "linux":
                self._enter(soft_reset=True)  # with the whole heap

    def _enter(self, soft_reset: bool) -> None:
        """Get the prompt; a board that is just doing something else may miss the first call."""
        from mpremote.transport import TransportError

        for _ in range(TRIES - 1):
            try:
                self.wire.enter_raw_repl(soft_reset=soft_reset, timeout_overall=PROMPT_S)
                return
            except TransportError:
                continue
        self.wire.enter_raw_repl(soft_reset=soft_reset, timeout_overall=PROMPT_S)

    def __enter__(self) -> Prompt:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Leave the board at its prompt."""
        try:
            self.wire.exit_raw_repl()
            self.wire.close()
        except OSError:  # it is gone
            pass

    @contextmanager
    def _told(self) -> Iterator[None]:
        from mpremote.transport import TransportError, TransportExecError

        try:
            yield
        except TransportExecError as error:
            lines = str(error.error_output).strip().splitlines() or ["nothing"]
            raise CableSilent(
                f"the board said: {lines[-1]}",
                "its flash is full or can't be written, or its MicroPython lacks something",
                "see what is on it; a board that was used for something else may have to be erased first",
            ) from None
        except TransportError as error:
            raise CableSilent(
                f"nothing on {self.path} answers as MicroPython ({error})",
                "there is no MicroPython on the board yet, or another program holds it",
                "bring MicroPython onto the board: the guide tells how for each board",
            ) from None
        except OSError as error:
            raise CablePulled(
                f"{self.path} went away ({error})",
                "the cable was pulled, or the board was reset",
                "plug it in and give the same command again: until its last step the old firmware starts",
            ) from None

    def run(self, code: str) -> str:
        """Run code on the board; what it prints, without its end of line."""
        with self._told():
            return self.wire.exec(code).decode().strip()

    def value(self, code: str) -> Any:
        """The value of an expression on the board, where it is a plain one."""
        return ast.literal_eval(self.run(f"print(repr({code}))"))

    def write(self, path: str, data: bytes) -> None:
        """A whole file."""
        with self._told():
            self.wire.fs_writefile(path, data, chunk_size=PIECE)

    def restart(self) -> None:
        """Start the board anew; its port goes away for a moment."""
        with self._told():
            self.wire.exec_raw_no_follow("import machine; machine.reset()")

    def facts(self) -> BoardFacts:
        """What the board is."""
        self.run("import sys, gc, os; gc.collect()")
        mpy = self.value("getattr(sys.implementation, '_mpy', 0)")
        arch = mpy >> 10 & 0xF
        space = self.value("tuple(os.statvfs('.'))")
        return BoardFacts(
            platform=self.value("sys.platform"),
            machine=self.value("getattr(sys.implementation, '_machine', '')"),
            version=self.value("tuple(sys.implementation.version[:3])"),
            mpy=mpy & 0xFF,
            arch=ARCHITECTURES[arch] if arch < len(ARCHITECTURES) else "",
            heap=self.value("gc.mem_free() + gc.mem_alloc()"),
            flash_free=space[0] * space[3],
        )
