"""The port that the logger is on: found, opened, or told why not."""

from __future__ import annotations

import errno
import os
from pathlib import Path
from typing import TYPE_CHECKING

from ringpull.errors import NoPort, PortRefused

if TYPE_CHECKING:
    import serial

WRITE_S = 2.0  # a request is a few dozen bytes: longer means that nobody takes them


def find(named: str | None) -> str:
    """The port to use: the one named, or the only board on USB. Raises NoPort."""
    if named:
        return named
    from serial.tools import list_ports

    boards = [port for port in list_ports.comports() if port.vid is not None]
    if len(boards) == 1:
        return boards[0].device
    if not boards:
        raise NoPort(
            "no board is on USB",
            "the cable is not plugged in, or carries power alone",
            "plug the logger in with a cable that carries data, and give the command again",
        )
    listed = "; ".join(f"{port.device} ({port.description})" for port in boards)
    raise NoPort(
        f"there are {len(boards)} ports: {listed}",
        "several boards or adapters are plugged in",
        f"name the logger's, for example: ringpull live {boards[0].device}",
    )


def open_port(path: str, timeout_s: float) -> serial.Serial:
    """The port, open for this program alone. Raises NoPort, PortRefused."""
    import serial

    try:
        return serial.Serial(path, 115200, timeout=timeout_s, write_timeout=WRITE_S, exclusive=_exclusive())
    except serial.SerialException as error:
        raise _refused(path, error) from None
    except (OSError, ValueError) as error:
        raise _refused(path, error) from None


def _exclusive() -> bool | None:
    return True if os.name == "posix" else None  # elsewhere ports are always opened so


def _refused(path: str, error: Exception) -> NoPort | PortRefused:
    number = getattr(error, "errno", None)
    text = str(error)
    if number == errno.ENOENT or "FileNotFoundError" in text or "No such file" in text:
        return NoPort(
            f"there is no port {path}",
            "the board is not plugged in, or has come back under another name; or a path was meant, and has a slip",
            "give the command without a port: it finds the board or lists what there is",
        )
    if number == errno.EACCES or "PermissionError" in text or "Permission denied" in text:
        return _not_allowed(path)
    if number == errno.EBUSY or "exclusively lock" in text or "Resource temporarily unavailable" in text:
        return PortRefused(
            f"{path} is in use{_by_whom(path)}",
            "another program holds the logger's port",
            "end that program, and give the command again",
        )
    return PortRefused(
        f"{path} can't be opened: {os.strerror(number) if number else text}",
        "it is no serial port, or the board was pulled out just now",
        "give the command without a port: it finds the board or lists what there is",
    )


def _not_allowed(path: str) -> PortRefused:
    group = ""
    try:
        import grp

        group = grp.getgrgid(os.stat(path).st_gid).gr_name
    except (ImportError, KeyError, OSError):
        pass  # no groups here, or one without a name
    if group and group != "root":
        step = f"join the group: sudo usermod -aG {group} $USER, then log out and in again"
    else:
        step = "close what holds it, or ask whoever looks after this machine for the right to use it"
    return PortRefused(
        f"{path} may not be used by this user",
        f"it belongs to the group {group}" if group else "another program holds it, or rights are missing",
        step,
    )


def _by_whom(path: str) -> str:
    """A blank and "by NAME (process NUMBER)", where the system tells."""
    real = os.path.realpath(path)
    for folder in Path("/proc").glob("[0-9]*"):
        if folder.name == str(os.getpid()):
            continue
        try:
            if any(os.path.realpath(one) == real for one in (folder / "fd").iterdir()):
                return f" by {(folder / 'comm').read_text().strip()} (process {folder.name})"
        except OSError:
            continue
    return ""
