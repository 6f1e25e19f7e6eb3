"""Networks that were built with one part off, drawn at random, as an instrument reads them.

It leaves directivity, source match and tracking that both sweeps share; each connection has its
own error, each reading its noise.
"""

from dataclasses import replace

import numpy as np

from rfcal.matching import tolerance
from rfcal.matching.goal import Goal
from rfcal.matching.ranking import rank
from rfcal.matching.stock import Stock
from rfcal.maths.reflection import from_impedance, to_impedance
from rfcal.maths.twoport import TwoPort
from rfcal.models.line import Line
from rfcal.uncertainty.quantity import Quantity, both_axes

FREQUENCY = np.linspace(13.9e6, 14.5e6, 41)
DIRECTIVITY, SOURCE, TRACKING, CONNECTION, NOISE = 0.002, 0.004, 0.002, 0.001, 0.0005


def two_port(network, frequency):
    """A whole network, from source to load."""
    # V1 = A Z + B and I1 = C Z + D with one ampere into the load
    ones = np.ones(np.shape(frequency), complex)
    (b, d), (both, others) = (network.states(frequency, z * ones)[0] for z in (0, 1))
    return TwoPort(both - b, b, others - d, d)


def pair(rng, deviation, shape=()):
    return deviation * (rng.standard_normal(shape) + 1j * rng.standard_normal(shape))


def measured(rng, true, errors, name):
    """A reflection as it comes out of the correction, and what is known of its doubt."""
    directivity, source, tracking = errors
    seen = directivity + (1 + tracking) * true / (1 - source * true)
    seen = seen + pair(rng, CONNECTION) + pair(rng, NOISE, true.shape)
    return Quantity(
        seen,
        (
            *both_axes("directivity", DIRECTIVITY),
            *both_axes("source match", SOURCE, slope=seen**2),
            *both_axes("tracking", TRACKING, slope=seen),
            *both_axes(f"{name}: connection", CONNECTION),
            *both_axes(f"{name}: noise", NOISE, per_point=True),
        ),
    )


def drawn(rng, low, high, *, times=1.0, topologies=("L", "pi", "T"), leads=False):
    """A load of an SWR in a range, its network, and both sweeps with one part off."""
    *found, _, _ = drawn_with_goal(rng, low, high, times, topologies, leads)
    return tuple(found)


def drawn_with_goal(rng, low, high, times, topologies, leads):
    """The same at so many times the frequency, then its goal and what was built of it in truth.

    Every coil and capacitor has leads and strays up to the usual ones, or none has.
    """
    frequency = times * FREQUENCY
    while True:
        ratio = np.exp(rng.uniform(np.log(low), np.log(high)))
        turn = np.exp(1j * (rng.uniform(0, 2 * np.pi) - np.linspace(0, rng.uniform(0, 0.5), 41)))
        true = (ratio - 1) / (ratio + 1) * turn
        z = to_impedance(true)
        band = 14.15e6 * times, 14.25e6 * times
        goal = Goal(frequency, z, 14.2e6 * times, band, 50.0, 1.5)
        stock = Stock(lines=(Line(1.0, 0.66, 50.0, 0.5),))
        found = rank(goal, stock=stock, topologies=topologies).candidates
        if found:
            break
    network = found[int(rng.integers(min(len(found), 4)))].network
    values = network.values
    k, change = int(rng.integers(len(values))), rng.choice([-1, 1]) * rng.uniform(0.05, 0.25)
    values[k] *= 1 + change
    errors = [pair(rng, d) for d in (DIRECTIVITY, SOURCE, TRACKING)]
    made = network.with_values(values)
    if leads:
        shares = rng.uniform(0, 1, (len(values), 2)) * tolerance.MOST_ADDED[:, 0, 0]
        pairs = zip(made.elements, shares, strict=True)
        made = replace(made, elements=tuple(tolerance.strayed(e, *one) for e, one in pairs))
    built = made.seen(frequency, z)
    return (
        network,
        network.elements[k].name,
        change,
        measured(rng, from_impedance(z), errors, "device"),
        measured(rng, built, errors, "after building"),
        goal,
        made,
    )
