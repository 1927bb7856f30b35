"""Values, codes and transport of the car's diagnostic bus, against worked examples printed outside the project."""

from shared_math import obd
from shared_math.obd import codes, pids, refusals, replies, status, transport


def unhex(text):
    text = text.replace(" ", "")
    return bytes([int(text[at : at + 2], 16) for at in range(0, len(text), 2)])


def close(value, wanted):
    return abs(value - wanted) < 1e-5 * max(1, abs(wanted))


def test_worked_values():
    # SAE J1979 / ISO 15031-5 scalings, public copies of the tables
    for pid, data, wanted in (
        (0x0C, "1A F8", (1726,)),
        (0x44, "73 33", (0.899994,)),
        (0x43, "00 C8", (78.43137,)),
        (0x34, "7B D1 7F CC", (0.967316, -0.203125)),
        (0x24, "80 00 40 00", (1.0, 2.0)),
        (0x05, "5A", (50,)),
        (0x06, "80", (0,)),
        (0x07, "00", (-100,)),
        (0x0E, "90", (8,)),
        (0x10, "01 F4", (5.0,)),
        (0x14, "5A 80", (0.45, 0)),
        (0x14, "5A FF", (0.45,)),
        (0x32, "FF FC", (-1.0,)),
        (0x3C, "11 94", (410.0,)),
        (0x42, "36 B0", (14.0,)),
        (0x5E, "00 14", (1.0,)),
    ):
        got = [one[1] for one in obd.values(pid, unhex(data))]
        assert len(got) == len(wanted) and all([close(a, b) for a, b in zip(got, wanted)]), (pid, got)


def test_too_few_bytes_and_unknown_parameters_say_nothing():
    assert obd.values(0x0C, b"\x1a") == [] and obd.values(0xEE, b"\1\2\3\4") == []
    assert obd.values(0x0D, b"\x32\xaa\xaa") == [("road_speed", 50.0, "km/h")]  # padding behind it


def test_masks_and_readiness():
    mask = unhex("BE1FA813")
    wanted = [1, 3, 4, 5, 6, 7, 0x0C, 0x0D, 0x0E, 0x0F, 0x10, 0x11, 0x13, 0x15, 0x1C, 0x1F, 0x20]
    assert status.supported(0, mask) == wanted
    told = status.readiness(unhex("81 07 65 04"))
    assert told["lamp"] and told["codes"] == 1 and told["ignition"] == "spark"
    assert [name for name in told["monitors"] if not told["monitors"][name]] == ["evaporative system"]
    assert status.readiness(unhex("00 0F FF 00"))["ignition"] == "compression"


def test_codes_of_the_mixture_and_no_others():
    assert codes.mixture("P0171") == (1, True) and codes.mixture("P0175") == (2, False)
    assert codes.mixture("P0170") is None and codes.mixture("P1171") is None
    assert "too lean in closed loop, bank 2" in codes.text("P0174")


def test_every_part_has_a_name_of_its_own_and_is_found_by_it():
    names = pids.names()
    assert len(names) == len(set(names)) > 100
    for name in names:
        pid, part = pids.found(name)
        assert part[0] == name and part in pids.described(pid)[1]


def test_codes():
    for pair, wanted in (
        ("0135", "P0135"),
        ("0171", "P0171"),
        ("C100", "U0100"),
        ("4233", "C0233"),
        ("9234", "B1234"),
        ("0A1F", "P0A1F"),
    ):
        assert codes.name(*unhex(pair)) == wanted
    assert codes.listed(unhex("02 0171 0135")) == ["P0171", "P0135"]
    assert codes.listed(unhex("02 0171 01")) is None and codes.listed(b"") is None
    assert codes.listed(b"\0") == []
    assert codes.listed_with_status(unhex("FF 0171 00 2F")) == [("P0171", 0, 0x2F)]
    assert codes.listed_with_status(unhex("FF 0171 00")) is None
    assert codes.makers("P1234") and codes.makers("P3123") and not codes.makers("P3456")
    for letter in "PCBU":
        for first in "0123":
            assert codes.text(letter + first + "1A2")


def test_vehicle_number_exchange():
    # The exchange of a VIN as can-isotp made it over a virtual bus
    frames = [
        (0x7E0, unhex("02 09 02 00 00 00 00 00")),
        (0x7E8, unhex("10 14 49 02 01 31 4D 38")),
        (0x7E0, unhex("30 00 00 00 00 00 00 00")),
        (0x7E8, unhex("21 47 44 4D 39 41 58 4B")),
        (0x7E8, unhex("22 50 30 34 32 37 38 38")),
    ]
    assert obd.payloads(frames) == [(0x7E0, b"\x09\x02"), (0x7E8, b"\x49\x02\x01" + b"1M8GDM9AXKP042788")]


def test_units_are_told_apart_and_damaged_messages_left_out():
    first = [(0x7E8, unhex("100A410001020304")), (0x7EA, unhex("100A41AA01020304"))]
    mixed = first + [(0x7EA, unhex("2105060708AAAAAA")), (0x7E8, unhex("2105060708"))]
    assert [who for who, _ in obd.payloads(mixed)] == [0x7EA, 0x7E8]
    assert obd.payloads(mixed[:1] + [(0x7E8, unhex("2205060708AAAAAA"))]) == []  # the wrong number
    assert obd.payloads([(0x7E8, unhex("2105060708AAAAAA"))]) == []  # orphaned
    assert obd.payloads(mixed[:1] + [(0x7E8, unhex("21050607"))]) == []  # cut short
    for strange in ("", "00", "08 1 2".replace(" ", "0"), "0341", "1007410000000000", "100A4100", "4F", "FF" * 9):
        assert obd.payloads([(0x7E8, unhex(strange))]) == [], strange


