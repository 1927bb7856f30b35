"""Cars for the diagnostic bus, and dry runs with them."""

from __future__ import annotations

import json

from ringpull.dryrun.bus_server import BusServer, Unit
from ringpull.dryrun.run import dry_run

VALUES = {
    0x04: b"\x7f",
    0x05: b"\x7b",
    0x06: b"\x83",
    0x07: b"\x86",
    0x0B: b"\x64",
    0x0C: b"\x1a\xf8",
    0x0D: b"\x32",
    0x0E: b"\x90",
    0x0F: b"\x46",
    0x10: b"\x01\xf4",
    0x11: b"\x80",
    0x1F: b"\x00\x40",
    0x2F: b"\x80",
    0x33: b"\x63",
    0x42: b"\x36\xb0",
    0x44: b"\x73\x33",
    0x46: b"\x3c",
    0x5C: b"\x78",
}


# 59 04: P0171 with its state, one record, four values: speed, load, coolant, and one of the maker's own
FROZEN = bytes.fromhex("5904017100 0c 00 04 f40c1af8 f4047f f4057b d00112".replace(" ", ""))


def mask(first, known):
    """The four bytes that name the parameters of `known` after `first`."""
    bits = 0
    for pid in known:
        if first < pid <= first + 32:
            bits |= 1 << 32 - (pid - first)
    if any(pid > first + 32 for pid in known):
        bits |= 1
    return bits.to_bytes(4, "big")


def engine(values=None, single=False, confirmed=b"\x00", pending=b"\x01\x01\x71", order=lambda asked: asked):
    """Answers of an engine's computer. values: PID -> bytes, or a function of the time. single: one PID a request."""
    values = VALUES if values is None else values

    def answers(request, time_s):
        if request[0] == 0x01:
            if request[1] % 32 == 0 and len(request) == 2:
                return [bytes((0x41, request[1])) + mask(request[1], values)]
            if request[1] == 0x01 and 1 not in values:
                return [b"\x41\x01\x01\x07\x65\x04"]
            asked = request[1:2] if single else request[1:]
            out = b"\x41"
            for pid in order(asked):
                if pid in values:
                    data = values[pid]
                    out += bytes((pid,)) + (data(time_s) if callable(data) else data)
            return [out] if len(out) > 1 else []
        if request[0] == 0x03:
            return [b"\x43" + confirmed]
        if request[0] == 0x07:
            return [b"\x47" + pending]
        if request[0] == 0x0A:
            return [b"\x4a\x00"]
        if request[0] == 0x02:
            return [bytes((0x42, request[1], 0)) + (b"\0\0" if request[1] == 2 else values.get(request[1], b"\0\0"))]
        return [bytes((0x7F, request[0], 0x11))]

    return answers


def modern(values=None, refuses=False, cleared=None):
    """Answers of a computer that speaks SAE J1979-2. refuses: says so on service 01, in place of silence. cleared: a
    list that gets the requests to clear."""
    values = VALUES if values is None else values

    def answers(request, _time_s):
        if request[0] == 0x22 and request[1] == 0xF4 and len(request) == 3:
            pid = request[2]
            if pid % 32 == 0:
                return [b"\x62\xf4" + bytes((pid,)) + mask(pid, values)]
            if pid == 0x01:
                return [b"\x62\xf4\x01\x81\x07\x65\x04"]
            return [b"\x62\xf4" + bytes((pid,)) + values[pid]] if pid in values else [b"\x7f\x22\x31"]
        if request[:2] == b"\x19\x02":
            return [b"\x59\x02\xff\x01\x71\x00\x0c\x01\x35\x00\x04"]
        if request == b"\x19\x04\x01\x71\x00\xff":
            return [FROZEN]
        if request[:2] == b"\x19\x15":
            return [b"\x59\x15\xff\x01\x71\x00\x08"]
        if request[0] == 0x14 and cleared is not None:
            cleared.append(request)
            return [b"\x54"]
        return [bytes((0x7F, request[0], 0x11))] if refuses else []

    return answers


def car(**more):
    """A car with one computer that answers in 20 ms."""
    more.setdefault("units", [Unit(0x7E8, engine())])
    return BusServer(**more)


def config(channels, ask=True, rate_hz=200, **bus):
    """A configuration with these channels, on the usual analog ones."""
    return {
        "version": 1,
        "rate_hz": rate_hz,
        "bus": {"ask": ask, **bus},
        "channels": [
            {"name": "lambda_1", "input": "a0", "kind": "lambda", "volts": [0, 5], "values": [0.6, 1.4]},
            {"name": "engine_speed", "input": "p0", "kind": "pulses", "per_rev": 2, "max_rpm": 9000},
            *channels,
        ],
    }


def obd(name, pid, **more):
    return {"name": name, "kind": "obd", "pid": pid, **more}


def run(folder, settings, bus, seconds=12.0, **more):
    """The drive of a dry run of so many seconds, 3000 rpm all the time."""
    import ringpull

    folder.mkdir(exist_ok=True)
    path = folder / "logger.json"
    path.write_text(json.dumps(settings))
    analog = [one["name"] for one in settings["channels"] if one.get("input", "p")[0] in "ax"]
    volts = folder / "volts.csv"
    lines = [",".join([str(time_s), *["2.5"] * len(analog)]) for time_s in (0, seconds)]
    volts.write_text("\n".join([",".join(["t_s", *analog]), *lines]) + "\n")
    edges = folder / "edges.csv"
    edges.write_text("t_s,input\n" + "".join(f"{n / 100:.5f},engine_speed\n" for n in range(1, int(100 * seconds))))
    dry_run(path, volts, edges, None, folder / "card", bus=bus, **more)
    return ringpull.read(folder / "card")
