"""Read ring files and judge the pulls in them: `ringpull.read(SRC)` gives a Drive."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from shared_math import VERSION as __version__

if TYPE_CHECKING:
    from ringpull.drive import read as read

__all__ = ["__version__", "read"]


def __getattr__(name: str) -> Any:
    """Import `read` at its first use, so that the command starts without the reader."""
    if name == "read":
        from ringpull.drive import read

        return read
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
