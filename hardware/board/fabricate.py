"""Run by the Python that KiCad brings (`pcbnew`): fills the pours, checks, plots. Knows nothing of the project.

    python3 fabricate.py BOARD.kicad_pcb FOLDER

FOLDER gets the Gerber files, the drill files, drc.txt and netlist.json (what the board file really joins); the board
file is saved filled. Dates are taken out of what KiCad writes: the same board gives the same bytes.
"""

import json
import re
import sys
from pathlib import Path

import pcbnew

PLOTS = (
    ("F.Cu", "upper_copper.gtl"), ("B.Cu", "lower_copper.gbl"),
    ("F.Mask", "upper_mask.gts"), ("B.Mask", "lower_mask.gbs"),
    ("F.SilkS", "upper_print.gto"), ("B.SilkS", "lower_print.gbo"), ("F.Paste", "upper_paste.gtp"),
    ("Edge.Cuts", "outline.gm1"),
)  # fmt: skip
_DATE = re.compile(r"(?m)^(G04 Created by KiCad.*|%TF\.CreationDate.*|; DRILL file.*|; #@! TF\.CreationDate.*)\n")


def fill(board, path):
    pcbnew.ZONE_FILLER(board).Fill(board.Zones())
    pcbnew.SaveBoard(str(path), board)


def plot(board, folder):
    plotter = pcbnew.PLOT_CONTROLLER(board)
    options = plotter.GetPlotOptions()
    options.SetOutputDirectory(str(folder))
    options.SetPlotFrameRef(False)
    options.SetPlotValue(False)
    options.SetDrillMarksType(pcbnew.PCB_PLOT_PARAMS.NO_DRILL_SHAPE)
    options.SetUseGerberProtelExtensions(False)
    options.SetCreateGerberJobFile(False)
    options.SetSubtractMaskFromSilk(True)
    options.SetUseAuxOrigin(True)
    options.SetUseGerberX2format(True)
    options.SetGerberPrecision(6)
    for layer, name in PLOTS:
        plotter.SetLayer(board.GetLayerID(layer))
        plotter.OpenPlotfile("made", pcbnew.PLOT_FORMAT_GERBER, layer)
        made = Path(plotter.GetPlotFileName())
        plotter.PlotLayer()
        plotter.ClosePlot()
        (folder / name).write_text(_DATE.sub("", made.read_text()))
        made.unlink()


def drill(board, folder):
    writer = pcbnew.EXCELLON_WRITER(board)
    writer.SetMapFileFormat(pcbnew.PLOT_FORMAT_GERBER)
    writer.SetOptions(False, False, board.GetDesignSettings().GetAuxOrigin(), False)
    writer.SetFormat(True)
    writer.CreateDrillandMapFilesSet(str(folder), True, False)
    for made in folder.glob("*.drl"):
        name = "holes_bare.drl" if "NPTH" in made.name else "holes_plated.drl"
        (folder / name).write_text(_DATE.sub("", made.read_text()))
        made.unlink()


def netlist(board):
    """Net -> pads on it, as the board file says."""
    nets = {}
    for footprint in board.GetFootprints():
        for pad in footprint.Pads():
            if pad.GetNetname():
                nets.setdefault(pad.GetNetname(), set()).add((footprint.GetReference(), pad.GetName()))
    return {net: sorted(ends) for net, ends in sorted(nets.items())}


def main():
    path, folder = Path(sys.argv[1]), Path(sys.argv[2])
    folder.mkdir(parents=True, exist_ok=True)
    board = pcbnew.LoadBoard(str(path))
    fill(board, path)
    board = pcbnew.LoadBoard(str(path))
    plot(board, folder)
    drill(board, folder)
    board.BuildConnectivity()
    unconnected = board.GetConnectivity().GetUnconnectedCount()
    pcbnew.WriteDRCReport(board, str(folder / "drc.txt"), pcbnew.EDA_UNITS_MILLIMETRES, True)
    told = {"version": pcbnew.GetBuildVersion(), "unconnected": unconnected, "nets": netlist(board)}
    (folder / "netlist.json").write_text(json.dumps(told, indent=1))


main()
