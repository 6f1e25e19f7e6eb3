"""How sure the corrected answer is: one model function, asked in two ways.

The model: standards and their readings fix the error box, a reading is corrected by it, and what
lies on the path is removed. Linear propagation (JCGM 100, the GUM) multiplies every input's
effects by the model's derivatives (of a path's elements by differences); Monte Carlo (JCGM 101 and
102) evaluates the model on random draws of the same inputs, at some frequencies, and says which of
the two to believe.

Sources: JCGM 101:2008 (7.7 intervals, 7.9 adaptive procedure, 8 comparison with the linear answer)
and JCGM 102:2011 (7.6 covariance, 7.7.2 elliptical region) for complex outputs.
"""

from collections.abc import Hashable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from rfcal.maths.bilinear import Bilinear
from rfcal.maths.fitting import influence
from rfcal.maths.reflection import Complex, Real, impedance_derivative, to_impedance
from rfcal.measurement.deembedding import Step, across, path_map
from rfcal.measurement.error_terms import Calibration
from rfcal.readings.rows import Say, silent
from rfcal.uncertainty.coverage import (
    COVERAGE,
    K_AXIS,
    K_ELLIPSE,
    degrees_of_freedom,
    expanded,
    region_factor,
    squared_distance,
    standard_uncertainty,
)
from rfcal.uncertainty.curved_regions import NODE, Region, Triple, region_of
from rfcal.uncertainty.derived import Figures, derived
from rfcal.uncertainty.quantity import Effect, Quantity, Swept, combine

BENT = 0.02
"""A stray of a standard counts as large where the square of what it changes there is above this
part of the answer's least standard deviation: then it shows that the model is not linear [1]."""
BATCH = 10_000
"""Draws between two looks at whether to stop: the M of JCGM 101, 7.9.4, for 95 %."""
MOST = 300_000
"""Draws at one frequency after which to stop in any case."""
ASKED = 16
"""Frequencies of a sweep, however long, at which Monte Carlo is asked."""
SHARE = 0.2
"""Part of a numerical tolerance that the draws may use up: a fifth where the linear answer is to be
judged by them (JCGM 101, 8.2)."""
KEPT = 4_000
"""Draws of the first batch that are kept as a sample."""
WIDER = 0.05
"""By how much a region may differ from a normal one, in parts of its radius."""
TAIL = (1 - COVERAGE) / 2


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
    box = inputs.calibration.error_box
    removed = path_map(box, [step for step in inputs.path if not step.embed])
    return removed.derivative(removed.correct(box.correct(inputs.reading.value)))


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


@dataclass(frozen=True, eq=False)
class Ellipse:
    """A 95 % region of the reflection plane at each frequency."""

    centre: Complex  # reflection coefficient [1], shape (F,)
    covariance: Real  # shape of the ellipse [1], (F, 2, 2)
    radius: Real  # its size in the measure of the covariance [1], shape (F,)


@dataclass(frozen=True, eq=False)
class Assessment:
    """One device by linear propagation and by Monte Carlo, and which of them to believe."""

    index: NDArray[np.intp]  # frequencies at which Monte Carlo was asked, shape (n,)
    linear: NDArray[np.bool_]  # where the linear intervals of R and of X may be used, (n, 2)
    tolerance: Real  # numerical tolerance of R and X [ohm] that the two were compared with, (n, 2)
    draws: NDArray[np.int64]  # shape (n,)
    # where the verdict is sure: Monte Carlo's figures had come to rest, or agree with the linear
    # ones, or not, whatever more draws would have moved; shape (n,)
    settled: NDArray[np.bool_]
    # region of the reflection at all frequencies, shape (F,): Monte Carlo's where it was asked and
    # the linear one may not be used
    region: Ellipse


