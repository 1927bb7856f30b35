"""Values from the car's bus as the rows take them: compiled and plain code agree, nothing is allocated."""

import micropython

from acquire import bus_columns, viper_bus
from shared_math.compat import zeros

NOW = 0x3FFFFF00  # the tick wraps soon


def both():
    return bus_columns.BusColumns(3), viper_bus.ViperBusColumns(3)


def test_values_ages_and_state_agree():
    wide = 3 + 3 + 3
    for grid in (NOW, 200, 131070000, 131071001, 200000000):
        rows = []
        for one in both():
            one.hold(0, 1726, NOW)
            one.hold(1, 99, (NOW + 3000) & 0x3FFFFFFF)
            one.tripped(20400)
            one.lost = 70000
            one.state = 3
            cells = zeros(wide + 2)
            assert one.put(cells, 1, grid)
            rows.append(list(cells))
        assert rows[0] == rows[1] and rows[0][0] == rows[0][-1] == 0
        assert rows[0][1:4] == [1726, 99, 0] and rows[0][6] == 131071 and rows[0][7:10] == [20, 70000 & 0xFFFF, 3]
        age = ((grid - NOW) & 0x3FFFFFFF) // 1000
        assert rows[0][4] == min(age, 131071) and rows[0][5] == max(0, min(age - 3, 131071)), rows


def test_what_is_old_stays_old():
    one = bus_columns.columns(1)
    cells = zeros(5)
    one.hold(0, 5, 0)
    one.look(140000000)
    one.put(cells, 0, 100)  # the tick has come round
    assert cells[1] == 131071
    one.hold(0, 6, 50)
    one.put(cells, 0, 1100)
    assert cells[0] == 6 and cells[1] == 1


def test_the_row_path_allocates_nothing():
    for one in both():
        cells = zeros(9)
        one.hold(1, 7, 3)
        micropython.heap_lock()
        try:
            for grid in range(0, 5000, 100):
                one.put(cells, 0, grid)
        finally:
            micropython.heap_unlock()
