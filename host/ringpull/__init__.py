"""Read ring files and judge the pulls in them: `ringpull.read(SRC)` gives a Drive."""

from __future__ import annotations

import sys
from types import ModuleType
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from ringpull.read import read as read

__version__ = "0.1.0"


class _Package(ModuleType):
    """Here `ringpull.read` stays the function, though a sub-package has the same name, and is fetched when first used."""

    @property
    def read(self) -> Any:
        from importlib import import_module

        return import_module("ringpull.read").read

    @read.setter
    def read(self, _module: Any) -> None:
        """The import system would put the sub-package here."""


sys.modules[__name__].__class__ = _Package
