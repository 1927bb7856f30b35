"""Trouble codes from a block's payload, answer by answer: who answered (4 bytes), how many bytes follow, and these."""

import pytest

from ringpull.ring.values import codes

ECM, TCM, EXTENDED = 0x7E8, 0x7E9, 0x18DAF110 | 1 << 29


def payload(*answers):
    return b"".join(
        who.to_bytes(4, "little") + bytes([len(bytes.fromhex(told))]) + bytes.fromhex(told) for who, told in answers
    )


def units(*answers, more=b""):
    return codes.read(payload(*answers) + more)


def unit(told):
    (one,) = units((ECM, told))
    return one


def test_units_in_the_order_in_which_they_answered():
    told = units((TCM, "4300"), (EXTENDED, "4300"), (ECM, "4301 0171"), (TCM, "4701 0300"))
    assert [one.who for one in told] == ["7E9", "18DAF110", "7E8"]
    assert (told[0].confirmed, told[0].pending, told[0].permanent, told[0].any) == ([], ["P0300"], None, True)
    assert told[1].any is False and told[2].confirmed == ["P0171"]
    assert unit("4A01 0171").permanent == ["P0171"] and unit("4A01 0171").any and codes.read(b"") == []


def test_what_is_cut_off_or_makes_no_sense_is_left_out():
    """Zeros are the rest of a block; an answer of no byte is one that found no room; one of one byte tells nothing."""
    assert units((ECM, "4300"), more=bytes(40)) == units((ECM, "4300"))
    assert units((ECM, "4300"), more=b"\xe9\x07\0\0\5\x43\1\1\x71") == units((ECM, "4300"))
    assert units((ECM, "4300"), more=b"\xe9\x07\0\0") == units((ECM, "4300"))
    assert units((ECM, "43"), (TCM, "4300")) == units((TCM, "4300"))
    first, second = units((ECM, "4300"), (TCM, ""))
    assert (first.cut, second.cut, second.confirmed) == (False, True, None)
    assert units((0, "4300"))[0].who == "000"
    assert unit("7F 0311").any is False and unit("4302 0171").confirmed is None  # two codes, of which one is there
    for other in ("5903 00", "5900 0201", "4903 0141", "4202 00", "62F40100", "410000000000", "41010000"):
        assert unit(other) == codes.UnitCodes("7E8"), other


def test_codes_with_a_status():
    """Bit 3: confirmed, bit 2: pending."""
    told = unit("5902 FF 017100 08 030000 04 042000 0C 050000 01")
    assert told.confirmed == ["P0171", "P0420"] and told.pending == ["P0300", "P0420"] and told.permanent is None
    assert unit("5915 FF 017100 00 030000 08").permanent == ["P0171", "P0300"]
    assert unit("5902 FF 0171").confirmed is None and unit("5915 FF 0171").permanent is None


def test_the_identification_number_and_the_lamp():
    """Seventeen characters in either standard; readiness of parameter 01 and of its successor."""
    number = "41" * 17
    assert unit("4902 01" + number).vin == "A" * 17 and unit("62F802" + number + "00").vin == "A" * 17
    assert unit("4902 01" + "00" * 3 + number).vin == "A" * 17
    for told in ("4101 82070000", "62F401 82070000"):
        assert unit(told).readiness["lamp"] and unit(told).readiness["codes"] == 2, told
    assert codes.as_json(unit("4300"))["unit"] == "7E8" and "vin" not in codes.as_json(unit("4300"))
    assert codes.as_json(unit("4902 01" + number))["vin"] == "A" * 17


def test_a_freeze_frame():
    """Parameter 02 is the code, 05 the coolant's temperature less 40, 0C engine speed in quarters; of masks nothing."""
    (told,) = units((ECM, "4202 00 0171"), (ECM, "4205 00 5A"), (ECM, "420C 00 1AF8"), (ECM, "4200 00 FFFFFFFF"))
    assert told.frozen_code == "P0171" and [value for _, value, _ in told.frozen] == pytest.approx([50.0, 1726.0])
    assert unit("4202 00 0000").frozen_code == "" and unit("4202 00 01").frozen_code == ""
    frame = codes.as_json(told)["freeze_frame"]
    assert frame["code"] == "P0171" and list(frame["values"].values()) == pytest.approx([50.0, 1726.0])


def test_a_freeze_frame_of_the_later_standard():
    """The code, its failure type and state, the record's number and how many values, each behind F4 and its number."""
    told = unit("5904 017100 08 01 02 F405 5A F40C 1AF8")
    assert told.frozen_code == "P0171" and [value for _, value, _ in told.frozen] == pytest.approx([50.0, 1726.0])
    assert [value for _, value, _ in unit("5904 017100 08 01 01 F405 5A F40C 1AF8").frozen] == [50.0]
    assert [value for _, value, _ in unit("5904 017100 08 01 02 F405 5A F40C 1A").frozen] == [50.0]  # cut off
    assert [value for _, value, _ in unit("5904 017100 08 01 02 F405 5A F105 5A").frozen] == [50.0]  # no such value
    assert unit("5904 017100 08 01").frozen_code == "" and unit("5904 017100 08 01 00").frozen_code == "P0171"
    (told,) = units((ECM, "5904 017100 08 01 01 F405 5A"), (ECM, "5904 030000 08 02 01 F405 64"))
    assert told.frozen_code == "P0171" and [value for _, value, _ in told.frozen] == [50.0]  # the first record
