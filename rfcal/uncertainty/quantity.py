"""A complex input together with what makes it uncertain.

An `Effect` is one standard deviation of one real influence, written as the change that it
makes in the complex value. Linear propagation multiplies effects by sensitivities, Monte
Carlo multiplies the same effects by random numbers: one description serves both. Influences go by
their names: effects of one name move together, whatever quantities they have come to, and
influences that are independent have different names.
"""

from collections.abc import Callable, Hashable, Iterable
from dataclasses import dataclass, fields, is_dataclass, replace
from typing import Any, Self, cast

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rfcal.errors import ArgumentError
from rfcal.maths.arguments import frozen
from rfcal.maths.reflection import Complex, Real

Index = NDArray[np.intp] | slice
MANY, PIECE = 250_000, 50_000
"""Values whose effects are not kept in memory, and of how many they are worked out at once: about
60 MB of influences."""


def at_points(thing: Any, index: Index) -> Any:
    """The same at some of its frequencies, which are the last axis of all arrays in it."""
    if isinstance(index, slice) and index == slice(None):
        return thing
    if isinstance(thing, _InPieces):
        return thing.part(index)
    if isinstance(thing, np.ndarray):
        return thing[..., index] if thing.ndim else thing
    if isinstance(thing, tuple):
        return tuple(at_points(part, index) for part in thing)
    if not is_dataclass(thing):
        return thing
    parts = {f.name: at_points(getattr(thing, f.name), index) for f in fields(thing)}
    return replace(cast(Any, thing), **parts)


class Swept:
    """What has frequencies as the last axis of its arrays."""

    def at_points(self, index: Index) -> Self:
        """The same at some of its frequencies."""
        return cast(Self, at_points(self, index))


@dataclass(frozen=True, eq=False)
class Effect:
    """One real influence of unit standard deviation on a complex quantity.

    Effects of one source that rest on repeats are drawn as a joint t.
    """

    source: str  # its name in the budget, such as "load: resistance"
    change: Complex  # by one standard deviation, in the unit of the quantity, shape (F,) or ()
    per_point: bool = False  # a new value at every frequency (noise), else one common to all
    rectangular: bool = False  # spread evenly (a display's step), else normal
    influence: Hashable = None  # its name; the source where None
    freedom: float = np.inf  # degrees of freedom of the standard deviation, finite of repeats
    # what its square adds, in standard deviations, shape (F,) or (): left out of all that is linear
    curve: Complex | float = 0.0

    def __post_init__(self) -> None:
        object.__setattr__(self, "change", frozen(self.change, "a change", copy=False))
        if self.influence is None:
            object.__setattr__(self, "influence", self.source)

    def scaled(self, slope: Complex | float) -> "Effect":
        """What becomes of the influence through a function of this complex derivative."""
        change = slope * self.change
        kind = self.per_point, self.rectangular
        return Effect(self.source, change, *kind, self.influence, self.freedom)

    def moved(self, deviations: float | Real) -> Complex:
        """What it changes by so many standard deviations."""
        bent = self.change + deviations * self.curve if np.any(self.curve) else self.change
        return np.asarray(deviations * bent, complex)

    def numbers(self, rng: "np.random.Generator", draws: int, points: int) -> Real:
        """Random numbers of unit standard deviation, shape (draws, points) or (draws, 1)."""
        shape = (draws, points if self.per_point else 1)
        if self.rectangular:
            return rng.uniform(-np.sqrt(3), np.sqrt(3), shape)
        return rng.standard_normal(shape)

    def _with(self, other: "Effect") -> "Effect":
        """Both effects of one influence on one quantity."""
        kind, same = ((e.source, e.per_point, e.rectangular, e.freedom) for e in (self, other))
        if kind != same:
            raise ArgumentError(
                f"two influences are named {self.influence!r}, of '{self.source}' and of "
                f"'{other.source}': give each a name of its own"
            )
        return replace(self, change=self.change + other.change, curve=self.curve + other.curve)


def both_axes(
    source: str,
    deviation: ArrayLike,
    *,
    slope: ArrayLike = 1.0,
    per_point: bool = False,
    rectangular: bool = False,
    influence: Hashable = None,
) -> tuple[Effect, Effect]:
    """Equal and independent influences on the real and the imaginary part.

    The deviation of each, shape (F,) or (), is in the unit of what has this slope, the quantity's
    derivative by it.
    """
    step = np.asarray(slope, complex) * deviation
    name = source if influence is None else influence
    return (
        Effect(source, step, per_point, rectangular, (name, "real")),
        Effect(source, 1j * step, per_point, rectangular, (name, "imaginary")),
    )


def spread_effects(
    source: str, of: str, off: Complex, where: NDArray[np.bool_]
) -> tuple[Effect, Effect]:
    """How far a value may be off that stands for several, each off by so much, shape (K, F)."""
    parts = np.where(where, [off.real, off.imag], 0)
    covariance = np.einsum("ikf,jkf->fij", parts, parts) / np.sum(where, axis=0)[:, None, None]
    sizes, axes = np.linalg.eigh(covariance)
    changes = np.sqrt(np.maximum(sizes, 0)) * (axes[:, 0] + 1j * axes[:, 1])
    one, other = (Effect(source, changes[:, i], True, True, (source, of, i)) for i in (0, 1))
    return one, other


