"""Kernel time of one move of each panel, recomputation included (budget 25 ms on two cores)."""

from itertools import cycle
from pathlib import Path

import pytest

from rfcal.record.job.compute import compute
from rfcal.workbook import lesson as workbook
from rfcal.workbook import lines as line_panels
from rfcal.workbook import matching as match_panel
from rfcal.workbook import uncertainty as doubt_panel

DEMO = Path(__file__).parents[2] / "data" / "demo"


def plane_panel():
    results = compute(DEMO / "tower-line")
    return line_panels.plane_panel(results, "antenna", results.line.properties.line)


PANELS = {
    "cable": workbook.cable_panel,
    "standards": lambda: workbook.standards_panel(compute(DEMO / "beacon-antenna"), "antenna"),
    "loss": line_panels.blind_panel,
    "plane": plane_panel,
    "standing wave": line_panels.standing_panel,
    "fault": line_panels.fault_panel,
    "match": lambda: match_panel.match_panel(b := compute(DEMO / "beacon-antenna"), b.matches[0]),
    "doubt": doubt_panel.doubt_panel,
    "residual": doubt_panel.residual_panel,
    "line doubt": doubt_panel.line_panel,
}


@pytest.mark.parametrize("name", PANELS)
def test_panel(benchmark, name):
    panel = PANELS[name]()
    moves = cycle([{s.name: v} for s in panel.sliders for v in (s.low, s.high, s.start)])
    benchmark.extra_info.update(panel=name)
    benchmark(lambda: panel.move(**next(moves)))
