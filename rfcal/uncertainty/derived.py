"""What is read off a corrected reflection, each figure with its 95 % interval.

R, X, |Z|, SWR, return loss, series and parallel inductance and capacitance, and Q: each follows
from one figure that is constant on circles of the reflection plane (`circles.Level`) by a
function that only rises or only falls, so its interval is that figure's, carried over.
"""

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from rfcal.maths import circles as levels
from rfcal.maths.arguments import frozen
from rfcal.maths.reflection import Real, swr, to_admittance, to_impedance
from rfcal.maths.reflection import return_loss_db as loss
from rfcal.uncertainty import intervals
from rfcal.uncertainty.curved_regions import Region, region_of
from rfcal.uncertainty.quantity import Quantity


@dataclass(frozen=True, eq=False)
class Figure:
    """A real figure and its 95 % interval."""

    value: Real  # best estimate, shape (F,)
    low: Real  # ends of the interval, shape (F,); an infinite one, or one at the figure's bound,
    high: Real  # makes it one-sided
    unit: str  # empty for a plain number
    least: float = -np.inf  # its lower bound, of a passive device where it depends on that

    def __post_init__(self) -> None:
        for name in ("value", "low", "high"):
            values = frozen(getattr(self, name), f"the {name} of a figure", copy=False)
            object.__setattr__(self, name, values)

    @property
    def one_sided(self) -> Any:
        """What the interval tells at each frequency, as `sidedness` says it."""
        return sidedness(self.low, self.high, self.least)


SIDES = np.array([None, "above", "below", "unknown"], dtype=object)


def sidedness(low: Real | float, high: Real | float, least: float) -> Any:
    """Which ends of an interval the reading gives, and not a bound that holds anyhow.

    None for both, ``"above"`` for the low end only, ``"below"`` for the high end only, and
    ``"unknown"`` for neither.
    """
    without_low = np.isinf(low) | (np.asarray(low) == least)
    return SIDES[2 * without_low + np.isinf(high)]


class Figures(Mapping[str, Figure]):
    """What is read off one reflection, each figure worked out when it is first asked for."""

    def __init__(self, names: Iterable[str], figure: Callable[[str], Figure]):
        self._names, self._figure = tuple(names), cache(figure)

    def __getitem__(self, name: str) -> Figure:
        with np.errstate(divide="ignore", invalid="ignore"):
            return self._figure(name)

    def __iter__(self) -> Iterator[str]:
        return iter(self._names)

    def __len__(self) -> int:
        return len(self._names)


def carried(
    of: Callable[[Real], Real],
    value: Real,
    low: Real,
    high: Real,
    unit: str,
    least: float = -np.inf,
) -> Figure:
    """A figure that only rises or only falls, on either side of zero, with one that is known."""
    low, through = low + 0.0, (low < 0) & (high > 0)
    zeros = np.where(through, -0.0, low), np.where(through, 0.0, high)
    ends = [of(end) for end in (low, high, *zeros)]
    return Figure(of(value), np.min(ends, axis=0), np.max(ends, axis=0), unit, least)


def derived(
    frequency: Real,
    reflection: Quantity,
    *,
    z_ref: float,
    region: Region | None = None,
    passive: bool | NDArray[np.bool_] = True,
) -> Figures:
    """All figures of one device, whose bounds hold where it is known to be passive.

    An inductance is negative where the device is a capacitor, and the other way round; where it may
    be either, a capacitance in series and an inductance in parallel have no bound at all.
    """
    where, w = region or region_of(reflection), 2 * np.pi * np.asarray(frequency, float)
    z, y = (to(reflection.value, 1.0) for to in (to_impedance, to_admittance))
    x, b = (levels.REACTANCE, z.imag), (levels.SUSCEPTANCE, y.imag)
    size = levels.SQUARED_IMPEDANCE, np.abs(z) ** 2
    reflected = levels.SQUARED_REFLECTION, np.abs(reflection.value) ** 2
    ratio = np.divide(z.imag, z.real, out=np.full(z.shape, np.inf), where=z.real > 0)
    by_name: dict[str, tuple[Any, ...]] = {
        "resistance": (levels.RESISTANCE, z.real, lambda r: z_ref * r, "ohm", 0.0),
        "reactance": (*x, lambda x: z_ref * x, "ohm"),
        "impedance_magnitude": (*size, lambda s: z_ref * _root(s), "ohm", 0.0),
        "swr": (*reflected, lambda s: swr(_root(s)), "", 1.0),
        "return_loss": (*reflected, lambda s: loss(_root(s)), "dB", 0.0),
        "series_inductance": (*x, lambda x: z_ref / w * x, "H"),
        "series_capacitance": (*x, lambda x: -1 / (w * z_ref * x), "F"),
        "parallel_resistance": (levels.CONDUCTANCE, y.real, lambda g: z_ref / g, "ohm", 0.0),
        "parallel_inductance": (*b, lambda b: -z_ref / (w * b), "H"),
        "parallel_capacitance": (*b, lambda b: b / (w * z_ref), "F"),
        "q": (levels.REACTANCE_OVER_RESISTANCE, ratio, np.abs, "", 0.0),
    }

    @cache
    def ends(level: levels.Level) -> tuple[Real, Real]:
        return intervals.interval(level, reflection, region=where, passive=passive)

    def figure(name: str) -> Figure:
        level, value, of, *kind = by_name[name]
        return carried(of, value, *ends(level), *kind)

    return Figures(by_name, figure)


def _root(square: Real) -> Real:
    return np.sqrt(np.maximum(square, 0))


def ends_of(figures: Mapping[str, Figure]) -> Real:
    """Intervals of R and of X [ohm], shape (F, 2, 2): last axis low and high."""
    pair = (figures[name] for name in ("resistance", "reactance"))
    ends = np.stack([np.stack([f.low, f.high], axis=-1) for f in pair], axis=-2)
    return frozen(ends, "intervals", copy=False)
