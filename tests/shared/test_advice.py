"""What `check` says beside mistakes: interrupts count pulses to 2000 a second. Both runtimes."""

from shared_math import config, config_advice


def told(board, channel):
    given = {"version": 1, "board": board, "channels": [channel]}
    assert config.check(given) == []
    return config_advice.advice(given)


def tach(per_rev, max_rpm):
    return {"name": "engine_speed", "input": "p0", "kind": "pulses", "per_rev": per_rev, "max_rpm": max_rpm}


def test_boards_that_count_by_interrupts_are_told_from_2000_a_second_on():
    for board in ("generic", "esp32"):
        assert told(board, tach(12, 10000)) == []  # 2000 a second
        assert [one[0] for one in told(board, tach(13, 10000))] == ["fast_for_interrupts"]
        frequency = {"name": "flow", "input": "p0", "kind": "frequency", "hz": [0, 3000], "values": [0, 100]}
        assert [one[0] for one in told(board, frequency)] == ["fast_for_interrupts"]
    assert told("rp2", tach(36, 10000)) == []


def test_advice_is_worded_with_its_place_and_number():
    sentences = config_advice.explain(told("generic", tach(36, 9000))[0])
    assert len(sentences) == 3 and "engine_speed" in sentences[0] and "5405" in sentences[0]
    assert '"board": "rp2"' in sentences[2]
