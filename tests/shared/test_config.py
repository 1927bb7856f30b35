"""Reading, squeezing and completing the configuration."""

from shared_math import config
from shared_math.config import json_text

TEXT = b"""{"version": 1,
  "channels": [
    {"name": "lambda_1", "input": "a0", "kind": "lambda", "volts": [0, 5], "values": [0.6, 1.4]},
    {"name": "engine_speed", "input": "p0", "kind": "pulses", "per_rev": 2}
  ],
  "note": "two  spaces, a \\" quote and a \\\\"
}
"""

# text, what its sentence must say
BROKEN = (
    ("", "empty"),
    (" \n ", "empty"),
    ("[1]", "one object"),
    ('{"a": 1', "never closed"),
    ('{"a": 1}}', "follows"),
    ('{"a": 1,}', "comma too many"),
    ('{"a": [1,]}', "comma too many"),
    ('{"a": 1 "b": 2}', "comma is missing"),
    ('{"a": [1 2]}', "comma is missing"),
    ('{"a" 1}', "colon"),
    ('{"a":}', "value is missing"),
    ('{"a":', "too soon"),
    ("{", "too soon"),
    ("{a: 1}", "double quotes"),
    ("{'a': 1}", "double quotes"),
    ('{"a": 0,6}', "double quotes"),
    ('{"a": petrol}', "petrol is neither"),
    ('{"a": NaN}', "NaN is neither"),
    ('{"a": -Infinity}', "neither"),
    ('{"a": 01}', "01 is neither"),
    ('{"a": 1.}', "neither"),
    ('{"a": .5}', "neither"),
    ('{"a": +5}', "neither"),
    ('{"a": 1e}', "neither"),
    ('{"a": 0x10}', "neither"),
    ('{"a": 1_000}', "neither"),
    ('{"a": %s}' % ("9" * 60), "neither"),
    ('{"a": "x}', "closing quote"),
    ('{"a": "x\ny"}', "closing quote"),
    ('{"a": "x\ty"}', "control character"),
    ('{"a": "\\q"}', "lone"),
    ('{"a": "\\u12"}', "hexadecimal"),
    ('{"a": "\\u-123"}', "hexadecimal"),
    ('{"a": "\\ud83d\\ude00"}', "beyond"),
    ('{"a": 1, "b": 2, "a": 3}', "twice"),
    ('{"a": ' + "[" * 40 + "]" * 40 + "}", "deep"),
    ('{"a": "' + "x" * 17000 + '"}', "longer"),
    (b"\xff\xfe{\x00", "UTF-8"),
    (b"\xff\xd8\xff\xe0\x00\x10JFIF", "UTF-8"),
    (b'{"a": "\xff"}', "UTF-8"),
)


def sentence(text):
    try:
        config.load(text)
    except ValueError as error:
        return str(error)
    return None


def test_broken_text_is_told_in_words():
    for text, words in BROKEN:
        told = sentence(text)
        assert told is not None and words in told, (text[:40], told)


def test_how_deep_brackets_may_stand():
    for opening, closing in (("[", "]"), ('{"a": ', "}")):
        inner = "0" if closing == "}" else ""
        deep = 12 if inner else 13  # what stands inside the innermost bracket counts
        assert json_text.parse(opening * deep + inner + closing * deep) is not None
        try:
            json_text.parse(opening * (deep + 1) + inner + closing * (deep + 1))
        except ValueError as error:
            assert str(error) == "line 1: brackets inside brackets, more than 12 deep"
        else:
            raise AssertionError("more brackets were taken")


def test_the_line_is_named():
    assert sentence('{\n"a": 1\n"b": 2}').startswith("line 2:")
    assert sentence('{\n"a": 1,\n"b": petrol}').startswith("line 3:")
    assert sentence('{"a": [\n1,\n2\n').startswith("line 1:")  # the bracket, not the end of the file


def test_values_of_every_sort():
    text = '{"i": -12, "f": 1.5e-3, "e": 2E+3, "t": true, "n": null, "l": [], "o": {}, "s": "\\u00e9\\n\\/ \u00e9"}'
    read = config.load(text)
    assert read["i"] == -12 and isinstance(read["i"], int)
    assert abs(read["f"] - 0.0015) < 1e-9 and read["e"] == 2000.0
    assert read["t"] is True and read["n"] is None and read["l"] == [] and read["o"] == {}
    assert read["s"] == "\u00e9\n/ \u00e9"
    assert config.load(b'\xef\xbb\xbf{"a": 1}') == {"a": 1}


def test_squeeze_leaves_strings_alone():
    small = config.squeeze(TEXT)
    assert config.load(small) == config.load(TEXT)
    assert b'"two  spaces, a \\" quote and a \\\\"' in small
    assert b": " not in small and b"\n" not in small and len(small) < len(TEXT)
    assert config.squeeze(small) == small


def test_defaults_are_filled_and_nothing_else_changes():
    read = config.load(TEXT)
    full = config.defaults(read)
    assert read == config.load(TEXT)
    assert full["board"] == "generic" and full["rate_hz"] == 200 and full["engine"] == {"strokes": 4}
    assert full["fuel"] == {"name": "petrol"}
    assert full["channels"][0]["scale"] == "lambda" and full["channels"][0]["label"] == "lambda 1"
    assert full["channels"][1]["max_rpm"] == 10000 and full["channels"][1]["polarity"] == "rising"
    assert config.defaults(full) == full
    assert config.check(full) == []
    kept = config.load('{"version": 1, "rate_hz": 100, "engine": {"strokes": 2}, "channels": []}')
    assert config.defaults(kept)["rate_hz"] == 100 and config.defaults(kept)["engine"] == {"strokes": 2}


def test_the_raw_default_claims_no_meaning():
    inputs = [channel["input"] for channel in config.defaults(config.DEFAULT)["channels"]]
    assert inputs == ["a0", "a1", "a2", "a3", "a4", "p0", "p1"]
    for channel in config.defaults(config.DEFAULT)["channels"]:
        assert channel["name"] == "raw_" + channel["input"]
        assert channel["unit"] == ("V" if channel["kind"] == "linear" else "Hz")
        assert channel["values"] == channel["volts" if channel["kind"] == "linear" else "hz"]


def test_texts_for_the_printed_page():
    texts = {"customer": "A. Driver", "operator": "workshop", "conditions": "dry, 21 degC, 980 hPa", "note": "new pump"}
    read = config.load(TEXT)
    read.update(texts)
    assert config.check(read) == []
    for name in texts:
        wrong = dict(read)
        wrong[name] = 7
        assert len(config.check(wrong)) == 1, name
