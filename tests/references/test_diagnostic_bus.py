"""The diagnostic bus against other people's libraries: values, codes, and messages over a virtual bus."""

import sys
import threading
import time

import pytest

from shared_math import obd
from shared_math.obd import codes, pids, status, transport

# Parameters that a library reads otherwise than J1979's table: python-OBD the sign of two vapour pressures; scapy one
# byte of the air flow, and no offset of the pumped sensors' currents (41 34 7B D1 7F CC is -0.203125 mA)
PYTHON_OBD_DIFFERS = (0x32, 0x54)
SCAPY_DIFFERS = (0x10, *range(0x34, 0x3C))
TRIES = (bytes(8), bytes((1, 2, 3, 4, 5, 6, 7, 8)), bytes((0x1A, 0xF8, 0x7F, 0xCC, 9, 8, 7, 6)), bytes([255] * 8))


def python_obd(monkeypatch):
    """The library. It imports a unit library, which would take MicroPython's folder `mip` for a solver of that name."""
    monkeypatch.setitem(sys.modules, "mip", None)
    return pytest.importorskip("obd", reason="python-OBD is not installed (extra: references)")


def test_values_agree_with_python_obd(monkeypatch):
    theirs = python_obd(monkeypatch)
    from obd.protocols.protocol import Message

    compared = 0
    for pid in pids.scalable():
        if not theirs.commands.has_pid(1, pid) or 0x14 <= pid < 0x1C or pid in PYTHON_OBD_DIFFERS:
            continue
        length, parts = pids.described(pid)
        for data in TRIES:
            message = Message([])
            message.data = bytearray(bytes((0x41, pid)) + data[:length])
            value = theirs.commands[1][pid].decode([message])
            magnitude = getattr(value, "magnitude", None)
            if magnitude is None:
                continue
            compared += 1
            ours = [pids.scaled(part, pids.raw_of(part, data)) for part in parts]
            # Of a parameter with two values it gives one; units of its own for some
            assert any(_same(magnitude, one) for one in ours), (hex(pid), data.hex(), magnitude, ours)
    assert compared > 150


def _same(theirs, ours):
    return any(theirs * scale == pytest.approx(ours, abs=0.02, rel=1e-3) for scale in (1, 1e-3, 1000))


def test_values_agree_with_scapy():
    scapy = pytest.importorskip("scapy.contrib.automotive.obd.obd", reason="scapy is not installed (extra: references)")
    compared = 0
    for pid in pids.scalable():
        if pid in SCAPY_DIFFERS:
            continue
        length, parts = pids.described(pid)
        for data in TRIES[:3]:
            packet = scapy.OBD(bytes((0x41, pid)) + data[:length])
            try:
                record = packet.data_records[0]
            except (AttributeError, IndexError):
                continue
            fields = [value for value in record.payload.fields.values() if isinstance(value, (int, float))]
            if len(fields) != len(parts):
                continue
            compared += 1
            for value, part in zip(fields, parts, strict=True):
                assert value == pytest.approx(pids.scaled(part, pids.raw_of(part, data)), abs=0.01, rel=2e-3), hex(pid)
    assert compared > 100


def test_codes_agree_with_scapy():
    scapy = pytest.importorskip("scapy.contrib.automotive.obd.obd", reason="scapy is not installed (extra: references)")
    for pair in ("0135", "0171", "C100", "4233", "9234"):
        packet = scapy.OBD(bytes.fromhex("4301" + pair))
        theirs = packet.dtcs[0]
        code = codes.name(*bytes.fromhex(pair))
        letters = "PCBU"[theirs.location]
        assert code == f"{letters}{theirs.code1}{theirs.code2:X}{theirs.code3:X}{theirs.code4:X}"


def test_masks_and_readiness_agree_with_python_obd(monkeypatch):
    theirs = python_obd(monkeypatch)
    from obd.protocols.protocol import Message

    for data in (bytes.fromhex("81076504"), bytes.fromhex("000FFF00"), bytes.fromhex("7F77FFFF")):
        message = Message([])
        message.data = bytearray(b"\x41\x01" + data)
        told = theirs.commands[1][1].decode([message])
        mine = status.readiness(data)
        assert (told.MIL, told.DTC_count, told.ignition_type) == (mine["lamp"], mine["codes"], mine["ignition"])
        known = {"MISFIRE_MONITORING": "misfire", "CATALYST_MONITORING": "catalyst"}
        known |= {"EVAPORATIVE_SYSTEM_MONITORING": "evaporative system", "OXYGEN_SENSOR_MONITORING": "oxygen sensor"}
        for name, own in known.items():
            test = getattr(told, name)
            if test and test.available:
                assert test.complete == mine["monitors"][own]


@pytest.mark.parametrize("block", [0, 3])
@pytest.mark.parametrize("separation", [0, 2])
def test_messages_to_and_from_can_isotp(block, separation):
    can = pytest.importorskip("can", reason="python-can is not installed (extra: references)")
    isotp = pytest.importorskip("isotp", reason="can-isotp is not installed (extra: references)")
    channel = f"ringpull {block} {separation}"
    theirs = can.Bus(interface="virtual", channel=channel)
    ours = can.Bus(interface="virtual", channel=channel)
    address = isotp.Address(isotp.AddressingMode.Normal_11bits, txid=0x7E8, rxid=0x7E0)
    params = {"blocksize": block, "stmin": separation, "tx_padding": 0x55}
    stack = isotp.CanStack(theirs, address=address, params=params)
    payloads = [bytes(n * 7 + size & 255 for n in range(size)) for size in (1, 7, 8, 20, 62, 300)]
    stack.start()
    try:
        for payload in payloads:  # theirs to ours
            stack.send(payload)
            frames = _collected(can, ours, payload, block)
            assert obd.payloads(frames) == [(0x7E8, payload)]
        for payload in payloads:  # ours to theirs
            _deliver(can, ours, payload)
            assert stack.recv(block=True, timeout=10) == payload
    finally:
        stack.stop()
        theirs.shutdown()
        ours.shutdown()


