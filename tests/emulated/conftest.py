"""The image to run is named by RINGPULL_UF2; without it these tests are skipped and say so."""

import os
import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).resolve().parent))


@pytest.fixture(scope="session")
def uf2():
    image = os.environ.get("RINGPULL_UF2")
    if not image:
        pytest.skip("RINGPULL_UF2 does not name a MicroPython image for RPI_PICO")
    return Path(image)
