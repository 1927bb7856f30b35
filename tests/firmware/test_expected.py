"""Channels that must always read the same. Runs under MicroPython."""

from acquire import expected, rows


def filled(values):
    queue = rows.RowQueue(3, 8)
    for value in values:
        at = queue.at_head()
        queue.cells[at + 2] = value
        queue.head += 1
    return queue


def test_out_of_range_at_two_looks_is_told_and_once_is_not():
    watched = expected.Expected([(2, 100, 110)])
    assert not watched.look(filled([50, 105]))
    assert not watched.look(filled([105, 111]))
    assert not watched.look(filled([100]))
    assert not watched.look(filled([99]))
    assert watched.look(filled([99]))
    assert watched.look(filled([300]))
    assert not watched.look(filled([110]))


def test_nothing_expected_is_never_off():
    watched = expected.Expected([])
    assert not watched.look(filled([5])) and not watched.look(filled([5]))
