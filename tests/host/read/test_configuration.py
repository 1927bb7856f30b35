"""The records of a configuration: what is written, what is assumed where nothing is, and keys that have no place."""

from dataclasses import FrozenInstanceError, fields, replace

import pytest

from ringpull.files import configuration
from ringpull.files.configuration import Configuration, Engine, State, When
from ringpull.ring.rows.setup import read_config, usable_config
from shared_math import config as shared_config
from shared_math.config import schema
from tests.shared.config_good import good

LAMBDA = {"name": "lambda_1", "input": "a0", "kind": "lambda", "volts": [0, 5], "values": [7.35, 22.05]}
JUNK = (None, True, -1, 1e308, "", "x", [], [[]], {}, {"kind": []})


@pytest.fixture
def made():
    return usable_config(good())


def test_what_is_written_is_in_the_fields_of_the_same_name(made):
    """Of every kind and block: a number stays what it was, a list of them is a tuple."""
    written = shared_config.defaults(good())
    assert made.written == written
    parts = [(made, written), (made.engine, written["engine"]), (made.vehicle, written["vehicle"])]
    parts += zip(made.channels, written["channels"], strict=True)
    compared = 0
    for record, text in parts:
        for name in {field.name for field in fields(record)} & set(text) - {"engine", "fuel", "vehicle", "channels"}:
            if name not in ("calibration", "states", "pid"):
                told = text[name]
                assert getattr(record, name) == (tuple(told) if isinstance(told, list) else told), (record, name)
                compared += 1
    assert compared > 60


def test_what_has_a_record_of_its_own(made):
    first = made.by_name["lambda_1"]
    assert first.states == (State("warm_up", (0.0, 0.2), "heating"), State("fault", (4.8, 5.0), None))
    assert first.calibration is not None and first.calibration.volts == (0.2, 4.0) and first.calibration.date is None
    assert (first.divider_ohm, first.front) == ((6800, 10000), "differential")
    by_mode, always = made.targets
    assert by_mode.when == When("high_boost", 1) and by_mode.when.limits == (1,) and always.when is None
    assert (always.load, always.unit, always.loads, always.speeds) == ("map", "kPa", (40, 200), (1000, 7000))
    assert (
        always.lambda_at(40, 1000) == 1.0 and always.lambda_at(200, 7000) == 0.78 and always.lambda_at(None, 1) is None
    )
    assert configuration.holding(made.targets, {"high_boost": 1.0}) is by_mode
    assert configuration.holding(made.targets, {"high_boost": 0.0}) is always
    assert (made.fuel.name, made.bus_kbit, made.by_name["wheel_speed"].unit) == ("petrol", 500, "km/h")
    assert configuration.crank_of(made.channels) is made.by_name["engine_speed"]
    assert {one.name: one.pid for one in made.channels if one.pid is not None} == {"short_trim": 6, "wide_volts": 0x24}
    assert made.by_name["injector"].duty_column == "injector_duty_pct"


def test_the_crank_is_what_gives_pulses_by_the_turn(made):
    """Half a pulse each turn will do; a wheel's come by the metre."""
    assert [one.name for one in made.channels if one.counts_crank] == ["engine_speed"]
    crank = made.by_name["engine_speed"]
    assert replace(crank, per_rev=0.5).counts_crank and not replace(crank, per_rev=0.0).counts_crank
    assert not replace(crank, kind="can").counts_crank and not replace(crank, kind="rtd").counts_crank


def test_a_record_cannot_be_changed_and_may_be_a_key(made):
    """Each is made once and shared. It is a key whatever is written in it, and shown without that."""
    sensor, target = made.by_name["lambda_1"], made.targets[0]
    parts = (made.engine, made.vehicle, made.fuel, target, target.when, sensor, sensor.states[0], sensor.calibration)
    for record in (made, *parts):
        with pytest.raises(FrozenInstanceError):
            setattr(record, fields(record)[0].name, None)
        assert {record: 1}[replace(record)] == 1
    assert "written=" not in repr(sensor)
    assert repr(replace(made, written={"note": "unseen"})) == repr(made)


