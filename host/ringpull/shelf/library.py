"""The libraries that questions need, loaded when one is asked."""

from __future__ import annotations

from ringpull.errors import MissingPart

HOW = "pip install '.[library]'"


def ibis():
    """The module ibis. MissingPart, in one line how to get it."""
    try:
        import duckdb  # noqa: F401
        import ibis as module
    except ImportError as fault:
        raise MissingPart(f"{fault.name} is not installed, which answers questions to a shelf", "it is an extra", HOW)
    return module
