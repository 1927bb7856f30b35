"""How small the ring file is: against plain 16-bit rows, against what its two encodings allow, against compressors."""

from __future__ import annotations

import gzip
import io
import json
import tempfile
from pathlib import Path

import numpy as np

from ringpull.dryrun.run import dry_run
from ringpull.invented import demo
from shared_math import layout, unpacking

SECONDS = 120
ANALOG = 12


def noisy_signals(folder: Path) -> Path:
    """A drive of 12 moving analog channels and a tach; the desk board adds 2 counts of noise to each."""
    random = np.random.default_rng(5)
    time_s = np.arange(0, SECONDS, 0.02)
    channels = [
        {"name": f"in_{n}", "input": f"a{n}", "kind": "linear", "volts": [0, 5], "values": [0, 5]}
        for n in range(ANALOG)
    ]
    columns = [time_s]
    for n in range(ANALOG):
        speed_hz = 0.05 * 1.5**n if n < 8 else 0.3
        wave = 2.5 + (0.4 + 0.15 * n) * np.sin(2 * np.pi * speed_hz * time_s + n)
        steps = np.repeat(random.uniform(-0.4, 0.4, SECONDS // 5 + 1), 250)[: len(time_s)]
        columns.append(np.clip(wave + steps, 0, 5))
    np.savetxt(
        folder / "volts.csv",
        np.transpose(columns),
        "%.5f",
        ",",
        header=",".join(["t_s"] + [c["name"] for c in channels]),
        comments="",
    )
    rpm = 3500 + 2500 * np.sin(2 * np.pi * time_s / 30)
    edges = np.interp(np.arange(1, 2 * rpm.mean() / 60 * SECONDS - 10), np.cumsum(2 * rpm / 60 * 0.02), time_s)
    (folder / "edges.csv").write_text("t_s,input\n" + "".join(f"{t:.6f},engine_speed\n" for t in edges))
    channels.append({"name": "engine_speed", "input": "p0", "kind": "pulses", "per_rev": 2, "max_rpm": 9000})
    (folder / "logger.json").write_text(json.dumps({"version": 1, "rate_hz": 200, "channels": channels}))
    dry_run(folder / "logger.json", folder / "volts.csv", folder / "edges.csv", None, folder / "card")
    return folder / "card"


def demo_card(folder: Path) -> Path:
    demo.write_signals(folder, seed=1)
    return demo.run_firmware(folder, seed=1)


def blocks(card: Path) -> tuple[list[dict], list[list[list[int]]], int]:
    """(columns of the setup, for each row block its columns, slots used by anything)."""
    data = (card / "drive.rpl").read_bytes()
    text = b""
    table: list[dict] = []
    held = []
    used = 0
    for at in range(0, len(data), layout.SLOT):
        block = data[at : at + layout.SLOT]
        if layout.verdict(block) is not None:
            continue
        used += 1
        if block[layout.AT_KIND] == layout.SETUP and not table:
            text += block[layout.AT_PAYLOAD : layout.AT_PAYLOAD + layout.get16(block, layout.AT_LENGTH)]
            if block[layout.AT_PART] == block[layout.AT_PARTS] - 1:
                table = json.loads(text)["columns"]
        elif block[layout.AT_KIND] == layout.PACKED:
            held.append(unpacking.unpack(block, [column["b"] for column in table]))
    return table, held, used


CHOICE = 1  # bit that tells a reader which encoding a column has; the widths in the descriptors are not counted


def bound_bits(table: list[dict], columns: list[list[int]]) -> int:
    """Bits that the better of both encodings needs for each column of one block's rows, references included. Which of
    the two it is must be told as well, a bit a column: that is not in here, see CHOICE."""
    total = 0
    for column, values in zip(table, columns):
        cells = np.array(values)
        bits = column["b"]
        plain = bits + len(cells) * int(np.ptp(cells)).bit_length()
        steps = np.diff(cells)
        stepped = 2 * bits + 1 + len(steps) * int(np.ptp(steps)).bit_length() if len(steps) else plain
        total += min(plain, stepped)
    return total


def figures(name: str, card: Path):
    import pyarrow as pa
    import pyarrow.parquet as pq

    table, held, used = blocks(card)
    rows = np.concatenate([np.array(columns).T for columns in held])
    plain_bytes = rows.shape[0] * sum(4 if column["b"] > 16 else 2 for column in table)
    packed_bytes = len(held) * layout.SLOT
    bare = sum(bound_bits(table, columns) for columns in held) / 8
    bound = bare + len(held) * len(table) * CHOICE / 8
    plain = b"".join(
        rows[:, n].astype("<u4" if column["b"] > 16 else "<u2").tobytes() for n, column in enumerate(table)
    )
    arrow = pa.table({c["n"]: pa.array(rows[:, n].astype("i4" if c["b"] > 15 else "i2")) for n, c in enumerate(table)})
    parquet = io.BytesIO()
    pq.write_table(arrow, parquet, compression="zstd", use_dictionary=False, column_encoding="DELTA_BINARY_PACKED")
    zstd = pa.Codec("zstd", compression_level=19).compress(plain, asbytes=True)
    yield (
        f"{name}: smaller than plain",
        plain_bytes / packed_bytes,
        "times",
        f"at least 2.5; {len(rows)} rows, {len(table)} columns",
    )
    yield (
        f"{name}: above the bound",
        100 * (packed_bytes / bound - 1),
        "%",
        "at most 10; better encoding per column and block, and the bit that tells it",
    )
    yield (
        f"{name}: above its values alone",
        100 * (packed_bytes / bare - 1),
        "%",
        "the same without that bit; not judged",
    )
    yield f"{name}: setup, health, birth", 100 * (used / len(held) - 1), "%", "of the row blocks, on top"
    for peer, size in (
        ("gzip -9", len(gzip.compress(plain, 9))),
        ("zstd -19", len(zstd)),
        ("Parquet delta", parquet.tell()),
    ):
        yield (
            f"{name}: {peer}",
            plain_bytes / size,
            "times",
            "smaller than plain; whole drive at once, no random access",
        )


def rows():
    with tempfile.TemporaryDirectory() as folder:
        place = Path(folder)
        (place / "demo").mkdir()
        (place / "noisy").mkdir()
        yield from figures("demo", demo_card(place / "demo"))
        yield from figures("noisy 12", noisy_signals(place / "noisy"))
