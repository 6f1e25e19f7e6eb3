"""What readings allow of which a display shows less: standards first, then what is corrected.

Every combination of the standards' options makes an analyzer. Those stay that come near enough to
the likeliest: an uncorrected analyzer's directivity and source match are small, its tracking is
near 1 and turns clockwise, for whatever lies before its plane only delays. With each that stays, a
device's options are corrected; an option that no passive device can be is none.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import combinations, product
from typing import Any

import numpy as np
from numpy.typing import NDArray

from rfcal.errors import CalibrationError
from rfcal.maths.bilinear import Bilinear
from rfcal.maths.reflection import Complex, Real
from rfcal.measurement.bench import Bench
from rfcal.measurement.deembedding import Step, path_map
from rfcal.measurement.error_terms import Calibration
from rfcal.measurement.propagate import Inputs
from rfcal.readings.display import Options
from rfcal.readings.sweep import Sweep
from rfcal.uncertainty.quantity import Quantity, spread_effects

SMALL = 0.1
"""Directivity and source match of an uncorrected analyzer, one standard deviation of each axis [1]
(common practice, no source)."""
TRACKING = 0.15
"""Logarithm of its reflection tracking's size, likewise [1]."""
ANTICLOCKWISE_DEG = 3.0
"""How far its tracking may turn the wrong way, likewise [degree]."""
UNLIKELY = 9.0
"""By how much a sum of squares may exceed the likeliest: three standard deviations."""
WORST = 1e9
"""A sum of squares that leaves no chance."""
MOST = 2_000_000
"""Combinations of standards' options at all frequencies beyond which nothing can be told."""
WAYS = np.exp(2j * np.pi * np.arange(8) / 8)
"""Directions of the reflection in which the outermost of what is possible is looked for."""
ACTIVE = 4.0
"""Standard deviations beyond 1 from which no passive device is [1]."""
SHARPEST = 100.0
"""Q of a resonance sharper than which none is taken to lie just between two readings (common
practice, no source)."""
LOSSY = 3.0
"""X over R from which loss counts as small [1]."""
SURE_RISE = 3.0
"""Standard deviations that X must have risen or fallen by."""


@dataclass(frozen=True, eq=False)
class Undecided:
    """A bench whose standards have options, alive or not at each frequency."""

    bench: Bench
    options: tuple[Options, ...]  # of each standard
    index: NDArray[np.intp]  # the option of each standard in each combination, shape (C, S)
    score: Real  # sum of squares, shape (C, F); infinite where it is no analyzer
    box: Bilinear  # of each combination, shape (C, F)

    @cached_property
    def alive(self) -> NDArray[np.bool_]:
        """Which combinations may be true, shape (C, F)."""
        return self.score <= np.min(self.score, axis=0) + UNLIKELY

    def checked(
        self, options: Options, expected: Quantity, inputs: Inputs, measured: Quantity
    ) -> "Undecided":
        """The same with what a check, as one reading measured it, speaks against combinations.

        It says nothing where none that may be true agrees with it.
        """
        doubt = 2 * (measured.variance() + expected.variance())
        whole = self.box @ path_map(inputs.calibration.error_box, inputs.path)
        with np.errstate(all="ignore"):
            seen = map(whole.correct, options.values(self.bench.z_ref))
            off = np.min([np.abs(x - expected.value) for x in seen], axis=0)
            squared = np.nan_to_num(off**2 / doubt, nan=WORST)
        agrees = np.min(np.where(self.alive, squared, WORST), axis=0) <= UNLIKELY
        return replace(self, score=self.score + squared * agrees)

    def at(self, here: Calibration) -> "Undecided":
        """The same at the points of a calibration, where the standards leave nothing open."""
        return self if self.options else of_certain(self.bench, here)

    def thinned(self) -> "Undecided":
        """Only the combinations that may be true at some frequency."""
        kept = np.any(self.alive, axis=1)
        box = Bilinear(*(coefficient[kept] for coefficient in vars(self.box).values()))
        return replace(self, index=self.index[kept], score=self.score[kept], box=box)

    def bench_with(self, combination: NDArray[np.intp]) -> Bench:
        """The bench with one combination at each frequency, shape (F,)."""
        if not self.options:
            return self.bench
        each = zip(self.bench.standards, self.options, self.index[combination].T, strict=True)
        standards = (replace(item, reading=options.picked(index)) for item, options, index in each)
        return replace(self.bench, standards=tuple(standards))

    def likeliest(self) -> Bench:
        """The bench with the likeliest combination."""
        return self.bench_with(np.argmin(self.score, axis=0))


