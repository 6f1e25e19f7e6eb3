"""What many tests look at and none changes: computed demo records, and what is reported of them."""

import gc
import os
from collections.abc import Callable
from contextlib import contextmanager, nullcontext
from functools import cache
from pathlib import Path

import pytest

# before numpy is there: its matrices here are small, and a second thread would only wait busily
os.environ.setdefault("OMP_NUM_THREADS", "1")

from rfcal.cli import main
from rfcal.measurement import propagate
from rfcal.record.job.compute import compute
from rfcal.record.results import Results

# thousands of tests stay alive all the while: to look through them seldom saves a tenth of the time
gc.set_threshold(20_000)

DEMO = Path(__file__).parents[1] / "data" / "demo"


@pytest.fixture(scope="session")
def computed() -> Callable[[str], Results]:
    """Results of a demo record by its name, computed once in all tests."""
    return cache(lambda name: compute(DEMO / name))


@pytest.fixture(scope="session")
def reported(tmp_path_factory) -> Callable[[str], Path]:
    """Folder with the page and the data files of a demo record, written once in all tests."""

    def report(name: str) -> Path:
        output = tmp_path_factory.mktemp(name) / "out"
        assert main(["report", str(DEMO / name), "--output", str(output)]) == 0
        return output

    return cache(report)


@pytest.fixture(scope="session")
def at_the_answer():
    """Monte Carlo at one point, not at 16: more is what the demos and tests of its own are for."""

    @contextmanager
    def at_one():
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(propagate, "ASKED", 1)
            yield

    return at_one


@pytest.fixture
def small(at_the_answer, request):
    """A small record is looked at, and no demo that all tests share."""
    with (
        at_the_answer()
        if {"computed", "reported"}.isdisjoint(request.fixturenames)
        else nullcontext()
    ):
        yield


@pytest.fixture
def undrawn(monkeypatch):
    """Pages whose pictures nobody looks at: most of a page's time goes into them."""
    monkeypatch.setattr("rfcal.report.page.svg_text", lambda figure, **how: "<svg></svg>")
