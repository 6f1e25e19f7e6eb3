"""Closed forms against brute force, power and derivatives against what they must be."""

import numpy as np
import pytest
from scipy.optimize import brentq

from rfcal.errors import MatchingError
from rfcal.matching import designs, parts
from rfcal.matching.designs import Point
from rfcal.matching.goal import Goal
from rfcal.matching.network import Network
from rfcal.matching.parts import Capacitor, Inductor, Stub
from rfcal.models.line import Line
from tests.built_networks import two_port

F = 14e6
W = 2 * np.pi * F
R0 = 50.0
COAX = Line(1.0, 0.66, 50.0)
OTHER = Line(1.0, 0.8, 75.0)
ANGLE = np.linspace(1e-7, np.pi - 1e-7, 4001)


def random_loads(count=300):
    """What is wrong on a hundredth of the chart is met by three of them."""
    rng = np.random.default_rng(5)
    size, phase = 0.98 * np.sqrt(rng.uniform(0, 1, count)), rng.uniform(-np.pi, np.pi, count)
    reflection = size * np.exp(1j * phase)
    return [complex(z) for z in R0 * (1 + reflection) / (1 - reflection)]


LOADS = random_loads()


def roots(function, grid=ANGLE):
    """Every sign change on the grid, refined; values that are no numbers have none."""
    value = function(grid)
    with np.errstate(invalid="ignore"):
        change = np.flatnonzero(value[:-1] * value[1:] < 0)
    found = []
    for k in change:
        root = brentq(lambda x: float(function(np.array([x]))[0]), grid[k], grid[k + 1], xtol=1e-14)
        if abs(function(np.array([root]))[0]) < 1e-4:  # not a pole
            found.append(root)
    return found


def solutions(design, *args, **keywords):
    try:
        return design(*args, **keywords)
    except MatchingError:
        return ()


def chain(network, load):
    """Input impedance with textbook formulas for every element, without rfcal's own."""
    z = load
    for element in reversed(network.elements):
        part = element.part
        if isinstance(part, Line | Stub):
            line = part if isinstance(part, Line) else part.line
            t = np.tan(W * line.length_m / (line.velocity_factor * 299_792_458.0))
            if isinstance(part, Line):
                z = line.z0 * (z + 1j * line.z0 * t) / (line.z0 + 1j * z * t)
                continue
            own = 1j * line.z0 * t if part.end == "short" else line.z0 / (1j * t)
        else:
            own = (
                1j * W * element.value
                if isinstance(part, Inductor)
                else 1 / (1j * W * element.value)
            )
        z = z + own if element.place == "series" else z * own / (z + own)
    return z


def ohm(element):
    value = element.value
    return W * value if isinstance(element.part, Inductor) else -1 / (W * value)


def wave_angle(element):
    return float(2 * np.pi * element.value / element.line.wavelength_m(F))


def compare(networks, found, load, key):
    """No network false, none missed; `found` are the brute force's values of the key."""
    for network in networks:
        z = chain(network, load)
        assert abs((z - R0) / (z + R0)) < 1e-6
        assert all(0 < e.value < np.inf for e in network.elements)
    assert len(networks) == len(found), load
    ours, theirs = sorted(key(n) for n in networks), sorted(found)
    assert ours == pytest.approx(theirs, rel=1e-5, abs=1e-6)


@pytest.mark.parametrize("order", ["series part at load", "shunt part at load"])
def test_l_sections_none_missed_none_false(order):
    series = order.startswith("series")
    for z in LOADS:
        near = z if series else 1 / z
        level = R0 if series else 1 / R0

        def excess(angle, near=near, level=level):
            """The part at the load brings the real part of the inverse to the target's."""
            return (1 / (near + 1j * level * np.tan(angle - np.pi / 2))).real * level - 1

        found = roots(excess)
        added = [level * np.tan(a - np.pi / 2) for a in found]
        networks = [n for n in designs.l_section(Point(F, z)) if n.topology.endswith(order)]

        def at_load(n, series=series):
            x = ohm(n.elements[-1])
            return x if series else -1 / x

        compare(networks, added, z, at_load)


def pi_by_brute_force(load, q):
    """Susceptance at the load node of every pi with the larger node Q asked for."""
    g, found = (1 / load).real, []
    for sign in (1, -1):

        def excess(angle, sign=sign):
            own = g * np.tan(angle - np.pi / 2)
            virtual = (1 / (g + 1j * own)).real
            with np.errstate(invalid="ignore"):
                x = sign * np.sqrt(virtual * (R0 - virtual))
                source = -(1 / (virtual + 1j * x)).imag * R0
            return np.maximum(np.abs(own) / g, np.abs(source)) - q

        found += [g * np.tan(a - np.pi / 2) - (1 / load).imag for a in roots(excess)]
    return found


