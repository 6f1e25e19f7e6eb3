"""What a builder is offered first: nothing where nothing is needed, then power that arrives."""

from dataclasses import replace

import numpy as np
import pytest

from rfcal.matching.goal import Goal, judge
from rfcal.matching.network import Network
from rfcal.matching.parts import Capacitor, Inductor, Stub
from rfcal.matching.ranking import Group, Ranking, effort, rank
from rfcal.matching.stock import Stock
from rfcal.matching.tolerance import least_lost_db, production_yield
from rfcal.matching.winding import Winding, wound
from rfcal.maths.reflection import from_impedance
from rfcal.models.cables import CABLES
from tests.built_networks import two_port

COAX = CABLES["RG-213"].line(1.0)
STOCK = Stock(lines=(COAX, replace(COAX, z0=75.0)))


def goal_of(load_ohm, centre_hz, half_hz, target_swr=1.5):
    frequency = np.linspace(0.97 * centre_hz, 1.03 * centre_hz, 61)
    load = np.full(61, complex(load_ohm))
    return Goal(
        frequency, load, centre_hz, (centre_hz - half_hz, centre_hz + half_hz), 50.0, target_swr
    )


def test_a_load_that_holds_the_target_needs_nothing():
    """60 ohm at 14.2 MHz: no coil of 560 uH across it, which changes nothing."""
    ranking = rank(goal_of(60, 14.2e6, 100e3), stock=STOCK)
    assert ranking.nothing_needed
    assert ranking.raw_worst_swr == pytest.approx(1.2)
    assert not any(c.network.topology.startswith("single") for c in ranking.candidates)
    for candidate in ranking.candidates:
        assert (ranking.group(candidate) == Group.BELOW) == (
            candidate.lost_db >= ranking.raw_lost_db
        )
    assert not rank(goal_of(76, 14.2e6, 100e3), stock=STOCK).nothing_needed


def test_power_lost_is_what_does_not_reach_the_load():
    """Against the power into the load, of a network between a source of 50 ohm and 20 - j35 ohm."""
    goal = goal_of(20 - 35j, 14.2e6, 100e3)
    for candidate in rank(goal, stock=STOCK).candidates[:5]:
        f, z = goal.in_band()
        two = two_port(candidate.network, f)
        # V = 1 V behind 50 ohm: I_load = 1 / (A Z + B + 50 (C Z + D))
        current = 1 / (two.a * z + two.b + 50 * (two.c * z + two.d))
        gain = abs(current) ** 2 * z.real * 4 * 50
        assert candidate.lost_db == pytest.approx(-10 * np.log10(gain.min()), abs=1e-9)


def test_loss_is_never_a_way_to_a_low_swr():
    """100 m of cable hold the SWR by turning the power into heat."""
    goal = goal_of(12 - 140j, 3.65e6, 50e3)
    heater = Network.of(
        "double stub, open",
        [
            ("shunt", Stub(replace(COAX, length_m=20.0), "open")),
            ("section", replace(COAX, length_m=300.0)),
        ],
    )
    coils = Network.of(
        "L", [("shunt", Capacitor(1.6e-9, 1000.0)), ("series", Inductor(7.0e-6, 100.0))]
    )
    hot, cool = (judge(goal, n, n) for n in (heater, coils))
    bare = -10 * np.log10(1 - abs(from_impedance(12 - 140j)) ** 2)
    assert hot.loss_db > 10
    assert hot.worst_swr < 100
    found = Ranking((hot, cool), {}, 13.0, float(bare), 1.5).ordered()
    assert found.candidates == (cool,)
    assert "another network or none delivers more" in found.refused["double stub, open"]


def test_a_single_coil_comes_before_a_stub_that_gains_next_to_nothing():
    ranking = rank(goal_of(40 - 45j, 145e6, 1e6), stock=STOCK)
    first = ranking.candidates[0].network
    assert [e.name for e in first.elements] == ["L1"]
    assert first.elements[0].value == pytest.approx(51e-9, rel=0.15)
    stub = next(c for c in ranking.candidates if "shunt stub" in c.network.topology)
    assert stub.lost_db < ranking.candidates[0].lost_db  # it would deliver a little more


