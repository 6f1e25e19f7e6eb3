"""What lies between plane and device: maps, their derivatives, and what they share."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rfcal.maths.bilinear import Bilinear
from rfcal.maths.reflection import from_impedance, to_impedance
from rfcal.maths.twoport import TwoPort
from rfcal.measurement import deembedding as path
from rfcal.measurement.error_terms import solve
from rfcal.measurement.propagate import Inputs, propagate
from rfcal.measurement.propagate import impedance as impedance_of
from rfcal.models.line import Line
from rfcal.models.standards import Standard
from rfcal.uncertainty.coverage import standard_uncertainty
from rfcal.uncertainty.quantity import Quantity, both_axes, combine
from tests.drawn import monte_carlo

FREQUENCY = np.array([7e6, 50e6, 70e6, 145e6])
LINE = Line(14.2, 0.83, 48.6, conductor_db=0.4, dielectric_db=0.01)
X = np.array([0.3 - 0.4j, -0.2 + 0.7j, 0.05 + 0.02j, 0.9j])
CABLE = path.LineByFigures(FREQUENCY, LINE, 50.0)


def ends(line: Line) -> list[np.ndarray]:
    """Reflection of a line with its far end open and short."""
    through = line.two_port(FREQUENCY).bilinear(50.0)
    return [through.apply(np.full(4, v, complex)) for v in (1.0, -1.0)]


ELEMENTS = {
    "cable": (CABLE, [q.value for q in CABLE.quantities(dict.fromkeys(
        ("length", "velocity factor", "impedance", "loss", "skin effect"), 0.0), "c")]),
    "measured": (path.LineBySweeps(), ends(LINE)),
    "adapter": (path.Adapter(), [np.full(4, v) for v in (0.1 + 0.05j, 0.8 - 0.3j, -0.07j)]),
    "fixture": (path.FixtureBySweeps(), [np.full(4, v) for v in (0.98 - 0.1j, -0.97 + 0.12j)]),
}  # fmt: skip


@pytest.mark.parametrize("name", ELEMENTS)
def test_slopes_are_the_slopes(name):
    element, inputs = ELEMENTS[name]
    for i, slope in enumerate(path.slopes(element, X, inputs)):
        step = 1e-6 * max(1.0, abs(inputs[i][0]))

        def seen(by, i=i):
            moved = [v + by * (i == j) for j, v in enumerate(inputs)]
            return element.bilinear(moved).apply(X)

        found = (seen(step) - seen(-step)) / (2 * step)
        assert slope == pytest.approx(found, rel=1e-5, abs=1e-7)


def test_cable_is_the_lines_two_port():
    element, inputs = ELEMENTS["cable"]
    expected = LINE.two_port(FREQUENCY).bilinear(50.0).apply(X)
    assert element.bilinear(inputs).apply(X) == pytest.approx(expected, abs=1e-12)


def test_measured_line_is_the_line_itself():
    """Lossy, not of the reference impedance, several waves long: no branch is chosen."""
    element, inputs = ELEMENTS["measured"]
    expected = LINE.two_port(FREQUENCY).bilinear(50.0).apply(X)
    assert element.bilinear(inputs).apply(X) == pytest.approx(expected, abs=1e-10)


def test_fixture_compensation_is_the_textbook_formula():
    """Series stray, then shunt stray; a fixture with an ideal open has no shunt."""
    zs, yo = 0.4 + 1.3j, 0.1e-3 + 0.7e-3j
    device = np.array([3 - 40j, 800 + 10j, 50 + 0j, 2 + 300j])
    seen = (TwoPort.series(zs) @ TwoPort.shunt(yo)).input_impedance(device)
    known = [from_impedance(np.full(4, z)) for z in (zs + 1 / yo, zs)]
    box = path.FixtureBySweeps().bilinear(known)
    assert to_impedance(box.correct(from_impedance(seen))) == pytest.approx(device, rel=1e-9)
    ideal = path.FixtureBySweeps().bilinear([np.ones(4, complex), known[1]])
    assert to_impedance(ideal.apply(from_impedance(device))) == pytest.approx(device + zs)


@pytest.mark.parametrize("name", ELEMENTS)
def test_add_then_remove(name):
    element, inputs = ELEMENTS[name]
    exact = [Quantity(v) for v in inputs]
    start = Quantity(X, both_axes("d", 0.01))
    seen = path.across(start, element, exact, embed=True)
    back = path.across(seen, element, exact, embed=False)
    assert back.value == pytest.approx(X, abs=1e-9)
    assert back.covariance() == pytest.approx(start.covariance(), abs=1e-12)


part = st.floats(0.02, 0.9)
angle = st.floats(-3.1, 3.1)


@given(part, angle, st.floats(0.5, 30), st.floats(0.5, 0.95), st.floats(20, 100), part)
def test_measured_line_round_trip(size, turn, length, velocity, z0, loss):
    x = size * np.exp(1j * turn) * np.ones(4)
    line = Line(length, velocity, z0, conductor_db=3 * loss)
    through = line.two_port(FREQUENCY).bilinear(50.0)
    known = [through.apply(np.full(4, v, complex)) for v in (1.0, -1.0)]
    # near odd quarter waves of a line of little loss the two sweeps say little about z0
    assert path.LineBySweeps().bilinear(known).correct(through.apply(x)) == pytest.approx(
        x, abs=1e-4
    )


def test_what_two_quantities_share_is_added_before_it_is_squared():
    common = both_axes("common", 0.1)
    one = Quantity(np.ones(1, complex), common).through(np.ones(1, complex), 2.0)
    other = Quantity(np.ones(1, complex), (*common, *both_axes("own", 0.05)))
    difference = combine(one.value - other.value, (one, 1.0), (other, -2.0))
    assert difference.variance() == pytest.approx([4 * 0.05**2])
    assert set(difference.by_source()) == {"common", "own"}


def session(line: Line) -> Inputs:
    """Standards at the near end; device, open and short at the far end of a line."""
    frequency = np.linspace(45e6, 57e6, 7)
    box = Bilinear.from_error_terms(*(np.full(7, v) for v in (0.05 + 0.02j, 0.06j, 0.9 - 0.2j)))
    known = [
        Standard(kind, uncertainty={"reflection": 0.003}).quantity(frequency, z_ref=50.0, name=kind)
        for kind in ("short", "open", "load")
    ]

    def raw(name, x):
        return Quantity(box.apply(x), both_axes(f"{name}: noise", 0.0005, per_point=True))

    seen = [raw(name, k.value) for name, k in zip("sol", known, strict=True)]
    calibration = solve(frequency, list("sol"), known, seen)
    through = line.two_port(frequency).bilinear(50.0)
    device = from_impedance(np.full(7, 35 - 20j))

    def read(name, x):
        connection = Quantity(np.zeros(7, complex), both_axes(f"{name}: connection", 0.001))
        return raw(name, through.apply(x)), connection

    ends = {"far end open": 1.0, "far end short": -1.0}
    pairs = [read(name, np.full(7, v, complex)) for name, v in ends.items()]
    step = path.Step(path.LineBySweeps(), readings=tuple(pairs))
    return Inputs(calibration, *read("device", device), (step,))


def test_device_behind_a_measured_line_both_ways():
    """Slopes against Monte Carlo, errors of the standards shared by device, open and short."""
    inputs = session(Line(14.2, 0.83, 48.6, conductor_db=0.9))
    linear = impedance_of(propagate(inputs), 50.0)
    assert linear.value == pytest.approx(np.full(7, 35 - 20j), abs=1e-8)
    drawn = monte_carlo(inputs, 50.0, np.random.default_rng(4), draws=40_000)
    slopes = standard_uncertainty(linear.covariance())
    assert standard_uncertainty(drawn.covariance) == pytest.approx(slopes, rel=0.04)


@pytest.mark.parametrize("embed", [False, True])
def test_inputs_at_some_frequencies_give_the_same_answers_there(embed):
    inputs = session(Line(14.2, 0.83, 48.6, conductor_db=0.9))
    cable = path.LineByFigures(inputs.calibration.frequency, Line(0.3), 50.0)
    names = ("length", "velocity factor", "impedance", "loss", "skin effect")
    jumper = cable.quantities(dict.fromkeys(names, 0.01), "jumper")
    last = path.Step(cable, parameters=tuple(jumper), embed=embed)
    inputs = replace(inputs, path=(*inputs.path, last))
    index = np.array([1, 3])
    whole, part = propagate(inputs), propagate(inputs.at(index))
    assert part.value == pytest.approx(whole.value[index], rel=1e-12)
    assert part.covariance() == pytest.approx(whole.covariance()[index], rel=1e-9)
    assert part.by_source().keys() == whole.by_source().keys()
    drawn = inputs.at(index).draw(np.random.default_rng(1), 2000)
    assert drawn.std(axis=0) == pytest.approx(
        np.sqrt(np.trace(whole.covariance()[index], axis1=1, axis2=2)), rel=0.1
    )
