"""fatmap's loop over the table, compiled. Importing this raises SyntaxError on ports without the native emitter."""

import micropython


@micropython.viper
def follow(table: ptr8, at: int, end: int, cluster: int, wide: bool) -> int:
    run = 1
    while at + run < end:
        entry = at + run - 1
        if wide:
            entry *= 4
            following = table[entry] | table[entry + 1] << 8 | table[entry + 2] << 16 | (table[entry + 3] & 15) << 24
        else:
            entry *= 2
            following = table[entry] | table[entry + 1] << 8
        if following != cluster + run:
            break
        run += 1
    return run