@pytest.mark.parametrize(
    ("load", "centre"), [(1000 - 300j, 50.2e6), (12 - 30j, 7.1e6), (200 + 90j, 146e6)]
)
def test_no_network_stands_before_one_of_more_power_unless_it_is_simpler(load, centre):
    ranking = rank(goal_of(load, centre, 100e3), stock=STOCK)
    for k, one in enumerate(ranking.candidates):
        for other in ranking.candidates[k + 1 :]:
            assert ranking.group(one) <= ranking.group(other)
            if ranking.group(one) == ranking.group(other):
                simpler = effort(one.network) <= effort(other.network)
                assert one.lost_db <= other.lost_db + (0.1 if simpler else 0)
    for candidate in ranking.candidates:
        assert candidate.loss_db < 3 or candidate.lost_db < ranking.least_db + 3
        floating = "series stub" in candidate.network.topology
        assert not (floating and ranking.group(candidate) == Group.HOLDS)


@pytest.mark.parametrize(
    ("inductance_h", "turns", "inside_mm", "length_mm"), [(1e-6, 16, 10, 24.6), (22e-9, 3, 3, 4.1)]
)
def test_a_coil_is_wound_by_a_published_formula(inductance_h, turns, inside_mm, length_mm):
    found = wound(inductance_h)
    assert (found.turns, 1e3 * found.inside_m) == (turns, pytest.approx(inside_mm))
    assert 1e3 * found.length_m == pytest.approx(length_mm, abs=0.1)
    assert wheeler_h(found) == pytest.approx(inductance_h, rel=0.005)


def wheeler_h(coil):
    """Inductance [H] of a winding by Wheeler as he wrote it: inches and microhenry."""
    r, length = (m / 25.4e-3 for m in (coil.diameter_m / 2, coil.length_m))
    return 1e-6 * r**2 * coil.turns**2 / (9 * r + 10 * length)


def neumann_h(coil, turns_long):
    """Inductance [H] of a helix of round wire, so many pitches long, by Neumann's double integral.

    Of a current as dense everywhere in the wire: its own mean distance is exp(-1/4) of the radius.
    """
    turn = np.linspace(0, 2 * np.pi * coil.turns, 200 * coil.turns + 1)
    r, pitch = coil.diameter_m / 2, coil.length_m / turns_long
    path = np.stack([r * np.cos(turn), r * np.sin(turn), pitch * turn / (2 * np.pi)])
    own = np.exp(-1 / 4) * coil.wire_m / 2
    step, middle = np.diff(path), (path[:, 1:] + path[:, :-1]) / 2
    away = ((middle[:, :, None] - middle[:, None, :]) ** 2).sum(axis=0) + own**2
    return 1e-7 * float((step.T @ step / np.sqrt(away)).sum())


@pytest.mark.parametrize(("inductance_h", "ampere"), [(360e-9, 2.4), (100e-9, 1.0), (1e-6, 3.0)])
def test_a_coils_length_is_of_as_many_pitches_as_it_has_turns(inductance_h, ampere):
    """From middle to middle of the wire at its two ends, by Neumann's integral and not by Wheeler.

    A pitch more or less in that length is 4 to 10 % of the inductance.
    """
    coil = wound(inductance_h, ampere)
    found = {n: neumann_h(coil, n) for n in (coil.turns - 1, coil.turns, coil.turns + 1)}
    assert found[coil.turns] == pytest.approx(inductance_h, rel=0.03)
    assert min(found, key=lambda n: abs(found[n] - inductance_h)) == coil.turns


@pytest.mark.parametrize("inductance_h", np.geomspace(9e-9, 2e-4, 30))
@pytest.mark.parametrize("ampere", [0.0, 3.0, 10.0])
def test_every_coil_that_can_be_wound_stands_and_meets_its_value(inductance_h, ampere):
    found = wound(inductance_h, ampere)
    if found is None:
        assert inductance_h < 30e-9 or (ampere and inductance_h > 20e-6)
        return
    assert wheeler_h(found) == pytest.approx(inductance_h, rel=0.005)
    assert found.turns >= 2
    assert 0.4 <= found.length_m / found.diameter_m <= 2.5
    assert found.length_m >= 1.1 * found.turns * found.wire_m
    assert 0.1e-12 < found.capacitance_f < 6e-12


def test_the_part_that_is_to_be_set_is_the_one_that_saves_most_networks():
    """A short dipole at 7.1 MHz: a tenth more or less of its coil is a match or none."""
    frequency = np.linspace(7.05e6, 7.15e6, 21)
    omega = 2 * np.pi * frequency
    load = 24 + 1j * (omega * 11e-6 - 1 / (omega * 41e-12))
    goal = Goal(frequency, load, 7.1e6, (7.05e6, 7.15e6))
    network = Network.of(
        "L", [("shunt", Capacitor(390e-12, 1e3)), ("series", Inductor(1.8e-6, 100.0))]
    )

    def made_with(*able):
        rng = np.random.default_rng(3)
        return production_yield(goal, network, STOCK, rng, draws=400, able=able)

    made = made_with()
    assert made.both < 0.7
    assert made.told == (made.both, made.standard_uncertainty)
    found = made_with(0, 1)
    assert found.adjustable == (1,)
    assert found.told[0] > 0.97
    # the capacitor alone would save fewer, and where none may be set none is
    assert made_with(0).told[0] < found.told[0] - 0.1
    assert not made.adjustable


