"""What the PC, the checks and the firmware need to know of each board."""

# Inputs of a board's own, as firmware/boards/wiring.py has them
INPUTS = {
    "rp2": ("a0", "a1", "a2", "a3", "p0", "p1", "d0"),
    "esp32": ("a0", "a1", "a2", "a3", "p0", "p1", "d0"),
}