@pytest.mark.parametrize("q", [3.0, 8.0])
def test_pi_and_t_none_missed_none_false(q):
    for z in LOADS:
        # close to the edge of what a Q reaches, two solutions fall between points of the grid
        ratio = max(R0 * (1 / z).real, 1 / (R0 * (1 / z).real))
        if abs(ratio / (q**2 + 1) - 1) > 1e-3 and ratio > 1.0001:
            networks = solutions(designs.by_q, Point(F, z), shape="pi", q=q)
            compare(networks, pi_by_brute_force(z, q), z, lambda n: -1 / ohm(n.elements[-1]))
        dual = R0**2 / z  # a T is the pi of the inverse
        ratio = max(z.real / R0, R0 / z.real)
        if abs(ratio / (q**2 + 1) - 1) > 1e-3 and ratio > 1.0001:
            networks = solutions(designs.by_q, Point(F, z), shape="T", q=q)
            added = [b * R0**2 for b in pi_by_brute_force(dual, q)]
            compare(networks, added, z, lambda n: ohm(n.elements[-1]))


@pytest.mark.parametrize("line", [COAX, OTHER])
@pytest.mark.parametrize("end", ["open", "short"])
@pytest.mark.parametrize("place", ["shunt", "series"])
def test_single_stubs_none_missed_none_false(place, end, line):
    for z in LOADS:

        def excess(angle, z=z):
            t = np.tan(angle)
            seen = line.z0 * (z + 1j * line.z0 * t) / (line.z0 + 1j * z * t)
            return (seen if place == "series" else R0**2 / seen).real / R0 - 1

        networks = solutions(designs.single_stub, Point(F, z), line=line, place=place, end=end)
        compare(networks, roots(excess), z, lambda n: wave_angle(n.elements[-1]))


@pytest.mark.parametrize("end", ["open", "short"])
@pytest.mark.parametrize(("spacing", "first"), [(0.125, 0.0), (0.375, 0.1), (0.25, 0.05)])
def test_double_stubs_none_missed_none_false(spacing, first, end):
    t = np.tan(2 * np.pi * spacing)
    for z in LOADS:
        y = 50 / (
            50 * (z + 50j * np.tan(2 * np.pi * first)) / (50 + 1j * z * np.tan(2 * np.pi * first))
        )

        def excess(angle, y=y):
            own = y + 1j * (np.tan(angle) if end == "open" else -1 / np.tan(angle))
            return ((own + 1j * t) / (1 + 1j * own * t)).real - 1

        keywords = {"line": COAX, "end": end, "spacing_waves": spacing, "first_waves": first}
        networks = solutions(designs.double_stub, Point(F, z), **keywords)
        stubs = [[e for e in n.elements if isinstance(e.part, Stub)] for n in networks]
        assert all(len(two) == 2 for two in stubs)
        compare(
            networks,
            roots(excess),
            z,
            lambda n: wave_angle([e for e in n.elements if isinstance(e.part, Stub)][1]),
        )


@pytest.mark.parametrize(("near", "far"), [(COAX, OTHER), (OTHER, Line(1.0, 0.9, 300.0))])
def test_two_sections_none_missed_none_false(near, far):
    wanted = abs((R0 - far.z0) / (R0 + far.z0))
    for z in LOADS:

        def excess(angle, z=z):
            t = np.tan(angle)
            seen = near.z0 * (z + 1j * near.z0 * t) / (near.z0 + 1j * z * t)
            return np.abs((seen - far.z0) / (seen + far.z0)) - wanted

        networks = solutions(designs.two_sections, Point(F, z), near=near, far=far)
        compare(networks, roots(excess), z, lambda n: wave_angle(n.elements[-1]))


def test_quarter_wave_none_missed_none_false():
    for z in LOADS:

        def imaginary(angle, z=z):
            turned = (z - 75) / (z + 75) * np.exp(-2j * angle)
            return turned.imag

        networks = designs.quarter_wave(Point(F, z), line=OTHER)
        assert len(networks) == 4
        by_line = [n for n in networks if n.topology.endswith("line at load")]
        compare(by_line, roots(imaginary), z, lambda n: wave_angle(n.elements[-1]))
        series, shunt = networks[:2]
        compare([series], [-z.imag], z, lambda n: ohm(n.elements[-1]))
        compare([shunt], [1 / (1 / z).imag], z, lambda n: ohm(n.elements[-1]))
        for network in networks:
            assert network.elements[0].value == pytest.approx(OTHER.wavelength_m(F) / 4)