def test_two_parts_are_set_where_one_does_not_do():
    """A probe coil of 0.9 ohm: one capacitor tunes it, the other matches it."""
    frequency = np.linspace(63.4e6, 63.8e6, 11)
    load = 0.9 + 2j * np.pi * frequency * 80e-9
    goal = Goal(frequency, load, 63.6e6, (63.4e6, 63.8e6))
    network = Network.of(
        "L", [("series", Capacitor(11e-12, 1e3)), ("shunt", Capacitor(68e-12, 1e3))]
    )
    rng = np.random.default_rng(3)
    found = production_yield(goal, network, STOCK, rng, draws=400, able=[0, 1])
    assert sorted(found.adjustable) == [0, 1]
    assert found.told[0] > 2 * found.both
    # it is ordered by what it loses once they are set
    as_it_is, once_set = (least_lost_db(goal, network, parts) for parts in ((), (0, 1)))
    assert as_it_is == pytest.approx(judge(goal, network, network).lost_db)
    assert once_set < as_it_is - 0.01


def test_retuning_takes_away_the_reactance_of_the_middle():
    """70 + j(8 +- 10) ohm: SWR 1.44 at the band's edges once 8 ohm are gone."""
    goal = goal_of(70 + 8j, 14.2e6, 100e3)
    slope = 10 * (goal.frequency - 14.2e6) / 100e3
    added, left = replace(goal, load=goal.load + 1j * slope).retuned()
    assert added == pytest.approx(-8)
    edge = abs((20 + 10j) / (120 + 10j))
    assert left == pytest.approx((1 + edge) / (1 - edge), rel=1e-3)


def test_medhursts_table():
    """A coil as long as its diameter has 0.46 pF for each cm of it, value from memory."""
    coil = Winding(10, 19e-3, 20e-3, 1e-3)
    assert coil.capacitance_f == pytest.approx(0.46e-12 * 2, rel=0.02)


def test_parts_serve_at_the_frequency():
    """Nothing below 1.5 pF or 5 nH at 145 MHz, larger at 3.6 MHz, no section under 1/200 wave."""
    coil, capacitor = Inductor(1e-7), Capacitor(1e-11)
    vhf, hf = (replace(STOCK, frequency_hz=f) for f in (145e6, 3.6e6))
    assert vhf.limits(coil)[0] == pytest.approx(5e-9)
    assert vhf.limits(capacitor)[0] == pytest.approx(1.5e-12)
    assert hf.limits(coil)[0] == pytest.approx(5e-9 * 30 / 3.6)
    assert hf.limits(coil)[1] > 20 * vhf.limits(coil)[1]
    assert hf.limits(COAX)[0] == pytest.approx(float(COAX.wavelength_m(3.6e6)) / 200)
    assert vhf.limits(COAX)[0] == 0.02  # both ends of a cable are stripped
    for load in (48 + 12j, 30 - 80j, 400 + 10j, 51 + 60j):
        for candidate in rank(goal_of(load, 145e6, 1e6), stock=STOCK).candidates:
            for element in candidate.network.elements:
                low, high = vhf.limits(element.part)
                assert low * (1 - 1e-6) <= element.value <= high * (1 + 1e-6)


def test_a_refused_value_is_named_in_its_unit():
    ranking = rank(goal_of(100, 145e6, 1e6), stock=STOCK, topologies=("L",))
    assert ranking.candidates
    small = Network.of("one", [("series", Inductor(0.13e-9))])
    said = replace(STOCK, frequency_hz=145e6).lacks(small)
    assert said.startswith(
        "L1 would be 0.13 nH, which is no part: coils serve at 145 MHz from 5 nH"
    )
    tiny = Network.of("one", [("shunt", Capacitor(0.56e-12))])
    assert "0.56 pF, which is no part" in replace(STOCK, frequency_hz=145e6).lacks(tiny)
    piece = Network.of("one", [("section", replace(COAX, length_m=2e-3))])
    assert "pieces of line are cut from" in replace(STOCK, frequency_hz=145e6).lacks(piece)


