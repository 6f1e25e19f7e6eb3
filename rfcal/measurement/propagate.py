"""How sure the corrected answer is: one model function, asked in two ways.

The model: standards and their readings fix the error box, a reading is corrected by it, and what
lies on the path is removed. Linear propagation (JCGM 100, the GUM) multiplies every input's
effects by the model's derivatives (of a path's elements by differences); Monte Carlo (JCGM 101 and
102) evaluates the model on random draws of the same inputs.
"""

from collections.abc import Hashable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from rfcal.maths.bilinear import Bilinear
from rfcal.maths.fitting import influence
from rfcal.maths.reflection import Complex, Real, impedance_derivative, to_impedance
from rfcal.measurement.deembedding import Step, across
from rfcal.measurement.error_terms import Calibration
from rfcal.uncertainty.curved_regions import NODE, Region, Triple, region_of
from rfcal.uncertainty.derived import Figures, derived
from rfcal.uncertainty.quantity import Effect, Quantity, Swept, combine

BENT = 0.02
"""A stray of a standard counts as large where the square of what it changes there is above this
part of the answer's least standard deviation: then it shows that the model is not linear [1]."""


@dataclass(frozen=True, eq=False)
class Inputs(Swept):
    """All that one corrected reading depends on."""

    calibration: Calibration  # at the reading's frequencies
    reading: Quantity  # raw, of the device [1]
    connection: Quantity  # what connecting adds to its true reflection [1]; zero on average
    path: tuple[Step, ...] = ()  # from the standards' plane outward

    at = Swept.at_points

    def draw(self, rng: "np.random.Generator", draws: int) -> Complex:
        """Random corrected reflections [1], shape (draws, F): the model of random inputs."""
        return self.walk(rng, draws)[0]

    def walk(self, rng: "np.random.Generator", draws: int) -> tuple[Complex, list[Bilinear]]:
        """Random corrected reflections, as `draw`, and the path's random maps in its order."""
        calibration, drawn = self.calibration, dict[Hashable, Real]()
        known = [k.draw(rng, draws, drawn) for k in calibration.known]
        seen = [s.draw(rng, draws, drawn) for s in calibration.seen]
        pairs = [(self.reading, self.connection), *(p for s in self.path for p in s.readings)]
        read = [(r.draw(rng, draws, drawn), c.draw(rng, draws, drawn)) for r, c in pairs]
        box = Bilinear.fit(known, seen, calibration.weight)
        reflection, *others = (box.correct(r) - c for r, c in read)
        maps = []
        for step in self.path:
            count = len(step.readings)
            corrected, others = others[:count], others[count:]
            inputs = [*corrected, *(p.draw(rng, draws, drawn) for p in step.parameters)]
            through = step.element.bilinear(inputs)
            reflection = (through.apply if step.embed else through.correct)(reflection)
            maps.append(through)
        return reflection, maps


def propagate(inputs: Inputs) -> Quantity:
    """Corrected reflection [1] of the device with the effect of every source, to first order.

    For more than three standards the terms of second order in the fit's own residuals are
    left out; Monte Carlo has them.
    """
    return beyond(at_plane(inputs.calibration, inputs.reading, inputs.connection), inputs)


def region(inputs: Inputs, reflection: Quantity) -> Region:
    """The region in which the corrected reflection is, doubtful turns on its path and all."""
    turned = [step.parameters[k] for step in inputs.path for k in step.turning]
    least = np.sqrt(np.maximum(np.linalg.eigvalsh(reflection.covariance())[:, 0], 0))
    strays = [
        _at_nodes(inputs, known, effect)
        for known in inputs.calibration.known
        for effect in known.effects
        if np.any(np.abs(effect.change) ** 2 > BENT * least)
    ]
    return region_of(reflection, [_at_nodes(inputs, q, *q.effects) for q in turned], strays)


def figures_of(
    inputs: Inputs, reflection: Quantity, z_ref: float, *, passive: bool | NDArray[np.bool_] = True
) -> Figures:
    """What is read off the corrected reflection, each figure with its 95 % interval."""
    where = region(inputs, reflection)
    frequency = inputs.calibration.frequency
    return derived(frequency, reflection, z_ref=z_ref, region=where, passive=passive)


def _at_nodes(inputs: Inputs, known: Quantity, effect: Effect) -> Triple:
    """The answer with one effect on one input certain: small, as believed, and large."""
    others = tuple(e for e in known.effects if e is not effect)
    low, middle, high = (
        propagate(_with(inputs, known, Quantity(known.value + effect.moved(k), others)))
        for k in (-NODE, 0.0, NODE)
    )
    return low, middle, high


def _with(inputs: Inputs, old: Quantity, new: Quantity) -> Inputs:
    """The inputs with a parameter of the path, or what a standard is, in place of another."""

    def swapped(those: tuple[Quantity, ...]) -> tuple[Quantity, ...]:
        return tuple(new if q is old else q for q in those)

    path = tuple(replace(step, parameters=swapped(step.parameters)) for step in inputs.path)
    calibration = inputs.calibration
    if any(q is old for q in calibration.known):
        calibration = calibration.with_known(swapped(calibration.known))
    return replace(inputs, calibration=calibration, path=path)


def beyond(reflection: Quantity, inputs: Inputs) -> Quantity:
    """A reflection [1] at the standards' plane as it is beyond the path, with every effect."""
    for step in inputs.path:
        readings = [at_plane(inputs.calibration, *pair) for pair in step.readings]
        known = [*readings, *step.parameters]
        reflection = across(reflection, step.element, known, embed=step.embed)
    return reflection


def behind_path(inputs: Inputs) -> Complex:
    """What a small reflection added beyond all that is removed adds at the plane [1]."""
    removed = tuple(step for step in inputs.path if not step.embed)
    near = inputs.calibration.error_box.correct(inputs.reading.value)
    probe = Effect("at the plane", np.ones_like(near))
    far = beyond(Quantity(near, (probe,)), replace(inputs, path=removed))
    (moved,) = (e.change for e in far.effects if e.influence == probe.influence)
    return np.asarray(1 / moved, complex)


def at_plane(calibration: Calibration, reading: Quantity, connection: Quantity) -> Quantity:
    """A raw reading corrected to the standards' plane [1], with the effect of every source."""
    box = calibration.error_box
    known = [k.value for k in calibration.known]
    seen = [s.value for s in calibration.seen]
    value = box.correct(reading.value)
    # d(device)/d(reading) = 1 / f'(device)
    parts: list[tuple[Quantity, Complex | float]] = [
        (reading, 1 / box.derivative(value)),
        (connection, -1.0),
    ]
    # standard i enters the fit through e_i = m_i (c g_i + d) - a g_i - b
    share = influence(known, seen, value, reading.value, calibration.weight)
    share = share / (box.c * reading.value - box.a)
    for i, (k, s) in enumerate(zip(calibration.known, calibration.seen, strict=True)):
        parts.append((k, share[i] * (box.c * seen[i] - box.a)))
        parts.append((s, share[i] * (box.c * known[i] + box.d)))
    return combine(value, *parts)


def impedance(reflection: Quantity, z_ref: float) -> Quantity:
    """Impedance [ohm] of a reflection with its effects, to first order."""
    value = to_impedance(reflection.value, z_ref)
    slope = impedance_derivative(reflection.value, z_ref)
    # exactly at an open there is no slope; the half-widths say that nothing bounds R and X there
    return reflection.through(value, np.where(np.isfinite(slope), slope, 0))
