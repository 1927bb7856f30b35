"""The live page says the state of the car's fuel system in words, not as the bus's number."""

from types import SimpleNamespace

import pytest

from ringpull.cable.newest import Now
from ringpull.cable.page import told
from ringpull.files import configuration

CHANNELS = configuration.channels_of(
    [
        {"name": "lambda_1", "input": "a0", "kind": "lambda", "volts": [0.0, 5.0], "values": [0.6, 1.4]},
        {"name": "loop", "kind": "obd", "pid": "fuel_system_1", "hz": 4, "unit": ""},
    ]
)


@pytest.mark.parametrize(
    ("value", "says"),
    [(2.0, "closed loop"), (4.0, "open loop, under load or overrun"), (3.0, "unknown"), (float("nan"), None)],
)
def test_the_fuel_state_in_words(value, says):
    newest = SimpleNamespace(channels=CHANNELS, crank=None)
    names = [one.column for one in CHANNELS]
    now = Now(1.0, dict(zip(names, (0.9, value), strict=True)), {"lambda_1": "heating"}, None, 0, 1, 0, 0)
    states = told.Session(newest).reading(now)["states"]
    assert states == {"lambda_1": "heating", **({"loop": says} if says else {})}
