"""Kernel time of one move of each panel, recomputation included (budget 25 ms on two cores)."""

from itertools import cycle
from pathlib import Path

import pytest

from rfcal.faces import workbook
from rfcal.record.compute import compute

DEMO = Path(__file__).parents[2] / "data" / "demo"


@pytest.mark.parametrize("name", ["cable", "standards"])
def test_panel(benchmark, name):
    if name == "cable":
        panel = workbook.cable_panel()
    else:
        panel = workbook.standards_panel(compute(DEMO / "beacon-antenna"), "antenna")
    moves = cycle([{s.name: v} for s in panel.sliders for v in (s.low, s.high, s.start)])
    benchmark.extra_info.update(panel=name)
    benchmark(lambda: panel.move(**next(moves)))