def _collected(can, bus, payload, block):
    frames = []
    since = 0
    while not obd.payloads(frames):
        message = bus.recv(10)
        assert message is not None
        if message.arbitration_id != 0x7E8:
            continue
        frames.append((0x7E8, bytes(message.data)))
        kind = message.data[0] >> 4
        since += kind == 2
        if kind == 1 or (kind == 2 and block and since == block):
            since = 0
            flow = transport.flow_control(transport.GO_ON, block, 0)
            bus.send(can.Message(arbitration_id=0x7E0, data=flow, is_extended_id=False))
    return frames


def _deliver(can, bus, payload):
    sender = transport.Sender()
    sender.begin(payload)
    while sender.busy():
        now = time.monotonic_ns() // 1000
        frame = sender.frame(now)
        if frame:
            bus.send(can.Message(arbitration_id=0x7E0, data=frame, is_extended_id=False))
            continue
        message = bus.recv(0.001)
        if message is not None and message.data[0] >> 4 == 3:
            sender.flow(bytes(message.data), time.monotonic_ns() // 1000)
    assert not sender.failed


def test_requests_reach_udsoncan_whole():
    can = pytest.importorskip("can", reason="python-can is not installed (extra: references)")
    isotp = pytest.importorskip("isotp", reason="can-isotp is not installed (extra: references)")
    pytest.importorskip("udsoncan", reason="udsoncan is not installed (extra: references)")
    from udsoncan.client import Client
    from udsoncan.connections import PythonIsoTpConnection

    theirs = can.Bus(interface="virtual", channel="ringpull uds")
    ours = can.Bus(interface="virtual", channel="ringpull uds")
    address = isotp.Address(isotp.AddressingMode.Normal_11bits, txid=0x7E0, rxid=0x7E8)
    connection = PythonIsoTpConnection(isotp.CanStack(theirs, address=address))
    answer = bytes.fromhex("5902FF0171002F01350008C10000 2F".replace(" ", ""))
    answers = threading.Thread(target=_answer_one, args=(can, ours, answer), daemon=True)
    answers.start()
    try:
        with Client(connection, request_timeout=10) as client:
            reply = client.get_dtc_by_status_mask(0xFF)
        told = [(dtc.id, dtc.status.get_byte_as_int()) for dtc in reply.service_data.dtcs]
        mine = codes.listed_with_status(answer[2:])
        assert [(code, kind, state) for code, kind, state in mine] == [
            (codes.name(number >> 16, number >> 8 & 255), number & 255, state) for number, state in told
        ]
    finally:
        answers.join(10)
        theirs.shutdown()
        ours.shutdown()


def test_a_freeze_frame_of_the_later_standard_reads_as_with_udsoncan():
    pytest.importorskip("udsoncan", reason="udsoncan is not installed (extra: references)")
    from udsoncan import DidCodec, Response
    from udsoncan.services import ReadDTCInformation

    from ringpull.ring.values import codes as ours

    class Bytes(DidCodec):
        def __init__(self, length):
            self.length = length

        def decode(self, payload):
            return payload

        def __len__(self):
            return self.length

    values = {0x0C: b"\x1a\xf8", 0x05: b"\x7b", 0x44: b"\x73\x33", 0x0F: b"\x46"}
    answer = bytes.fromhex("04 017100 2f 01") + bytes((len(values),))
    answer += b"".join(bytes((0xF4, pid)) + data for pid, data in values.items())
    config = {0xF400 | pid: Bytes(len(data)) for pid, data in values.items()}
    reply = Response(ReadDTCInformation, Response.Code.PositiveResponse, answer)
    ReadDTCInformation.interpret_response(reply, 4, dtc_snapshot_did_size=2, didconfig=config)
    (dtc,) = reply.service_data.dtcs
    theirs = {snapshot.did & 0xFF: snapshot.data for snapshot in dtc.snapshots}
    assert theirs == values
    (unit,) = ours.read((0x7E8).to_bytes(4, "little") + bytes((1 + len(answer),)) + b"\x59" + answer)
    assert unit.frozen_code == codes.name(dtc.id >> 16, dtc.id >> 8 & 255)
    told = [one for pid, data in theirs.items() for one in status.values(pid, data)]
    assert unit.frozen == told and len(told) == 4


def _answer_one(can, bus, answer):
    sender = transport.Sender()
    message = bus.recv(10)
    assert obd.payloads([(message.arbitration_id, bytes(message.data))]) == [(0x7E0, b"\x19\x02\xff")]
    sender.begin(answer)
    while sender.busy():
        now = time.monotonic_ns() // 1000
        frame = sender.frame(now)
        if frame:
            bus.send(can.Message(arbitration_id=0x7E8, data=frame, is_extended_id=False))
            continue
        message = bus.recv(0.001)
        if message is not None:
            sender.flow(bytes(message.data), time.monotonic_ns() // 1000)
