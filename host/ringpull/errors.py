"""Errors for the user: a class for each cause, and three lines for each error."""

from __future__ import annotations


class RingpullError(Exception):
    """what: what is wrong. cause: the likely cause. step: what to do. exit_code: exit code of the command."""

    exit_code = 2

    def __init__(self, what: str, cause: str, step: str) -> None:
        super().__init__(what)
        self.what = what
        self.cause = cause
        self.step = step

    def lines(self) -> str:
        """The three lines that are shown to the user."""
        return f"error: {self.what}\n  likely cause: {self.cause}\n  what to do: {self.step}"


class SourceMissing(RingpullError):
    """There is no such file or folder, or no ring file in it."""


class NotARingFile(RingpullError):
    """The file holds no block of a ring."""

    exit_code = 3


class NothingReadable(RingpullError):
    """There are blocks, but no rows that can be used."""

    exit_code = 3


class SourceChanged(RingpullError):
    """A ring file became shorter while it was being read."""


class TooLong(RingpullError):
    """A drive is too long, or has too many rows a second, to be judged at once."""


class BadConfig(RingpullError):
    """logger.json can't be used."""


class BadSignal(RingpullError):
    """A signal file for the dry run can't be used."""


class BadUsage(RingpullError):
    """Arguments that don't fit together, or an invalid value."""


class MissingPart(RingpullError):
    """Something that this command needs is not installed."""


class FirmwareFailed(RingpullError):
    """The firmware stopped with an exception."""


class CannotWrite(RingpullError):
    """The output can't be written."""


class NoPort(RingpullError):
    """No board is on the cable, or there are several and none was chosen."""


class PortRefused(RingpullError):
    """The port exists but can't be opened."""


class CableSilent(RingpullError):
    """Nothing answers on the port, or not the logger's firmware."""


class CablePulled(RingpullError):
    """The port went away."""


class DoesNotFit(RingpullError):
    """Measured values that no calibration or check may be made of."""


class LoggerRefused(RingpullError):
    """The logger can't do what was asked at present."""


class CarRefused(RingpullError):
    """The car's computer did not do what it was asked."""


class NoCodes(RingpullError):
    """No answer of a car's computer is kept."""

    exit_code = 3
