"""Two answers about one device: En by its definition, and what both share taken out."""

import numpy as np
import pytest

from rfcal.components.agreement import agreement
from rfcal.maths.reflection import to_impedance
from rfcal.uncertainty.coverage import expanded
from rfcal.uncertainty.quantity import Quantity, both_axes

REFLECTION = np.array([0.2 + 0.3j, -0.5 + 0.1j, 0.7 - 0.2j])
FREQUENCY = np.array([1e6, 2e6, 3e6])


def answer(off=0.0, own=0.002, standard=0.003):
    effects = both_axes("noise", own, per_point=True) + both_axes("load", standard)
    return Quantity(REFLECTION + off, effects)


def test_the_normalised_error_is_the_standards_definition():
    first, second = answer(), answer(0.006)
    found = agreement(FREQUENCY, first, second, z_ref=50.0)
    u1, u2 = expanded(found.first), expanded(found.second)
    z1, z2 = (to_impedance(a.value, 50.0) for a in (first, second))
    # En = (x1 - x2) / sqrt(U1^2 + U2^2)
    en = (z2 - z1).real / np.hypot(u1[:, 0], u2[:, 0])
    np.testing.assert_allclose(found.normalised_error[:, 0], en, rtol=1e-12)
    assert found.agree


def test_what_both_share_makes_no_difference_between_them():
    first, second = answer(own=0.0), answer(0.004, own=0.0)
    names = {effect.influence for effect in first.effects if effect.source == "load"}
    apart = agreement(FREQUENCY, first, first, z_ref=50.0, shared=names)
    assert np.all(expanded(apart.difference) < 1e-12)
    assert agreement(FREQUENCY, first, second, z_ref=50.0).agree
    assert not agreement(FREQUENCY, first, second, z_ref=50.0, shared=names).agree


def test_independent_answers_agree_in_all_but_a_few_of_many_pairs():
    rng, chance = np.random.default_rng(2), 2000
    first, second = answer(), answer()
    en = []
    for a, b in zip(first.draw(rng, chance), second.draw(rng, chance), strict=True):
        one, other = Quantity(a, first.effects), Quantity(b, second.effects)
        en.append(agreement(FREQUENCY, one, other, z_ref=50.0).normalised_error)
    share = np.mean(np.abs(en) <= 1)
    assert share == pytest.approx(0.95, abs=0.015)