def test_what_is_assumed_where_nothing_is_written():
    nothing = Configuration()
    assert (nothing.engine.assumed_cylinders, nothing.engine.assumed_cc, nothing.engine.strokes) == (4, 2000.0, 4)
    assert (nothing.assumed_fuel.name, nothing.with_target, nothing.rate_hz) == ("petrol", False, 0)
    assert nothing.screen is False
    bare = configuration.ConfiguredChannel("p", "pulses", "p")
    assert (bare.afr, bare.per_rev, bare.per_metre, bare.per_cycle, bare.lambda_range) == (False, 0, 0, 1, None)
    assert nothing.assumed_fuel.stoich_afr == pytest.approx(14.57, abs=0.02)  # CH1.85 in dry air
    told = Engine(cylinders=6, displacement_cc=3000)
    assert (told.assumed_cylinders, told.assumed_cc) == (6, 3000)
    for scale, ends in (
        ({}, (7.35, 22.05)),
        ({"scale": "afr"}, (0.5, 1.5)),
        ({"scale": "afr", "stoich": 7.35}, (1, 3)),
    ):
        (sensor,) = configuration.channels_of([{**LAMBDA, **scale}])
        assert sensor.lambda_range == pytest.approx(ends)
    (sensor,) = configuration.channels_of([{**LAMBDA, "label": "Left"}])
    assert (sensor.shown, replace(sensor, label=None).shown) == ("Left", "lambda 1")


@pytest.mark.parametrize("junk", JUNK, ids=repr)
def test_keys_that_have_no_place_reach_no_field(made, junk):
    """Another version's, or anybody's: also where a record has a field of that name."""
    hurt = good()
    parts = [(hurt, Configuration, schema.TOP), (hurt["engine"], Engine, schema.ENGINE)]
    parts += [(hurt["vehicle"], configuration.Vehicle, schema.VEHICLE)]
    parts += [(one, configuration.ConfiguredChannel, configuration.CHANNEL) for one in hurt["channels"]]
    parts += [(hurt["channels"][0]["calibration"], configuration.Calibration, schema.CALIBRATION)]
    for part, record, form in parts:
        part.update({field.name: junk for field in fields(record) if field.name not in form})
    assert {code for code, _, _ in shared_config.check(hurt)} == {"unknown_key"}
    found = usable_config(hurt)
    assert replace(found, written=made.written, channels=(), targets=()) == replace(made, channels=(), targets=())
    bare = [replace(one, written={}) for one in found.channels]
    assert bare == [replace(one, written={}) for one in made.channels]


def test_another_target_takes_the_place_of_the_written_one(made):
    number = made.judged_by({"lambda": 0.9})
    assert [one.lambda_at(None, None) for one in number.targets] == [0.9] and number.with_target
    usual = number.judged_by({"preset": "e85-boosted"})
    assert (usual.targets, usual.preset, usual.with_target) == ((), "e85-boosted", True)
    assert usual.written is made.written


@pytest.mark.parametrize("text", [*JUNK, {"version": 1}, {"version": 1, "channels": [3]}], ids=repr)
def test_what_is_no_configuration_is_an_empty_one(text):
    assert usable_config(text) == Configuration()


@pytest.mark.parametrize("hurt", [{"version": 9}, {"channels": []}, {"fuel": {"name": "\x1b[2Junobtainium"}}], ids=repr)
def test_the_first_mistake_of_a_refused_configuration_is_kept(hurt):
    config, refused = read_config(good() | {"gizmo": 1} | hurt)
    mistakes = [one for one in shared_config.check(good() | hurt) if one[0] != "unknown_key"]
    assert config == Configuration() and refused is not None and refused[:2] == mistakes[0][:2]
    assert all(one.isprintable() for one in refused)


def test_a_configuration_that_can_be_used_is_not_refused(made):
    assert read_config(good()) == (made, None)
    assert read_config(good() | {"gizmo": 1})[1] is None
