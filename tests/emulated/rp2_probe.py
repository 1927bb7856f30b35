"""Runs on the emulated RP2040 as main.py: its edge stamps, its converter's ring and its hard timer, without the rest.

Says one JSON line a finding and then END.
"""

import gc
import json
import time
from array import array

import machine

from drivers import dma_ring, pio_edges, rp2_adc, rp2_chip, viper_edges

ROWS = 140
WIDE = 11


def say(name, value):
    print(json.dumps([name, value]))


say("words", [list(program[0]) for program in (pio_edges.rising, pio_edges.falling)])
say("loops", [program[4] for program in (pio_edges.rising, pio_edges.falling)])

# The converter with a counter that runs out every 512 transfers, the ring's length: two dozen times in this run
long = dma_ring.MOST
dma_ring.MOST = 512
converter = rp2_adc.Converter(rp2_chip.of("rp2"), 1000)  # kept, as a board does: its DMA ends with it
means = converter.means([(7, 0), (8, 1), (9, 2), (10, 3)])
dma_ring.MOST = long

tachs = []
for number, polarity in enumerate(("rising", "falling")):
    stamper = pio_edges.Stamper(number, machine.Pin(15, machine.Pin.IN), polarity)
    ring = dma_ring.DmaRing(stamper.fifo, stamper.dreq, 2, 11)
    start = stamper.start(viper_edges.go, rp2_chip.of("rp2").timer_raw)
    tachs.append(viper_edges.EdgeRing(ring.buffer, ring.left, 60, machine.freq() // 1000000, 4, start))
    tachs.append(ring)
rises, falls = tachs[0], tachs[2]
rises.forget()
falls.forget()
rows = array("i", bytes(4 * WIDE * ROWS))
taken = 0


def take(_timer):
    global taken
    if taken == ROWS:
        return
    at = WIDE * taken
    now = time.ticks_us()
    rows[at] = now
    rises.put(rows, at + 1, now)
    falls.put(rows, at + 4, now)
    means.put(rows, at, now)
    taken += 1


timer = machine.Timer(-1)
timer.init(period=2000, tick_hz=1000000, mode=machine.Timer.PERIODIC, callback=take, hard=True)
time.sleep_ms(30)
with open("/erase.bin", "wb") as f:
    f.write(bytes(6000))
while taken < ROWS:
    machine.idle()
timer.deinit()
for n in range(ROWS):
    say("row", list(rows[WIDE * n : WIDE * n + WIDE]))

cells = array("i", bytes(64))
put, walk, ticks = means.put, rises.put, time.ticks_us
put(cells, 0, 0)
walk(cells, 0, ticks())
gc.collect()
before = gc.mem_alloc()
put(cells, 0, 0)
walk(cells, 0, 5)
after = gc.mem_alloc()
empty = gc.mem_alloc()
say("allocated", [after - before, empty - after])
walk(cells, 0, ticks())
first = ticks()
put(cells, 0, 0)
second = ticks()
walk(cells, 0, second)
third = ticks()
say("cost_us", [second - first, third - second, ticks() - third])
print("END")
