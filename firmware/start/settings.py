"""The configuration at start, and memory given back: checking needs modules that recording does not."""

import gc
import json
import sys

_HEAVY = ("boards", "config", "mixture", "bus", "obd")


def read(text, raw=None):
    """(configuration, its squeezed JSON bytes, fault numbers, numbers of the faults that may come by their names,
    fault number -> words for a screen, or None where no screen is asked for).

    A screen is asked for by the configuration; also where that has a fault, for then a screen tells which.
    text: of logger.json, or None for no file. raw: why the last start with it failed, in words, or None. A bad file
    never stops the recording: the default logs raw counts of every input.
    """
    kept, squeezed, faults, numbers, words, problem = _read(text, raw)
    forget(_HEAVY)
    if problem is not None:
        words[faults[0]] = _explained(problem) or words[faults[0]]
    # Read anew: what was made while the modules were there lies scattered over the heap, and a large array fits nowhere
    return json.loads(kept), squeezed, faults, numbers, words


def _read(text, raw):
    numbers, said, (number, words) = _faults("no_config" if text is None else "bad_config")
    from shared_math import config

    problem = None
    if raw:
        words = "logger.json: " + raw
    elif text is not None:
        try:
            settings = config.load(text)
            problems = config.check(settings)
            if not problems:
                settings = config.defaults(settings)
                wanted = said if settings.get("screen") else None
                return json.dumps(settings), config.squeeze(text), [], numbers, wanted, None
            problem = problems[0]
        except ValueError as error:
            words = "logger.json: %s" % error
        except Exception as error:  # whatever it is: a file must not stop the recording
            words = "logger.json: " + told(error)
    said[number] = words
    default = json.dumps(config.defaults(config.DEFAULT))
    return default, json.dumps(config.DEFAULT).encode(), [number], numbers, said, problem


def told(error):
    """What a start that failed says of logger.json."""
    if isinstance(error, MemoryError):
        return "it is too much for this board's memory"
    return "the board can't start with it (%s)" % type(error).__name__


def _faults(now):
    """(number by name, sentence by number) of the faults that may come, and both of the one called `now`."""
    from shared_math import faults

    numbers, said = {}, {}
    for name in faults.FAULTS:
        number, sentence = faults.FAULTS[name][:2]
        if faults.LAST_OF_CONFIG < number < faults.OF_SELFTEST:
            numbers[name] = number
            said[number] = sentence
    one = faults.FAULTS[now][:2]
    del faults
    forget(("faults",))  # checking needs the room
    return numbers, said, one


def _explained(problem):
    """What is wrong, in words; None where memory does not suffice for them: a board must not fail for that."""
    try:
        from shared_math.config import explanations

        return explanations.explain(problem)[0]
    except MemoryError:
        return None
    finally:
        forget(_HEAVY)


def forget(names, folder="shared_math"):
    """Give back the memory of modules that only the start needs: some 40 kB on the smallest board that matters.

    names: of modules or packages in the package `folder`; what a package holds goes with it.
    """
    package = sys.modules.get(folder)
    for name in names:
        whole = folder + "." + name
        for loaded in list(sys.modules):
            if loaded == whole or loaded.startswith(whole + "."):
                sys.modules.pop(loaded)
        if package is not None and hasattr(package, name):
            delattr(package, name)
    _wipe(24)
    gc.collect()


def _wipe(depth):
    """Write over what calls long past have left on the stack: the collector would take it for use."""
    if depth:
        _wipe(depth - 1)