def test_a_doubled_frame_does_not_end_a_message():
    frames = [unhex("10 10 01 02 03 04 05 06"), unhex("21 07 08 09 0A 0B 0C 0D"), unhex("22 0E 0F 10")]
    unit = transport.Receiver(64)
    got = [unit.take(data, len(data)) for data in (frames[0], frames[1], frames[1], frames[2])]
    assert got == [transport.FIRST, 0, 0, transport.WHOLE] and unit.counts[transport.DOUBLED] == 1
    assert bytes(unit.payload[: unit.length]) == bytes(range(1, 17))


def test_a_message_longer_than_the_buffer_is_told_at_once():
    unit = transport.Receiver(16)
    assert unit.take(unhex("1011010203040506"), 8) == transport.TOO_LONG
    assert unit.take(unhex("2107080900000000"), 8) == 0
    assert unit.counts[transport.LONG] == 1 and unit.counts[transport.ORPHANED] == 1


def test_separation_times():
    # ISO 15765-2: 00-7F ms, F1-F9 100-900 us, what is reserved counts as the longest
    assert [transport.separation_us(byte) for byte in (0, 1, 0x7F, 0xF1, 0xF9)] == [0, 1000, 127000, 100, 900]
    assert transport.separation_us(0x80) == transport.separation_us(0xF0) == transport.separation_us(0xFA) == 127000


def test_sending_in_blocks_with_waits():
    sender = transport.Sender()
    sender.begin(bytes(range(30)))
    assert sender.frame(0) == unhex("101E000102030405") and sender.frame(1) is None
    sender.flow(transport.flow_control(transport.WAIT), 50000)
    assert sender.frame(100000) is None and not sender.failed
    sender.flow(transport.flow_control(transport.GO_ON, 2, 10), 100000)
    assert sender.frame(100000)[0] == 0x21 and sender.frame(105000) is None
    assert sender.frame(110000)[0] == 0x22 and sender.frame(130000) is None
    sender.flow(transport.flow_control(), 140000)
    assert [sender.frame(140000)[0], sender.frame(140000)[0]] == [0x23, 0x24] and not sender.busy()
    sender.begin(bytes(30))
    sender.frame(0)
    assert sender.frame(transport.N_BS_US + 1) is None and sender.failed and not sender.busy()
    sender.begin(bytes(30))
    sender.frame(0)
    sender.flow(transport.flow_control(transport.OVERFLOW), 10)
    assert sender.failed


def test_replies_to_six_at_once():
    lengths = {pid: pids.length_of(pid) or 0 for pid in (0x0C, 0x0D, 0x05, 0x34, 0x77)}
    out = [0] * 3
    asked = (0x0C, 0x0D, 0x05)

    def found(text):
        data = unhex(text)
        return replies.places(data, len(data), asked, 3, lengths, out)

    assert found("41 0C 1AF8 0D 32 05 5A") == 3 and out == [2, 5, 7]
    assert found("41 05 5A 0C 1AF8") == 2 and out == [4, 0, 2]  # reordered and short
    for void in ("41", "7F 01 12", "41 0C 1A", "41 0B 10", "41 0D 32 0D 33", "41 0D 32 00", "01 0D 32", "41 0D"):
        assert found(void) == -1, void
    alone = [0]
    assert replies.places(unhex("41770102030405"), 7, (0x77,), 1, lengths, alone) == 1 and alone == [2]


def test_a_reply_of_the_later_standard():
    lengths = bytearray(256)
    lengths[0x0C] = 2
    out = [7] * 6
    assert replies.places(b"\x62\xf4\x0c\x1a\xf8", 5, b"\x0c", 1, lengths, out) == 1 and out[0] == 3
    for data in (b"\x62\xf4\x0d\x1a\xf8", b"\x62\xf5\x0c\x1a\xf8", b"\x62\xf4\x0c\x1a", b"\x62\xf4\x0c\x1a\xf8\0"):
        assert replies.places(data, len(data), b"\x0c", 1, lengths, out) == -1
    assert replies.places(b"\x62\xf4\x0c\x1a\xf8", 5, b"\x0c\x0d", 2, lengths, out) == -1


def test_every_parameter_can_be_found_by_its_name_number_and_digits():
    names = {}
    for pid in pids.scalable():
        length, parts = pids.described(pid)
        assert pids.length_of(pid) == length
        for part in parts:
            assert part[0] not in names
            names[part[0]] = pid
            assert pids.found(part[0]) == (pid, part) and pids.found("%02x" % pid, part[0]) == (pid, part)
            assert part[1] + part[2] <= length and part[2] <= 2
            whole = (1 << 8 * part[2]) - 1
            for data in (bytes(length), bytes([255] * length)):
                assert 0 <= pids.raw_of(part, data) <= whole
    assert pids.found(12)[0] == 12 and pids.found(True) is None and pids.found("zz") is None
    assert pids.found("nothing") is None and pids.found(0x00) is None and pids.found(300) is None


def test_refusals_have_words():
    for reason in range(256):
        assert refusals.refusal(reason)
