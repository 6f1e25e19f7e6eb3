"""A complex input together with what makes it uncertain.

An `Effect` is one standard deviation of one real influence, written as the change that it
makes in the complex value. Linear propagation multiplies effects by sensitivities, Monte
Carlo multiplies the same effects by random numbers: one description serves both.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike

from rfcal.maths.reflection import Complex, Real


@dataclass(frozen=True, eq=False)
class Effect:
    """One real influence of unit standard deviation on a complex quantity.

    Parameters
    ----------
    source : str
        Name for the budget, such as ``"load: resistance"``.
    change : ndarray, shape (F,) or ()
        What one standard deviation changes, in the unit of the quantity.
    per_point : bool
        True for a new value at every frequency (noise), False for one common to all.
    rectangular : bool
        True where the influence is spread evenly (a display's step), else normal.
    root : Effect, optional
        The influence that this one is a consequence of; itself where None. Effects of one root
        move together, whatever quantities they have come to.
    freedom : float
        Degrees of freedom of the standard deviation; finite where it was found from repeats. All
        effects of one source then rest on the same repeats, and are drawn as a joint t.
    """

    source: str
    change: Complex
    per_point: bool = False
    rectangular: bool = False
    root: "Effect | None" = None
    freedom: float = np.inf

    def scaled(self, slope: Complex) -> "Effect":
        """What becomes of the influence through a function of this slope.

        Parameters
        ----------
        slope : ndarray, shape (F,) or ()
            Complex derivative of the function.

        Returns
        -------
        Effect
            Of the same root.
        """
        change, root = slope * self.change, self.root or self
        return Effect(self.source, change, self.per_point, self.rectangular, root, self.freedom)

    def numbers(self, rng: np.random.Generator, draws: int, points: int) -> Real:
        """Random numbers of unit standard deviation for this influence.

        Parameters
        ----------
        rng : numpy.random.Generator
            Where the randomness comes from.
        draws : int
            Number of draws N.
        points : int
            Number of frequencies F.

        Returns
        -------
        ndarray, shape (N, F) or (N, 1)
            Numbers [1].
        """
        shape = (draws, points if self.per_point else 1)
        if self.rectangular:
            return rng.uniform(-np.sqrt(3), np.sqrt(3), shape)
        return rng.standard_normal(shape)


def both_axes(
    source: str,
    deviation: ArrayLike,
    *,
    slope: ArrayLike = 1.0,
    per_point: bool = False,
    rectangular: bool = False,
) -> tuple[Effect, Effect]:
    """Equal and independent influences on the real and the imaginary part.

    Parameters
    ----------
    source : str
        Name for the budget.
    deviation : array_like, shape (F,) or ()
        Standard deviation of each part, in the unit of the influence.
    slope : array_like, shape (F,) or ()
        Derivative of the quantity with respect to the influence.
    per_point : bool
        As for `Effect`.
    rectangular : bool
        As for `Effect`.

    Returns
    -------
    tuple of two Effect
        Along the real axis and along the imaginary one.
    """
    step = np.asarray(slope, complex) * deviation
    return (
        Effect(source, step, per_point, rectangular),
        Effect(source, 1j * step, per_point, rectangular),
    )


@dataclass(frozen=True, eq=False)
class Quantity:
    """A complex input and its independent effects.

    Parameters
    ----------
    value : ndarray, shape (F,)
        Best estimate.
    effects : tuple of Effect
        What makes it uncertain.
    """

    value: Complex
    effects: tuple[Effect, ...] = ()

    def through(self, value: Complex, slope: ArrayLike) -> "Quantity":
        """What a holomorphic function makes of this quantity, to first order.

        Parameters
        ----------
        value : ndarray, shape (F,)
            The function's value at this one's.
        slope : array_like, shape (F,) or ()
            The function's complex derivative there.

        Returns
        -------
        Quantity
            The new value, every effect multiplied by the slope.
        """
        slope = np.asarray(slope, complex)
        return Quantity(value, tuple(effect.scaled(slope) for effect in self.effects))

    def plus(self, *effects: Effect) -> "Quantity":
        """The same value with more effects.

        Parameters
        ----------
        *effects : Effect
            Effects to add.

        Returns
        -------
        Quantity
            A new quantity.
        """
        return Quantity(self.value, (*self.effects, *effects))

    def covariance(self) -> Real:
        """Covariance of the real and the imaginary part.

        Returns
        -------
        ndarray, shape (F, 2, 2)
            Covariance matrix, in the squared unit of the quantity.
        """
        shape = np.shape(self.value)
        xx, xy, yy = np.zeros(shape), np.zeros(shape), np.zeros(shape)
        for effect in self.effects:
            x, y = np.real(effect.change), np.imag(effect.change)
            xx += x * x
            xy += x * y
            yy += y * y
        return np.stack([xx, xy, xy, yy], axis=-1).reshape(*shape, 2, 2)

    def common_changes(self) -> Complex:
        """What one standard deviation of each influence common to all frequencies changes.

        Returns
        -------
        ndarray, shape (N, F)
            Changes, in the unit of the quantity.
        """
        points = np.shape(self.value)
        common = [np.broadcast_to(e.change, points) for e in self.effects if not e.per_point]
        return np.array(common, complex).reshape(-1, *points)

    def by_source(self) -> dict[str, Real]:
        """The covariance split by source; effects are independent, so the parts add up.

        Returns
        -------
        dict of str to ndarray, shape (F, 2, 2)
            Covariance matrix that each source alone would give.
        """
        parts: dict[str, Real] = {}
        for effect in self.effects:
            change = np.broadcast_to(effect.change, np.shape(self.value))
            axes = np.stack([change.real, change.imag], axis=-1)
            part = axes[..., :, None] * axes[..., None, :]
            parts[effect.source] = parts.get(effect.source, 0.0) + part
        return parts

    def variance(self) -> Real:
        """Mean variance of the real and the imaginary part.

        Returns
        -------
        ndarray, shape (F,)
            Variance, in the squared unit of the quantity.
        """
        return np.trace(self.covariance(), axis1=-2, axis2=-1) / 2

    def draw(
        self, rng: np.random.Generator, draws: int, drawn: dict[object, Real] | None = None
    ) -> Complex:
        """Random values of the quantity.

        Parameters
        ----------
        rng : numpy.random.Generator
            Where the randomness comes from.
        draws : int
            Number of draws N.
        drawn : dict, optional
            Numbers that were drawn already, by influence; new ones are added. Quantities drawn
            with the same dict move together where they share influences.

        Returns
        -------
        ndarray, shape (N, F)
            Values.
        """
        drawn = {} if drawn is None else drawn
        values = np.repeat(self.value[None, :], draws, axis=0)
        for effect in self.effects:
            root = effect.root or effect
            if root not in drawn:
                drawn[root] = root.numbers(rng, draws, self.value.size)
            change = drawn[root] * effect.change
            if np.isfinite(effect.freedom):
                change /= _spread(effect, rng, draws, drawn)
            values += change
        return values


def _spread(
    effect: Effect, rng: np.random.Generator, draws: int, drawn: dict[object, Real]
) -> Real:
    """Root of chi-square over its degrees of freedom, one for all effects of a source."""
    key = (effect.source, effect.freedom)
    if key not in drawn:
        drawn[key] = np.sqrt(rng.chisquare(effect.freedom, (draws, 1)) / effect.freedom)
    return drawn[key]


def combine(value: Complex, *parts: tuple[Quantity, ArrayLike]) -> Quantity:
    """What a holomorphic function of several quantities makes of them, to first order.

    Parameters
    ----------
    value : ndarray, shape (F,)
        The function's value.
    *parts : tuple of Quantity and array_like
        Each argument with the function's complex derivative by it.

    Returns
    -------
    Quantity
        Effects of one root that came in by several arguments are added before they are squared,
        so what the arguments have in common is counted as it must be.
    """
    together: dict[int, Effect] = {}
    for quantity, slope in parts:
        for effect in quantity.through(value, slope).effects:
            key = id(effect.root)
            if key in together:
                effect = replace(effect, change=effect.change + together[key].change)
            together[key] = effect
    return Quantity(value, tuple(together.values()))
