"""How long questions and answers hold the bus."""

from shared_math.obd import bus_time


def test_bits_of_a_frame():
    # Without stuffed bits 111 and 131, of which 24 and 29 more may be stuffed: the usual worst case for eight bytes
    assert bus_time.frame_bits(False) == 135 and bus_time.frame_bits(True) == 160


def test_frames_of_an_answer():
    assert [bus_time.frames(length) for length in (0, 1, 7)] == [1, 2, 2]
    # a question, a first frame with six bytes, a flow control, and seven bytes a frame
    assert [bus_time.frames(length) for length in (8, 13, 14, 20, 21)] == [4, 4, 5, 5, 6]


def test_share_of_the_time():
    assert bus_time.share(250, False, 500, 1) == 0.0675  # fifty questions a second for six parameters of one byte
    assert bus_time.share(250, False, 250, 2) == 0.0675
    assert bus_time.share(0, True, 250, 1) == 0
