"""The watchdog of the emulated RP2040, as its board starts, feeds and stops it.

Runs where image.py knows of a MicroPython image of the board RPI_PICO.
"""

from __future__ import annotations

from pathlib import Path

PROBE = Path(__file__).parent / "rp2_watchdog_probe.py"


def test_fed_it_is_quiet_stopped_it_stays_so_and_left_alone_it_starts_the_board_anew(uf2):
    import board_files
    import chip

    from ringpull.device import firmware_build

    files = firmware_build.compiled("armv6m")
    files |= {"boot.py": board_files.BOOT, "main.py": PROBE.read_bytes()}
    board = chip.Chip(uf2, files, lambda _channel, _now_s: 0, iter(()))
    board.run(36.0, "LEFT ALONE", wall_s=300)
    said = board.said.decode(errors="replace").split("\r\n")
    assert said[:3] == ["START False 0", "FED 1", "STOPPED 0"]
    assert said[3].startswith("START True"), said
