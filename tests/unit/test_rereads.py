"""Whole sessions by the thousand: what a second reading of a standard does to the answer."""

import numpy as np
import pytest

from rfcal.defaults import FALSE_ALARM
from rfcal.maths.bilinear import Bilinear
from rfcal.maths.reflection import from_impedance
from rfcal.measurement.bench import Analyzer, Bench, Known
from rfcal.measurement.propagate import impedance
from rfcal.models.standards import Standard
from rfcal.planning.plan import Setup
from rfcal.readings.sweep import Sweep
from rfcal.uncertainty.coverage import K_AXIS, from_repeats, standard_uncertainty
from rfcal.uncertainty.significance import far_off
from tests.coverage_audit import audit, standards

PLAIN = {kind: Standard(kind) for kind in ("short", "open", "load")}
SESSIONS = 3000
CASES = [{}, {"drift": 0.003}, {"noise": 0.004, "connection": 1e-4}, {"resolution_ohm": 0.1}]


def setup(**values):
    return Setup(np.array([70e6]), PLAIN, source_match=0.1j, tracking=0.85, **values)


@pytest.mark.parametrize("values", CASES, ids=str)
@pytest.mark.parametrize("again", ["short", "load"])
def test_where_nothing_moved_answers_cover_as_often_as_without(values, again):
    """95 %, neither less nor more, within four standard deviations of the counting."""
    rng = np.random.default_rng(4)
    found = audit(setup(**values), 30 - 20j, rng, sessions=SESSIONS, again=again)
    spread = 4 * np.sqrt(0.95 * 0.05 / SESSIONS)
    for figure in ("resistance", "reactance"):
        assert found.inside[figure] / SESSIONS == pytest.approx(0.95, abs=spread)


@pytest.mark.parametrize("values", CASES, ids=str)
def test_what_did_not_move_is_seldom_said_to_have(values):
    here = setup(**values).repeated(40_000)
    planned = here.inputs(np.zeros(40_000, complex))
    _, (moved,) = standards(here, planned, np.random.default_rng(5), "short")
    for chance in (0.05, 0.005, 0.001):
        alarms = np.mean(moved.squared() > -2 * np.log(chance))  # of each session by itself
        assert alarms <= chance + 4 * np.sqrt(chance / 40_000)
    # nor is a sweep of so many points, taken together
    assert not far_off(moved.squared(), FALSE_ALARM)


@pytest.mark.parametrize("repeats", [2, 3, 5])
def test_a_scatter_that_is_small_by_chance_is_no_move(repeats):
    """Few sweeps of each, noise above all else: their own scatter says little of them."""
    rng, sessions = np.random.default_rng(7), 2000
    f = np.linspace(70e6, 72e6, 3 * sessions)  # sessions of three points side by side

    def read(value, label):
        noise = 0.003 * (rng.standard_normal((repeats, f.size, 2)) @ np.array([1, 1j]))
        parts = [Sweep(f, value + n, 50.0, label) for n in noise]
        mean = from_repeats(np.array([p.reflection for p in parts]), f"{label}: repeats")
        return Sweep(f, mean.value, 50.0, label, effects=mean.effects, parts=tuple(parts))

    known = tuple(
        Known(kind, model, read(model.reflection(f), kind)) for kind, model in PLAIN.items()
    )
    bench = Bench(Analyzer(0.0005, 0.0005, 0.0), known)
    moved = bench.again(bench.calibration(), known[0].reading, read(-1, "short, read again"))
    alarms = sum(far_off(squared, 0.02) for squared in moved.squared().reshape(-1, 3))
    assert alarms / sessions <= 0.02 + 4 * np.sqrt(0.02 / sessions)


@pytest.mark.parametrize("ohm", [20 + 10j, 50 + 60j, 150 - 100j, 250])
@pytest.mark.parametrize("kind", ["turned", "all terms"])
def test_what_moved_is_covered_by_what_it_adds(kind, ohm):
    """A lead is bent or the analyzer drifts beyond all that was stated, before the device."""
    rng = np.random.default_rng(6)
    f = 70e6 * np.linspace(1, 1 + 1e-9, SESSIONS)

    def normal(size):
        return size * (rng.standard_normal(SESSIONS) + 1j * rng.standard_normal(SESSIONS))

    terms = [np.full(SESSIONS, term) for term in (0.05 + 0.02j, 0.05j, 0.9 + 0j)]
    if kind == "turned":
        turn = np.exp(1j * np.radians(rng.uniform(2, 10, SESSIONS) * rng.choice([-1, 1], SESSIONS)))
        later = [terms[0], terms[1] * turn, terms[2] * turn]
    else:
        later = [term + normal(0.01) for term in terms]
    before, after = Bilinear.from_error_terms(*terms), Bilinear.from_error_terms(*later)

    def read(box, reflection, label):
        return Sweep(f, box.apply(reflection + normal(0.001)) + normal(0.0005), 50.0, label)

    known = tuple(
        Known(kind, model, read(before, model.reflection(f), kind)) for kind, model in PLAIN.items()
    )
    bench = Bench(Analyzer(0.0005, 0.001, 0.0005), known)
    calibration = bench.calibration()
    moved = bench.again(
        calibration, known[0].reading, read(after, PLAIN["short"].reflection(f), "s")
    )
    device = read(after, np.full(SESSIONS, from_impedance(ohm)), "device")
    inside = []
    for told in ((), (moved,)):
        there = Bench(bench.analyzer, known, moved=told)
        _, reflection = there.corrected(calibration, device)
        z = impedance(reflection, 50.0)
        half = K_AXIS * standard_uncertainty(z.covariance())
        off = np.stack([(z.value - ohm).real, (z.value - ohm).imag], axis=-1)
        inside.append(np.mean(np.abs(off) <= half))
    assert inside[0] < 0.6
    assert inside[1] > 0.88  # one reading shows one of many ways to move