def test_single_reactance_only_where_enough():
    for z in LOADS:
        y = 1 / z
        best = {
            "single series reactance": max(z.real / R0, R0 / z.real),
            "single shunt reactance": max(y.real * R0, 1 / (y.real * R0)),
        }
        networks = solutions(designs.single, Point(F, z), enough_swr=2.0)
        assert {n.topology for n in networks} == {name for name, swr in best.items() if swr <= 2}
        for network in networks:
            rho = abs((chain(network, z) - R0) / (chain(network, z) + R0))
            assert (1 + rho) / (1 - rho) == pytest.approx(best[network.topology])
    (one,) = designs.single(Point(F, 50 + 30j), enough_swr=1.0)
    assert chain(one, 50 + 30j) == pytest.approx(50)


def test_pi_and_t_by_phase():
    for z in LOADS[:200]:
        for degrees in (-120, -30, 45, 90, 150):
            (pi,) = designs.by_phase(Point(F, z), shape="pi", phase_rad=np.radians(degrees))
            (tee,) = designs.by_phase(Point(F, z), shape="T", phase_rad=np.radians(degrees))
            for network, row in ((pi, 0), (tee, 1)):
                assert chain(network, z) == pytest.approx(R0)
                joints = network.states(np.array([F]), np.array([z]))
                lag = np.degrees(np.angle(joints[0][row] / joints[-1][row]))[0]
                assert lag == pytest.approx(degrees)


@pytest.mark.parametrize("load", [-3 + 20j, 20j, np.inf + 0j])
def test_loads_that_nothing_matches(load):
    with pytest.raises(MatchingError, match=r"the load at 14\.2 MHz takes no power"):
        Goal(np.array([14.2e6]), np.array([load]), 14.2e6, (14.2e6, 14.2e6))


@pytest.mark.parametrize(
    ("design", "words"),
    [
        (
            lambda: designs.single(Point(F, 200 + 10j)),
            "reaches SWR 4 in series and 4 as a shunt, not 1.5: an L section matches every",
        ),
        (lambda: designs.by_q(Point(F, 2000 + 0j), shape="pi", q=3.0), "at least 6.24,"),
        (lambda: designs.by_q(Point(F, 2000 + 0j), shape="T", q=3.0), "at least 6.24,"),
        (
            lambda: designs.double_stub(Point(F, 20 + 0j), line=COAX),
            "none above 2.*single stub",
        ),
        (
            lambda: designs.single_stub(Point(F, 75 + 1j), line=OTHER),
            "use a line of 50 ohm, or an L",
        ),
        (
            lambda: designs.two_sections(Point(F, 200 + 0j), near=COAX, far=OTHER),
            "50 to 112 ohm",
        ),
        (
            lambda: designs.two_sections(Point(F, 90 + 0j), near=OTHER, far=OTHER),
            "cables of two impedances",
        ),
    ],
)
def test_out_of_reach_says_what_reaches(design, words):
    with pytest.raises(MatchingError, match=words):
        design()


SWEEP = np.linspace(13e6, 15e6, 11)
LOAD = 30 + 40j + 5j * (SWEEP / F - 1)
LOSSY = Line(3.0, 0.66, 75.0, 0.6, 0.02)
MIXED = Network.of(
    "mixed",
    [
        ("shunt", Capacitor(100e-12, 300.0, 5e-9)),
        ("section", LOSSY),
        ("series", Stub(Line(1.2, 0.7, 50.0, 0.5), "open")),
        ("series", Inductor(1e-6, 80.0, 3e-12)),
        ("shunt", Stub(Line(2.0, 0.7, 50.0, 0.5), "short")),
    ],
)


def test_joints_agree_with_the_cascade_of_two_ports():
    through = two_port(MIXED, SWEEP)
    z = through.input_impedance(LOAD)
    assert MIXED.seen(SWEEP, LOAD) == pytest.approx((z - 50) / (z + 50), rel=1e-12)
    loss = MIXED.losses_db(SWEEP, LOAD)
    assert np.all(loss > 0)
    assert loss.sum(axis=0) == pytest.approx(-10 * np.log10(through.power_gain(LOAD)))
    assert [e.name for e in MIXED.elements] == ["C1", "line 1", "stub 1", "L1", "stub 2"]


