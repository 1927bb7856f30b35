"""Where no image was named, now or in an earlier run, these tests are skipped and say so."""

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).resolve().parent))

import image  # noqa: E402  found beside this file


@pytest.fixture(scope="session")
def uf2():
    named = image.named()
    if named is None:
        pytest.skip(image.lacking())
    return named
