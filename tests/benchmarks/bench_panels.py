"""Kernel time of one move of each panel, recomputation included (budget 25 ms on two cores)."""

from itertools import cycle

import pytest

from rfcal import workbook
from rfcal.record.job.compute import compute
from tests.benchmarks.bench_browser import SOURCES
from tests.browser.test_panels_in_browser import BEACON


@pytest.mark.parametrize("name", SOURCES)
def test_panel(benchmark, name):
    names = {"workbook": workbook, "compute": compute, "beacon": compute(BEACON)}
    panel = eval(SOURCES[name], names)
    moves = cycle([{s.name: v} for s in panel.sliders for v in (s.low, s.high, s.start)])
    benchmark.extra_info.update(panel=name)
    benchmark(lambda: panel.move(**next(moves)))
