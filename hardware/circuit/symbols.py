"""Symbols whose pins lie on grid points, so that what is drawn is what is connected."""

from __future__ import annotations

from schemdraw import elements as elm
from schemdraw.segments import Segment, SegmentCircle, SegmentPoly


class Transistor(elm.Element):
    """Bipolar: base bar at the left, upper pin (0, 1), lower (0, -1), base (-1, 0). arrow: "in" (PNP) or "out"
    (NPN)."""

    def __init__(self, kind: str, flip: bool, **kwargs):
        super().__init__(**kwargs)
        s = -1 if flip else 1
        bar = -0.45 * s
        self.segments.append(Segment([(-s, 0), (bar, 0)]))
        self.segments.append(Segment([(bar, 0.4), (bar, -0.4)], lw=3))
        self.segments.append(Segment([(bar, 0.15), (0, 0.5), (0, 1)]))
        self.segments.append(Segment([(bar, -0.15), (0, -0.5), (0, -1)]))
        if kind == "npn":
            self.segments.append(Segment([(bar, -0.15), (0, -0.5)], arrow="->", arrowwidth=0.18, arrowlength=0.22))
        else:
            self.segments.append(Segment([(0, 0.5), (bar, 0.15)], arrow="->", arrowwidth=0.18, arrowlength=0.22))
        self.segments.append(SegmentCircle((-0.22 * s, 0), 0.62))


class ChannelFet(elm.Element):
    """P-channel MOSFET lying down: source left (0, 0), drain right (3, 0), gate below (1.5, -0.8), body diode above."""

    def __init__(self, **kwargs):
        super().__init__(**kwargs)
        for x in (0.6, 1.3, 2.0):
            self.segments.append(Segment([(x, -0.35), (x + 0.4, -0.35)], lw=3))
        self.segments.append(Segment([(0.8, -0.55), (2.2, -0.55)]))
        self.segments.append(Segment([(1.5, -0.55), (1.5, -0.8)]))
        self.segments.append(Segment([(0, 0), (0.8, 0), (0.8, -0.35)]))
        self.segments.append(Segment([(3, 0), (2.2, 0), (2.2, -0.35)]))
        self.segments.append(Segment([(0.8, 0), (1.5, 0)]))
        self.segments.append(Segment([(1.5, -0.35), (1.5, 0)], arrow="->", arrowwidth=0.18, arrowlength=0.2))
        self.segments.append(Segment([(0.8, 0), (0.8, 0.5), (1.3, 0.5)]))
        self.segments.append(Segment([(2.2, 0), (2.2, 0.5), (1.65, 0.5)]))
        self.segments.append(SegmentPoly([(1.65, 0.68), (1.65, 0.32), (1.35, 0.5)], closed=True, fill="black"))
        self.segments.append(Segment([(1.33, 0.7), (1.33, 0.3)]))


TWO_PINS = {
    "resistor": elm.ResistorIEC,
    "capacitor": elm.Capacitor,
    "electrolytic": elm.Capacitor2,
    "diode": elm.Diode,
    "schottky": elm.Schottky,
    "zener": elm.Zener,
    "suppressor": elm.DiodeTVS,
    "led": elm.LED,
    "button": elm.Button,
    "switch": elm.Switch,
    "fuse": elm.FuseIEC,
    "crystal": elm.Crystal,
}