@dataclass(frozen=True, eq=False)
class Quantity(Swept):
    """A complex input and its independent effects; those of one influence become one."""

    value: Complex  # best estimate, shape (F,)
    effects: tuple[Effect, ...] = ()

    def __post_init__(self) -> None:
        value = frozen(self.value, "a quantity", copy=False)
        object.__setattr__(self, "value", value)
        for effect in self.effects:
            if effect.change.shape not in ((), value.shape):
                raise ArgumentError(
                    f"the effect of '{effect.source}' has the shape {effect.change.shape}, and "
                    f"the quantity {value.shape}: give one change, or one for each value"
                )
        if len({effect.influence for effect in self.effects}) < len(self.effects):
            object.__setattr__(self, "effects", _merged(self.effects))

    def through(self, value: Complex, slope: ArrayLike) -> "Quantity":
        """What a holomorphic function of this value and complex derivative makes of it."""
        slope = np.asarray(slope, complex)
        return Quantity(value, tuple(effect.scaled(slope) for effect in self.effects))

    def plus(self, *effects: Effect) -> "Quantity":
        """The same value with more effects."""
        return Quantity(self.value, (*self.effects, *effects))

    @property
    def own(self) -> "Quantity":
        """The same with what is new at each point alone, such as noise."""
        return Quantity(self.value, tuple(effect for effect in self.effects if effect.per_point))

    def covariance(self) -> Real:
        """Covariance of the real and the imaginary part, shape (F, 2, 2)."""
        shape = np.shape(self.value)
        xx, xy, yy = np.zeros(shape), np.zeros(shape), np.zeros(shape)
        for effect in self.effects:
            x, y = np.real(effect.change), np.imag(effect.change)
            xx += x * x
            xy += x * y
            yy += y * y
        return np.stack([xx, xy, xy, yy], axis=-1).reshape(*shape, 2, 2)

    def common_changes(self) -> Complex:
        """What each influence common to all frequencies changes, shape (N, F)."""
        points = np.shape(self.value)
        common = [np.broadcast_to(e.change, points) for e in self.effects if not e.per_point]
        return np.array(common, complex).reshape(-1, *points)

    def by_source(self) -> dict[str, Real]:
        """The covariance that each source alone would give, shape (F, 2, 2); they add up."""
        parts: dict[str, list[Effect]] = {}
        for effect in self.effects:
            parts.setdefault(effect.source, []).append(effect)
        return {s: Quantity(self.value, tuple(own)).covariance() for s, own in parts.items()}

    def variance(self) -> Real:
        """Mean variance of the real and the imaginary part, shape (F,)."""
        squares = (np.abs(effect.change) ** 2 for effect in self.effects)
        return frozen(sum(squares, np.zeros(np.shape(self.value))) / 2, "", copy=False)

    def draw(
        self, rng: "np.random.Generator", draws: int, drawn: dict[Hashable, Real] | None = None
    ) -> Complex:
        """Random values, shape (draws, F).

        Numbers already drawn are taken from `drawn`, by influence, and new ones added to it:
        quantities drawn with the same dict move together where they share influences.
        """
        drawn = {} if drawn is None else drawn
        values = np.repeat(self.value[None, :], draws, axis=0)
        for effect in self.effects:
            if effect.influence not in drawn:
                drawn[effect.influence] = effect.numbers(rng, draws, self.value.size)
            change = effect.moved(drawn[effect.influence])
            if np.isfinite(effect.freedom):
                change /= _spread(effect, rng, draws, drawn)
            values += change
        return values


class _InPieces(Quantity):
    """A quantity of very many values: its effects are worked out piece by piece, when asked."""

    def __init__(self, size: int, part: Callable[[Index], Quantity]):
        vars(self).update(size=size, part=part)
        vars(self)["value"] = frozen(self._joined(lambda piece: piece.value), "", copy=False)

    part: Callable[[Index], Quantity]
    size: int

    def _joined(self, of: Callable[[Quantity], NDArray[Any]]) -> NDArray[Any]:
        return np.concatenate([of(self.part(index)) for index in blocks(self.size)])

    @property
    def effects(self) -> tuple[Effect, ...]:
        """All of them, which takes as much memory as the influences are many."""
        return self.part(slice(None)).effects

    def through(self, value: Complex, slope: ArrayLike) -> Quantity:
        """As of any quantity."""
        slope = np.broadcast_to(np.asarray(slope, complex), value.shape)
        return worked_out(
            self.size, lambda index: self.part(index).through(value[index], slope[index])
        )

    def covariance(self) -> Real:
        """As of any quantity."""
        return self._joined(Quantity.covariance)

    def variance(self) -> Real:
        """As of any quantity."""
        return self._joined(Quantity.variance)


def blocks(size: int) -> list[slice]:
    """So many values in pieces that are worked out at once; all of them where they are not many."""
    step = PIECE if size > MANY else size
    return [slice(start, start + step) for start in range(0, size, step)]


def worked_out(size: int, part: Callable[[Index], Quantity]) -> Quantity:
    """What a function gives of all values: very many are kept without their effects."""
    return part(slice(None)) if size <= MANY else _InPieces(size, part)


def _merged(effects: Iterable[Effect]) -> tuple[Effect, ...]:
    """Effects of one influence added before they are squared, as they move together."""
    together: dict[Hashable, Effect] = {}
    for effect in effects:
        other = together.get(effect.influence)
        together[effect.influence] = effect if other is None else other._with(effect)
    return tuple(together.values())


def _spread(
    effect: Effect, rng: "np.random.Generator", draws: int, drawn: dict[Hashable, Real]
) -> Real:
    """Root of chi-square over its degrees of freedom, one for all effects of a source."""
    key = ("degrees of freedom", effect.source, effect.freedom)
    if key not in drawn:
        drawn[key] = np.sqrt(rng.chisquare(effect.freedom, (draws, 1)) / effect.freedom)
    return drawn[key]


def combine(value: Complex, *parts: tuple[Quantity, Complex | float]) -> Quantity:
    """What a holomorphic function makes of several quantities, each given with its derivative."""
    return Quantity(value, tuple(e.scaled(slope) for q, slope in parts for e in q.effects))
