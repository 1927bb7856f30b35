"""How the car's bus is, as the column `bus_state` tells: a number. Its sentence: bus_words.py."""

SILENT = 0
LISTENING = 1
ASKING = 2
ANSWERED = 3
NO_CAR = 4
OTHER_TESTER = 5
ASLEEP = 6
ERRORS = 7
REFUSES = 8
NO_CHIP = 9
