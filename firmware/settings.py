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

_LATER = ("card_missing", "card_full", "card_readonly", "card_dead", "storage_foreign", "ring_new", "rows_lost")


def text_of(folder):
    """The text of logger.json in `folder`, or None."""
    try:
        with open(folder + "/logger.json", "rb") as f:
            return f.read()
    except OSError:
        return None


def read(text):
    """(configuration, its squeezed JSON bytes, fault numbers, numbers of the faults that may come by their names).

    text: of logger.json, or None for no file. A bad file never stops the recording: the default logs raw counts of every input.
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
                return config.defaults(settings), config.squeeze(text), [], _numbers(faults)
        except ValueError:
            pass
    return config.defaults(config.DEFAULT), json.dumps(config.DEFAULT).encode(), [faults.FAULTS[fault][0]], _numbers(faults)


def _numbers(faults):
    return {name: faults.FAULTS[name][0] for name in _LATER}


def _unload():
    """Forget the modules that only the start needs: some 40 kB on the smallest board that matters."""
    package = sys.modules["shared_math"]
    for name in _HEAVY:
        if sys.modules.pop("shared_math." + name, None) is not None and hasattr(package, name):
            delattr(package, name)
    gc.collect()