def undecided(bench: Bench, options: Sequence[Options], frequency: Real) -> Undecided:
    """The combinations of what standards' displays leave, judged by the analyzer they make."""
    sizes = [len(o.sweeps) for o in options]
    if max(sizes, default=1) == 1:
        return of_certain(bench, bench.calibration(frequency))
    if np.prod(sizes, dtype=float) * frequency.size > MOST:
        raise CalibrationError(
            "the standards' readings leave too much open to be worked out: type R and X of one or "
            "two of them, or |Z| beside SWR, or fewer frequencies, or fewer standards"
        )
    index = np.indices(sizes).reshape(len(sizes), -1).T
    known = [item.quantity(frequency, bench.z_ref) for item in bench.standards]
    seen = [o.values(bench.z_ref)[index[:, i]] for i, o in enumerate(options)]
    values = [np.broadcast_to(k.value, seen[0].shape) for k in known]
    alike = np.any([a == b for a, b in combinations(seen, 2)], axis=0)  # no analyzer at all
    seen = [np.where(alike, g, m) for g, m in zip(values, seen, strict=True)]
    with np.errstate(all="ignore"):
        box = Bilinear.fit(values, seen)
        score = _against(box)
        if len(known) > 3:
            for k, g, m in zip(known, values, seen, strict=True):
                doubt = k.variance() + bench.analyzer.connection**2 + bench.analyzer.noise**2
                score += np.abs(box.correct(m) - g) ** 2 / doubt
    score = np.where(alike, WORST, np.nan_to_num(score, nan=WORST))
    return Undecided(bench, tuple(options), index, score, box).thinned()


def of_certain(bench: Bench, here: Calibration) -> Undecided:
    """A bench whose standards leave nothing open."""
    shape = (1, here.frequency.size)
    maps = (np.broadcast_to(coefficient, shape) for coefficient in vars(here.error_box).values())
    return Undecided(bench, (), np.zeros((1, 0), int), np.zeros(shape), Bilinear(*maps))


def _against(box: Bilinear) -> Real:
    """What speaks against an uncorrected analyzer of these error terms, as a sum of squares."""
    tracking = box.reflection_tracking
    wrong_way = np.maximum(np.degrees(np.angle(tracking)), 0) / ANTICLOCKWISE_DEG
    against = wrong_way**2 + (np.log(np.abs(tracking)) / TRACKING) ** 2
    for small in (box.directivity, box.source_match):
        against = against + np.abs(small / SMALL) ** 2
    return np.asarray(against)


@dataclass(frozen=True, eq=False)
class Possible:
    """What one thing may be, by its own options and those of the standards."""

    bench: Undecided
    options: Options
    value: Complex  # corrected to the standards' plane [1], shape (C, K, F)
    far: Complex  # the same beyond the path
    alive: NDArray[np.bool_]  # which of it may be true

    def of_sign(self, sign: int | NDArray[np.intp]) -> "Possible":
        """Only what has X of this sign on the display, at each frequency; 0 for all."""
        own = np.array(self.options.signs)[:, None]
        return replace(self, alive=remaining(self.alive, (own == sign) | (np.asarray(sign) == 0)))

    @property
    def signs(self) -> NDArray[np.bool_]:
        """Which signs X may have on the display (+, -), shape (2, F)."""
        own = (np.array(self.options.signs) == sign for sign in (1, -1))
        return np.array([np.any(self.alive[:, which], axis=(0, 1)) for which in own])

    def beside(self, other: "Possible", variance: Real) -> tuple["Possible", Real]:
        """What of it remains if another reading is of the same thing, and how far off that is.

        By signs of the standards and of both, between whose options all is possible; with the
        variance of the difference [1]. As a squared distance.
        """
        squared = np.full(self.far.shape, np.inf)
        each = zip(self.bench.options, self.bench.index.T, strict=True)
        signs = [np.zeros(len(self.far)), *(np.array(o.signs)[index] for o, index in each)]
        groups = np.unique(signs, axis=1, return_inverse=True)[1]
        for group, sign in product(set(groups.ravel()), set(self.options.signs)):
            own = np.ix_(groups.ravel() == group, np.array(self.options.signs) == sign)
            for its_sign in set(other.options.signs):
                its = np.ix_(own[0].ravel(), np.array(other.options.signs) == its_sign)
                both = self.alive[own][:, :, None] & other.alive[its][:, None]
                off = self.far[own][:, :, None] - other.far[its][:, None]
                among: Any = {"axis": (0, 1, 2), "where": both}
                count = np.maximum(np.sum(both, axis=(0, 1, 2)), 1)
                spread = np.sum(np.abs(off - np.sum(off, **among) / count) ** 2, **among) / count
                nearest = np.min(np.abs(off) ** 2, **among, initial=np.inf)
                squared[own] = np.fmin(squared[own], nearest / (variance + spread))
        least = np.min(squared, axis=(0, 1))
        return replace(self, alive=self.alive & (squared <= least + UNLIKELY)), least

    def outermost(self) -> list[tuple[Bench, Sweep]]:
        """Benches and readings at which some figure has an end, at each frequency."""
        count, kinds, points = self.value.shape
        flat = self.far.reshape(count * kinds, points)
        alive = self.alive.reshape(flat.shape)
        found = dict[tuple[int, ...], None]()
        for figure in _figures(flat):
            ordered = np.where(alive & ~np.isnan(figure), figure, -np.inf)
            found[tuple(np.argmax(ordered, axis=0))] = None
        pairs = [np.divmod(np.array(best), kinds) for best in found]
        return [(self.bench.bench_with(i), self.options.picked(k)) for i, k in pairs]

    def merged(
        self, here: Calibration, nearest: Sweep, source: str, own: NDArray[np.bool_]
    ) -> Sweep:
        """One reading through the likeliest analyzer that stands for all of it.

        It lies in the middle, or at what is nearest to it (`own`, by frequency), as uncertain as
        one of the outermost and by how far all are off.
        """
        parts = np.where(self.alive, [self.value.real, self.value.imag], np.nan)
        low, high = np.nanmin(parts, axis=(1, 2)), np.nanmax(parts, axis=(1, 2))
        middle = (low + high) / 2
        centre = middle[0] + 1j * middle[1]
        flat = self.value.reshape(-1, centre.size)
        far = np.where(self.alive.reshape(flat.shape), np.abs(flat - centre), np.inf)
        centre = np.where(own, flat[np.argmin(far, axis=0), np.arange(centre.size)], centre)
        if np.all(high - low < 1e-12):
            return nearest
        off = here.error_box.derivative(centre) * (flat - centre)
        effects = spread_effects(source, nearest.label, off, self.alive.reshape(flat.shape))
        z_ref = self.bench.bench.z_ref
        return replace(
            nearest,
            reflection=here.error_box.apply(centre),
            z_ref=z_ref,
            effects=tuple(nearest.quantity(z_ref).effects) + effects,
        )


