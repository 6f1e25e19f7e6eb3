"""Kernel time of one move of each panel, recomputation included (budget 25 ms on two cores)."""

from itertools import cycle
from pathlib import Path

import pytest

from rfcal import workbook
from rfcal.record.job.compute import compute

DEMO = Path(__file__).parents[2] / "data" / "demo"


def plane_panel():
    results = compute(DEMO / "tower-line")
    return workbook.plane_panel(results, "antenna", results.line.properties.line)


PANELS = {
    "cable": workbook.cable_panel,
    "standards": lambda: workbook.standards_panel(compute(DEMO / "beacon-antenna"), "antenna"),
    "loss": workbook.loss_panel,
    "plane": plane_panel,
    "standing wave": workbook.standing_wave_panel,
    "fault": workbook.fault_panel,
    "match": lambda: workbook.match_panel(b := compute(DEMO / "beacon-antenna"), b.matches[0]),
    "uncertainty": workbook.uncertainty_panel,
    "residual": workbook.residual_panel,
    "path": workbook.path_panel,
}


@pytest.mark.parametrize("name", PANELS)
def test_panel(benchmark, name):
    panel = PANELS[name]()
    moves = cycle([{s.name: v} for s in panel.sliders for v in (s.low, s.high, s.start)])
    benchmark.extra_info.update(panel=name)
    benchmark(lambda: panel.move(**next(moves)))
