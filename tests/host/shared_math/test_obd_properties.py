"""Any splitting, loss, doubling, interleaving and waiting of messages on the diagnostic bus."""

from hypothesis import given
from hypothesis import strategies as st
from property_examples import examples

from shared_math import obd
from shared_math.obd import pids, replies, transport

PAYLOADS = st.binary(min_size=1, max_size=300)
FLOWS = st.tuples(st.integers(0, 15), st.sampled_from([0, 1, 5, 127, 0xF1, 0xF9, 0x80]), st.integers(0, 3))


def sent(payload, flow=(0, 0, 0), padding=0xAA):
    """[(time_us, frame)] of a message whose receiver answers with this block size, separation and so many waits."""
    block, separation, waits = flow
    sender = transport.Sender(padding)
    sender.begin(payload)
    frames = [(0, sender.frame(0))]
    now, since = 0, 0
    while sender.busy():
        frame = sender.frame(now)
        if frame:
            frames.append((now, frame))
            since += 1
            continue
        if len(frames) == 1 or (block and since and since % block == 0 and now >= frames[-1][0]):
            for _ in range(waits):
                now += 70_000
                sender.flow(transport.flow_control(transport.WAIT), now)
                assert sender.frame(now) is None
            sender.flow(transport.flow_control(transport.GO_ON, block, separation), now)
        now += 100
    return frames


@given(PAYLOADS, FLOWS, st.sampled_from([None, 0, 0x55, 0xAA, 0xCC, 0xFF]))
@examples(60)
def test_what_is_cut_is_put_together_again(payload, flow, padding):
    frames = sent(payload, flow, padding)
    assert obd.payloads([(1, frame) for _, frame in frames]) == [(1, payload)]
    gaps = [b[0] - a[0] for a, b in zip(frames[1:], frames[2:], strict=False)]
    assert all(gap >= transport.separation_us(flow[1]) for gap in gaps)


@given(st.lists(PAYLOADS, min_size=8, max_size=8), st.randoms(use_true_random=False))
@examples(40)
def test_eight_units_interleaved(payloads, random):
    queues = [[(0x7E8 + n, frame) for _, frame in sent(payload)] for n, payload in enumerate(payloads)]
    mixed = []
    while any(queues):
        queue = random.choice([one for one in queues if one])
        mixed.append(queue.pop(0))
    assert sorted(obd.payloads(mixed)) == sorted((0x7E8 + n, payload) for n, payload in enumerate(payloads))


@given(st.lists(PAYLOADS, min_size=1, max_size=5), st.data())
@examples(100)
def test_loss_and_doubling_in_one_message_hurt_no_other(payloads, data):
    # Where two messages in a row lose the right frames, the transport alone can't tell: who asks forgets what is begun
    frames = [[frame for _, frame in sent(payload)] for payload in payloads]
    which = data.draw(st.integers(0, len(payloads) - 1))
    count = len(frames[which])
    fates = data.draw(st.lists(st.sampled_from([0, 1, 1, 1, 1, 2]), min_size=count, max_size=count))
    frames[which] = [frame for frame, fate in zip(frames[which], fates, strict=True) for _ in range(fate)]
    got = [payload for _, payload in obd.payloads([(1, frame) for listed in frames for frame in listed])]
    others = payloads[:which] + payloads[which + 1 :]
    mine = got[which : len(got) - len(others) + which]
    assert got[:which] + got[which + len(mine) :] == others
    assert mine in ([], [payloads[which]]) or (count == 1 and mine == [payloads[which]] * 2)
    assert 0 in fates or mine


@given(st.binary(max_size=64), st.lists(st.sampled_from(pids.scalable()), min_size=1, max_size=6, unique=True))
@examples(300)
def test_no_reply_passes_for_another_parameter(data, asked):
    lengths = {pid: pids.length_of(pid) for pid in asked}
    out = [0] * len(asked)
    count = replies.places(data, len(data), asked, len(asked), lengths, out)
    if count < 0:
        return
    assert data[0] == 0x41 and count == sum(1 for at in out if at)
    for pid, at in zip(asked, out, strict=True):
        if at:
            assert data[at - 1] == pid and at + lengths[pid] <= len(data)
    assert 1 + sum(1 + lengths[pid] for pid, at in zip(asked, out, strict=True) if at) == len(data)


@given(st.integers(0, 255), st.binary(max_size=12))
@examples(300)
def test_values_of_anything_are_numbers_or_words(pid, data):
    for name, value, unit in obd.values(pid, data):
        assert name and isinstance(unit, str) and isinstance(value, (int, float, bool, str))


@given(st.lists(st.tuples(st.integers(0x7E8, 0x7EA), st.binary(max_size=10)), max_size=40))
@examples(200)
def test_any_frames_stop_nothing(frames):
    for _, payload in obd.payloads(frames):
        assert payload