def test_a_coil_has_the_capacitance_of_its_winding_unless_it_is_stated():
    network = rank(goal_of(20 - 120j, 14.2e6, 50e3), stock=STOCK, topologies=("L",)).candidates[0]
    coil = next(e.part for e in network.network.elements if isinstance(e.part, Inductor))
    assert coil.parallel_f == pytest.approx(wound(coil.inductance_h).capacitance_f)
    # for 400 W it is wound of thicker wire, as the builder is told
    goal, strong = goal_of(20 - 120j, 14.2e6, 50e3), replace(STOCK, power_w=400.0)
    for candidate in rank(goal, stock=strong, topologies=("L", "pi")).candidates:
        _, peaks = candidate.network.stress(*goal.in_band(), power_w=400.0)
        for element, peak in zip(candidate.network.elements, peaks, strict=True):
            if isinstance(part := element.part, Inductor):
                coil = wound(part.inductance_h, peak.max())
                assert part.parallel_f == pytest.approx(coil.capacitance_f)
    plain = replace(STOCK, inductor_parallel_f=0.0)
    network = rank(goal_of(20 - 120j, 14.2e6, 50e3), stock=plain, topologies=("L",)).candidates[0]
    assert all(e.part.parallel_f == 0 for e in network.network.elements if e.unit == "H")


def test_no_long_cable_where_a_coil_does_it():
    """3.7 + j9.9 ohm at 1.85 MHz: two parts hold the target, and so would 80 m of cable."""
    ranking = rank(goal_of(3.7 + 9.9j, 1.85e6, 30e3), stock=STOCK)
    assert ranking.candidates[0].network.topology.startswith("L")
    for candidate in ranking.candidates:
        assert sum(e.value for e in candidate.network.elements if e.line is not None) < 10
    assert "m of cable, where less does better" in " ".join(ranking.refused.values())


def test_what_holds_stays_clear_of_the_target_where_that_costs_next_to_nothing():
    """A pi section has three values to choose: none that holds SWR 1.5 by a hair."""
    frequency = np.linspace(1.75e6, 1.95e6, 61)
    load = 100 + 1j * 900 * (frequency / 1.84e6 - 1.84e6 / frequency)
    goal = Goal(frequency, load, 1.85e6, (1.8e6, 1.9e6))
    first = rank(goal, stock=STOCK, topologies=("pi",)).candidates[0]
    assert first.meets
    assert first.worst_swr < 1.45


@pytest.mark.parametrize("frequency_hz", [3.6e6, 28e6, 146e6, 440e6])
def test_parts_serve_well_below_their_own_resonance(frequency_hz):
    """1 uH at 440 MHz is no coil: wound in air it resonates near 200 MHz with its own turns."""
    choice = replace(STOCK, frequency_hz=frequency_hz)
    largest = choice.limits(Inductor(1e-7))[1]
    coil = wound(largest) or Winding(60, 63e-3, 110e-3, 0.8e-3)
    assert (4 * np.pi * frequency_hz) ** 2 * largest * coil.capacitance_f < 1.1
    assert largest * 2 * np.pi * frequency_hz > 250
    most = choice.limits(Capacitor(1e-11))[1]
    assert (4 * np.pi * frequency_hz) ** 2 * most * 1e-9 <= 1.0001
    own = replace(choice, inductor_parallel_f=4e-12, capacitor_series_h=10e-9)
    assert own.limits(Inductor(1e-7))[1] < 1 / ((4 * np.pi * frequency_hz) ** 2 * 3.9e-12)
    assert own.limits(Capacitor(1e-11))[1] <= most


def test_what_stays_far_from_the_target_is_not_worth_building():
    """Nor what misses it and brings next to nothing; of two that hold none is left out."""
    frequency = np.linspace(3.5e6, 3.8e6, 61)
    load = 36 + 1j * 1200 * (frequency / 3.65e6 - 3.65e6 / frequency)
    ranking = rank(Goal(frequency, load, 3.65e6, (3.5e6, 3.8e6)), stock=STOCK)
    # at SWR 5.8 half of the power arrives
    offered = [ranking.worth(c) for c in ranking.short()]
    far = [c.worst_swr > 5.8 for c in ranking.short()]
    assert any(far)
    assert not any(a and b for a, b in zip(offered, far, strict=True))
    good = goal_of(76, 14.2e6, 100e3)
    stays = [c for c in rank(good, stock=STOCK).candidates if not c.meets]
    assert not any(rank(good, stock=STOCK).worth(c) for c in stays if c.lost_db > 0.1)
    near = rank(goal_of(20 - 35j, 14.2e6, 100e3), stock=STOCK)
    assert all(near.worth(c) for c in near.candidates if c.meets)
