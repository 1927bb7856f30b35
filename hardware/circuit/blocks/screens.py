"""Where the cables' screens end."""

from hardware.circuit.model import Block, two

SCREENS = Block(
    "screens",
    "Screens of the cables",
    (
        two("R1", "r_fusible", "10", ("SCREEN", "0"), ((0, 0), (3, 0)), "above", "opens when a screen touches 12 V"),
        two("C1", "c", "100n", ("SCREEN", "0"), ((0, -2), (3, -2)), "above", "joins them for what is fast"),
    ),
    (((-1, 0), (0, 0)), ((0, 0), (0, -2)), ((3, 0), (3, -2.5))),
    (("SCREEN", (-1, 0), "left", "all screens"),),
    grounds=((3, -2.5),),
    note="Joined at this end alone.",
)
