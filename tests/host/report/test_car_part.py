"""What the car's own computer says, in the report: states in words, trims in closed loop, codes at the verdict."""

from types import SimpleNamespace

import numpy as np
import pytest
from analysis_scenes import Hole, StandInDrive, StandInSession, scene, why

from ringpull.analysis import car
from ringpull.analysis.answer import answer
from ringpull.analysis.drive_state import roles
from ringpull.files import configuration
from ringpull.report import answer_part, data
from ringpull.report.car_part import _pulls
from ringpull.ring.values.codes import UnitCodes
from ringpull.wording import car as words


def channel(name, pid):
    (config,) = configuration.channels_of([{"name": name, "kind": "obd", "pid": pid}])
    return SimpleNamespace(name=name, kind="obd", column=name, label=name, unit="", config=config)


class Session:
    """Ten rows with trims; the fuel system's state as given, None where it is not logged."""

    id = 1
    codes = ()
    config = configuration.Configuration()
    rate_hz = 200

    def __init__(self, state):
        self.channels = [channel("short", "06"), channel("long", "07")]
        self.values = {"short": np.linspace(1.0, 10.0, 10), "long": np.full(10, 2.0)}
        if state is not None:
            self.channels.append(channel("loop", "03"))
            self.values["loop"] = np.array(state, float)

    @property
    def awake(self):
        return self

    def table(self):
        return {"time_s": np.arange(10) / 200.0, **self.values}

    def raw(self):
        import pandas as pd

        known = {name + ".held": np.zeros(10, int) for name in self.values}
        return pd.DataFrame({"row": range(10), "bus_state": 3, "bus_trip": 20, "bus_lost": 0, **known})


def said_of(state):
    judged = SimpleNamespace(masks=SimpleNamespace(valid=np.ones(10, bool)), loaded=np.ones(10, bool))
    pull = SimpleNamespace(number=1, start_s=0.0, end_s=1.0, session=1)
    one = SimpleNamespace(pull=pull, judged=judged, as_json=lambda: {"lambda_mean": 0.9})
    said = car.of_session(Session(state), [one])
    return said, _pulls(said, [one])


@pytest.mark.parametrize(
    ("state", "short", "shown"),
    [
        ([4] * 10, None, "open loop, under load or overrun"),
        ([2] * 4 + [4] * 6, 2.5, "open loop, under load or overrun; closed loop"),
        ([2] * 10, 5.5, "closed loop"),
    ],
)
def test_trims_of_open_loop_are_left_out_and_the_state_is_a_word(state, short, shown):
    said, table = said_of(state)
    assert said.pulls[1].get(car.SHORT_TRIM) == (None if short is None else pytest.approx(short))
    (line,) = [one for one in words.how_it_was(said) if "closed loop" in one] if 2 in state else [""]
    assert not line or "its trims added" in line
    assert said.closed_s == pytest.approx(state.count(2) / 200)
    assert shown in table and words.ABOUT_TRIMS in table and ("short trim" in table) == (short is not None)


def test_trims_without_their_state_are_marked():
    said, table = said_of(None)
    assert said.pulls[1][car.SHORT_TRIM] == pytest.approx(5.5) and words.LOOP_UNKNOWN in table


def test_states_are_drawn_as_words():
    listed = {one["column"]: one for one in data.described(Session([2] * 10))}
    assert listed["loop"]["words"]["2"] == "closed loop" and "words" not in listed["short"]


def test_trims_and_their_state_are_known_by_their_parameter():
    written = [{"name": "a", "kind": "obd", "pid": 6}, {"name": "b", "kind": "obd", "pid": "fuel_system_1"}]
    listed = configuration.channels_of([*written, {"name": "trim", "kind": "linear"}])
    found = [roles.channel_for(role, listed[:2]) for role in ("trim", "trim_long", "fuel_state")]
    assert found == [listed[0], None, listed[1]]
    assert roles.channel_for("trim", listed) is listed[2]


def answered(hole=None, **codes):
    made = scene(hole=hole)
    session = StandInSession(made.columns, [(a, b, False) for a, b in made.spans])
    session.codes = [UnitCodes("7E8", **codes)]
    return answer(StandInDrive(session))


def test_a_code_about_the_mixture_stands_beside_the_verdict_and_leaves_it():
    calm = answered(pending=["P0171"], confirmed=["P0300"])
    (told,) = [one for one in why(calm) if "P0171" in one]
    assert calm.verdict == "no lean event found" and "the two disagree" in told and "closed loop" in told
    assert any("P0171 pending" in one for one in answer_part.why(calm)[0])  # on the first screen
    assert "P0300" not in " ".join(why(calm))
    lean = answered(Hole(2, 4000.0, 4800.0, 0.10), confirmed=["P0171"], pending=["P0171"])
    (told,) = [one for one in why(lean) if "P0171" in one]
    assert lean.verdict == "attention" and "too lean a mixture as well (P0171 stored)" in told
    rich = answered(confirmed=["P0172"])
    (told,) = [one for one in why(rich) if "P0172" in one]
    assert rich.verdict == "no lean event found" and "too rich" in told and "disagree" not in told
    assert not any("computer" in one for one in why(answered(pending=["P0420"])))
