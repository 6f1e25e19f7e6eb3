"""What a builder is offered first: nothing where nothing is needed, then power that arrives."""

from dataclasses import replace

import numpy as np
import pytest

from rfcal.matching.goal import Goal, judge
from rfcal.matching.merit import Group, effort, in_order
from rfcal.matching.network import Network
from rfcal.matching.parts import Capacitor, Inductor, Stub
from rfcal.matching.ranking import rank
from rfcal.matching.stock import Stock
from rfcal.maths.reflection import from_impedance
from rfcal.models.cables import CABLES

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
        two = candidate.network.two_port(f)
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
    kept, left_out = in_order([hot, cool], float(bare))
    assert kept == (cool,)
    assert "another network or none delivers more" in left_out["double stub, open"]


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
def test_the_order_is_by_group_power_and_effort(load, centre):
    ranking = rank(goal_of(load, centre, 100e3), stock=STOCK)
    keys = [
        (
            ranking.group(c),
            int((c.lost_db - ranking.least_db) / 0.1 + 1e-9),
            effort(c.network),
        )
        for c in ranking.candidates
    ]
    assert keys == sorted(keys)
    for candidate in ranking.candidates:
        assert candidate.loss_db < 3 or candidate.lost_db < ranking.least_db + 3
        floating = "series stub" in candidate.network.topology
        assert not (floating and ranking.group(candidate) == Group.HOLDS)