def assess(
    inputs: Inputs,
    interval: Real,
    z_ref: float,
    rng: "np.random.Generator",
    *,
    answer: int = 0,
    say: Say = silent,
) -> Assessment:
    """Both answers at some frequencies: that of the answer, and those where most is bent.

    Parameters
    ----------
    inputs : Inputs
        The reading and all it depends on.
    interval : ndarray, shape (F, 2, 2)
        95 % intervals of R and of X [ohm], last axis low and high: what they differ from the
        linear ones by tells where most is bent.
    z_ref : float
        Reference impedance of the reflections [ohm].
    rng : numpy.random.Generator
        Where the randomness comes from.
    answer : int
        Index of a frequency at which Monte Carlo is asked in any case.
    say : callable
        Called with a few words before more draws.

    Returns
    -------
    Assessment
        The comparison; its cost does not grow with the sweep.
    """
    whole = propagate(inputs)
    index = _asked(impedance(whole, z_ref), interval, answer)
    few = inputs.at(index)
    reflection = propagate(few)
    linear = _linear_ends(impedance(reflection, z_ref))
    sure = np.zeros(index.size, bool)
    batches = np.full((MOST // BATCH, index.size, 2, 2), np.nan)
    for count, batch in enumerate(batches, start=1):
        active = np.flatnonzero(~sure)
        if not active.size:
            break
        say(f"{count * BATCH:,} draws")
        drawn = _batch(few.at(active), rng)
        batch[active] = _ends(to_impedance(drawn, z_ref))
        if count == 1:
            sample = (drawn - reflection.value[:, None])[:, :KEPT]
        sure[active] = _sure(linear[active], batches[:count, active])
    ends = np.nanmean(batches, axis=0)
    draws = BATCH * np.count_nonzero(~np.isnan(batches[..., 0, 0]), axis=0)
    region, (there, upheld) = linear_region(whole), ellipse_of(reflection, sample)
    for own, asked in zip(vars(region).values(), vars(there).values(), strict=True):
        own[index] = asked
    # JCGM 101, clause 8; and no passive device's R is below zero
    agrees = np.all(np.abs(linear - ends) <= _tolerance(ends)[..., None], axis=-1)
    agrees[:, 0] &= linear[:, 0, 0] >= 0
    agrees &= upheld[:, None]
    return Assessment(index, agrees, _tolerance(ends), draws, sure, region)


def _asked(linear: Quantity, interval: Real, answer: int) -> NDArray[np.intp]:
    """The answer's frequency and those where the intervals are furthest from the linear ones."""
    ends = _linear_ends(linear)
    known = np.maximum(tolerance_of(standard_uncertainty(linear.covariance())), 1e-300)
    with np.errstate(invalid="ignore", over="ignore"):
        off = np.nan_to_num(np.abs(interval - ends).max(axis=-1) / known, nan=np.inf)
    bend = off.max(axis=-1)
    first = np.argsort(-bend, kind="stable")
    first = np.concatenate([[answer], first[first != answer]])
    return np.sort(first[:ASKED])


def _batch(inputs: Inputs, rng: "np.random.Generator") -> Complex:
    """Draws of the corrected reflection [1], shape (F, N), so many at once as fit the cache.

    Of hundreds of standards, as fit the memory.
    """
    values = min(8192, 2**21 // len(inputs.calibration.known))
    size = max(1, values // inputs.reading.value.size)
    parts = [inputs.draw(rng, min(size, BATCH - start)) for start in range(0, BATCH, size)]
    return np.concatenate(parts).T


def _ends(z: Complex) -> Real:
    """Of the equal-tailed 95 % intervals of R and of X of draws [ohm], (F, N), shape (F, 2, 2)."""
    parts = [np.quantile(part, [TAIL, 1 - TAIL], axis=-1) for part in (z.real, z.imag)]
    return np.transpose(parts, (2, 0, 1))


def _sure(linear: Real, batches: Real) -> NDArray[np.bool_]:
    """Where no more draws would change the verdict, or the ends have come to rest (7.9.4)."""
    count, average = len(batches), batches.mean(axis=0)
    if count == 1:  # it tells nothing of how ends scatter
        return np.zeros(len(linear), bool)
    twice = 2 * batches.std(axis=0) / np.sqrt(count - 1)
    off, limit = np.abs(linear - average), _tolerance(average)[..., None]
    # all ends agree whatever is drawn, or one does not
    told = np.all(off + twice <= limit, axis=-1) | np.any(off > limit + twice, axis=-1)
    return np.all(told, axis=-1) | np.all(twice <= SHARE * limit, axis=(-1, -2))


def tolerance_of(deviation: Real) -> Real:
    """Numerical tolerance: half a unit of the first significant digit (JCGM 101, 7.9.2).

    It is zero where nothing is uncertain.
    """
    known = deviation > 0
    # u = c 10^l with c a whole number of one digit; half of 10^l
    power = np.floor(np.log10(np.where(known, deviation, 1.0)))
    return np.where(known, 0.5 * 10.0**power, 0.0)


def _tolerance(ends: Real) -> Real:
    """Of the ends of intervals of R and of X [ohm], shape (F, 2)."""
    return tolerance_of((ends[..., 1] - ends[..., 0]) / (2 * K_AXIS))


def _linear_ends(linear: Quantity) -> Real:
    """Ends of the linear 95 % intervals of R and of X [ohm], shape (F, 2, 2)."""
    half, middle = expanded(linear), np.stack([linear.value.real, linear.value.imag], axis=-1)
    return np.stack([middle - half, middle + half], axis=-1)


def linear_region(reflection: Quantity) -> Ellipse:
    """The 95 % region of a reflection by linear propagation alone."""
    freedom = degrees_of_freedom(reflection)
    return Ellipse(reflection.value.copy(), reflection.covariance(), region_factor(freedom))


def ellipse_of(reflection: Quantity, sample: Complex) -> tuple[Ellipse, NDArray[np.bool_]]:
    """The 95 % region of a reflection, and where draws of it less its value uphold the linear one.

    Elsewhere it is that of the draws, shape (F, N).
    """
    mean = sample.mean(axis=-1)
    parts = (
        np.stack([sample.real, sample.imag], axis=-1)
        - np.stack([mean.real, mean.imag], axis=-1)[:, None]
    )
    covariance = np.swapaxes(parts, -1, -2) @ parts / (sample.shape[-1] - 1)
    off = squared_distance((sample - mean[:, None]).T, covariance)
    radius = np.sqrt(np.quantile(off, COVERAGE, axis=0))
    linear = linear_region(reflection)
    moved = squared_distance(mean, linear.covariance)
    upheld = (np.abs(radius / K_ELLIPSE - 1) < WIDER) & (moved < 0.01 * K_ELLIPSE**2)
    # a joint t is no normal region; its own factor is in the linear answer
    upheld |= np.isfinite(degrees_of_freedom(reflection))
    found = Ellipse(
        np.where(upheld, linear.centre, reflection.value + mean),
        np.where(upheld[:, None, None], linear.covariance, covariance),
        np.where(upheld, linear.radius, radius),
    )
    return found, upheld