def test_draws_lead():
    rng = np.random.default_rng(1)
    scale = rng.uniform(0.9, 1.1, (7, len(MIXED.elements), 1))
    many = MIXED.with_values([scale[:, k] * e.value for k, e in enumerate(MIXED.elements)])
    loads = LOAD * rng.uniform(0.9, 1.1, (7, 1))
    seen, loss = many.seen(SWEEP, loads), many.losses_db(SWEEP, loads)
    volt = many.stress(SWEEP, loads, power_w=10.0)[0]
    assert seen.shape == (7, 11)
    assert loss.shape == volt.shape == (5, 7, 11)
    for n in range(7):
        one = MIXED.with_values([scale[n, k, 0] * e.value for k, e in enumerate(MIXED.elements)])
        assert seen[n] == pytest.approx(one.seen(SWEEP, loads[n]))
        assert loss[:, n] == pytest.approx(one.losses_db(SWEEP, loads[n]))
        alone, _ = one.stress(SWEEP, loads[n], power_w=10.0)
        assert volt[:, n] == pytest.approx(alone, rel=1e-3)
    assert many.losses_db(SWEEP, LOAD).shape == (5, 7, 11)  # one load for all draws


def test_stress_of_a_section_by_hand():
    """100 W into a matched L: current by the power, voltages by Ohm's law."""
    f, z = np.array([F]), np.array([200 + 0j])
    network = next(n for n in designs.l_section(Point(F, 200 + 0j)) if n.form == "low-pass")
    volt, ampere = network.stress(f, z, power_w=100.0)
    into = np.sqrt(2 * 100 / 50)
    assert ampere[0, 0] == pytest.approx(into)
    assert volt[0, 0] == pytest.approx(into * abs(ohm(network.elements[0])))
    assert volt[1, 0] == pytest.approx(np.sqrt(2 * 100 * 200))
    assert ampere[1, 0] == pytest.approx(volt[1, 0] / abs(ohm(network.elements[1])))


def test_stress_along_a_line_is_at_the_voltage_maximum():
    """A half wave on 50 ohm with 200 ohm at its end: 200 ohm's voltage, and its current inside."""
    f = np.array([F])
    half = Line(float(COAX.wavelength_m(F)) / 2, 0.66, 50.0)
    volt, ampere = Network.of("line", [("section", half)]).stress(
        f, np.array([200 + 0j]), power_w=50.0
    )
    assert volt[0, 0] == pytest.approx(np.sqrt(2 * 50 * 200))
    assert ampere[0, 0] == pytest.approx(np.sqrt(2 * 50 * 200) / 50, rel=1e-3)


def test_real_parts():
    coil = Inductor(2e-6, 100.0, parallel_f=1 / ((2 * np.pi * 40e6) ** 2 * 2e-6))
    f = np.array([1e6, 40e6])
    z = coil.impedance(f)
    assert z[0].imag == pytest.approx(2 * np.pi * 1e6 * 2e-6, rel=1e-3)
    assert z[0].imag / z[0].real == pytest.approx(100, rel=1e-3)
    assert abs(z[1].imag) < 0.02 * z[1].real  # a resistance at its self-resonance
    leads = Capacitor(100e-12, 500.0, 10e-9)
    resonance = 1 / (2 * np.pi * np.sqrt(100e-12 * 10e-9))
    assert abs(leads.impedance(resonance).imag) < 1e-9
    low = leads.impedance(np.array(1e6))
    assert -low.imag / low.real == pytest.approx(500, rel=1e-3)


@pytest.mark.parametrize("series", parts.E_SERIES)
def test_neighbours_against_a_search(series):
    rng = np.random.default_rng(3)
    every = np.concatenate([parts.E_SERIES[series] * 10.0**k for k in range(-13, 4)])
    value = 10 ** rng.uniform(-12, 2, 500)
    k = parts.preferred_below(value, series)
    below, above = (parts.preferred(k + step, series) for step in (0, 1))
    for v, b, a in zip(value, below, above, strict=True):
        assert b == pytest.approx(every[every <= v].max(), rel=1e-12)
        assert a == pytest.approx(every[every > v].min(), rel=1e-12)
    exact = parts.preferred(parts.preferred_below(every[24:-24], series), series)
    assert exact == pytest.approx(every[24:-24], rel=1e-12)