def _figures(reflection: Complex) -> Iterator[Real]:
    """Real figures of a reflection [1] whose greatest values are ends of what is possible."""
    for way in WAYS:
        yield np.real(reflection * way.conj())
    with np.errstate(divide="ignore", invalid="ignore"):
        z = (1 + reflection) / (1 - reflection)
        both = (z.real, z.imag, (1 / z).real, (1 / z).imag, np.abs(z), np.abs(reflection))
        for figure in both:
            yield figure
            yield -figure


def possible(
    bench: Undecided, here: Calibration, options: Options, doubt: Real, path: Sequence[Step]
) -> Possible:
    """What a device may be, whose corrected reflection has about this standard deviation [1].

    `here` is the calibration of the likeliest bench, through which the path was read.
    """
    raw = options.values(bench.bench.z_ref)
    value = np.stack([bench.box.correct(m) for m in raw], 1)
    alive = np.broadcast_to(bench.alive[:, None], value.shape)
    passive = np.abs(value) <= 1 + ACTIVE * doubt
    far = path_map(here.error_box, path).correct(value)
    return Possible(bench, options, value, far, remaining(alive, passive))


def remaining(may_be: NDArray[np.bool_], told: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """What may be true by what was told too, frequency last; all of it where nothing is left."""
    both = may_be & told
    return np.where(np.any(both, axis=tuple(range(both.ndim - 1))), both, may_be)


def by_rise(frequency: Real, reactance: Real, resistance: Real, doubt: Real) -> NDArray[np.bool_]:
    """Which signs of X (+, -) may hold at each frequency by its rising, shape (2, F): none or more.

    X and R [ohm] are those of either sign, and so is the doubt of X, shape (2, F).
    """
    count, unsure = frequency.size, SURE_RISE * doubt
    between = np.hypot(unsure[:, None, :-1], unsure[None, :, 1:])
    steps = follows(frequency, reactance, resistance, between)
    may_be = np.ones((2, count), bool)
    for i in range(count - 1):
        may_be[:, i + 1] = np.any(steps[..., i] & may_be[:, i][:, None], axis=0)
    for i in reversed(range(count - 1)):
        may_be[:, i] &= np.any(steps[..., i] & may_be[:, i + 1], axis=1)
    return may_be


def follows(
    frequency: Real, x: Real, r: Real, unsure: Real, well: float = LOSSY
) -> NDArray[np.bool_]:
    """Which sign of X may follow which from one frequency to the next: before, after, step.

    Where loss is small X rises with frequency (Foster's reactance theorem; a lossy resonance's X
    falls only where it is smaller than R), and through zero or an open no ordinary thing goes more
    steeply than a resonance of `SHARPEST`. X and R [ohm] are those of either sign, shape (2, F);
    by as much as they are `unsure` X may seem to fall. Loss is small where X is so `well` above R.
    """
    part = np.diff(frequency) / np.sqrt(frequency[:-1] * frequency[1:])
    before, after = np.broadcast_arrays(x[:, None, :-1], x[None, :, 1:])
    loss = np.maximum(np.maximum(r[:, None, :-1], r[None, :, 1:]), 1e-3)
    least = np.minimum(np.abs(before), np.abs(after))
    rises = after - before > -unsure
    with np.errstate(divide="ignore", invalid="ignore"):
        # a series resonance in between has Q = f dX/df / 2R
        series = (after - before) / part
        # and a parallel one Q = f dB/df / 2G, with G = R/X^2
        parallel = (1 / np.abs(after) + 1 / np.abs(before)) / part * least**2
    through = np.where(after > 0, series, parallel) / (2 * loss) < SHARPEST
    return np.asarray(np.where(before * after > 0, rises, through) | (least < well * loss))
