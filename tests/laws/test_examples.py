"""Property tests of the default tier draw the same examples whatever ran before them in their process."""

import importlib

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st


def drawn():
    out = []

    @settings(max_examples=500)
    @given(st.integers())
    def draw(value):
        out.append(value)

    draw()
    return out


def test_examples_do_not_depend_on_the_modules_that_are_loaded(tmp_path, monkeypatch):
    if not settings().derandomize:
        pytest.skip("this run draws new examples (--hypothesis-profile=explore)")
    before = drawn()
    (tmp_path / "constants_of_its_own.py").write_text("MANY = (%s)" % ", ".join(map(str, range(10**9, 10**9 + 200))))
    monkeypatch.syspath_prepend(tmp_path)
    importlib.import_module("constants_of_its_own")
    assert drawn() == before
