"""The configuration at start, and memory given back: checking needs modules that recording does not."""

import gc
import json
import sys

_HEAVY = (
    "config",
    "config_channels",
    "config_check",
    "config_fuel",
    "config_schema",
    "config_text",
    "config_top",
    "faults",
    "mixture",
)


def read(text):
    """(configuration, its squeezed JSON bytes, fault numbers) from the text of logger.json, or None for no file.

    A bad file never stops the recording: the default logs raw counts of every input.
    """
    try:
        return _read(text)
    finally:
        _unload()


def _read(text):
    from shared_math import config, faults

    fault = "no_config"
    if text is not None:
        fault = "bad_config"
        try:
            settings = config.load(text)
            if not config.check(settings):
                return config.defaults(settings), config.squeeze(text), []
        except ValueError:
            pass
    return config.defaults(config.DEFAULT), json.dumps(config.DEFAULT).encode(), [faults.FAULTS[fault][0]]


def _unload():
    """Forget the modules that only the start needs: some 40 kB on the smallest board that matters."""
    package = sys.modules["shared_math"]
    for name in _HEAVY:
        if sys.modules.pop("shared_math." + name, None) is not None and hasattr(package, name):
            delattr(package, name)
    gc.collect()
