"""Delay and lag of a session that was identified before in this process: the fit is most of an answer's time.

The demo and the shelf judge the drive that was just answered, and several questions are asked about one drive.
"""

from __future__ import annotations

import hashlib
import json

import numpy as np

from ringpull.analysis.delay.identify import Identified, identify
from ringpull.analysis.drive_state.columns import Columns

MOST = 32  # sessions

_known: dict[bytes, Identified] = {}


def identified(columns: Columns) -> Identified:
    """What `identify` finds, from memory where all that it looks at is equal."""
    key = _digest(columns)
    if key not in _known:
        if len(_known) >= MOST:
            _known.pop(next(iter(_known)))
        _known[key] = identify(columns)
    return _known[key]


def _digest(columns: Columns) -> bytes:
    arrays: dict[tuple[str, ...], np.ndarray | None] = {
        ("time_s",): columns.time_s,
        ("lambda",): columns.lambda_,
        ("rpm",): columns.rpm,
        ("map_kpa",): columns.map_kpa,
        ("throttle",): columns.throttle,
        **{("extra", role): values for role, values in columns.extra.items()},
        **{("bank", name): values for name, values in columns.banks.items()},
        **{("named", name): values for name, values in columns.named.items()},
        **{("state", *names): values for names, values in columns.states.items()},
    }
    told = [[*key, None if values is None else [str(values.dtype), *values.shape]] for key, values in arrays.items()]
    digest = hashlib.sha256(json.dumps([told, repr(columns.config), columns.row_s]).encode())
    for values in arrays.values():
        if values is not None:
            digest.update(np.ascontiguousarray(values).tobytes())
    return digest.digest()
