"""The values in stock that bring most power to the load over a band, and hold the SWR wanted.

All combinations of neighbouring values in stock are tried at once, by broadcasting, for as long as
one of them is better, in strides that shorten: by SWR, then by power.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from rfcal import defaults
from rfcal.matching.goal import Goal
from rfcal.matching.network import Network, NetworkElement
from rfcal.matching.parts import E_SERIES, preferred, preferred_below
from rfcal.matching.stock import Stock
from rfcal.maths.reflection import Complex, Real

COARSE = 6
"""Steps in a decade of values with which networks of lumped parts are searched at first."""
LONG = 64
"""Steps of length with which sections and stubs, up to half a wave, are tried first."""
SLIGHT = 1e-3
"""A gain for which no other values are taken: of reflection [1] or of power [dB]."""
NEAR = {1: 8, 2: 4}
"""Neighbours on each side that are tried together, by the number of parts; else 2."""
THIN = 25
"""Points of the band, at least, until the last round of the search."""
MISSED_DB = 1e3
"""What misses the target loses this more than what holds it [dB], so that it stands behind."""
COARSER = (1000, 100, 10)
"""Steps of length that will do, beside the finest, where they are within what may be off."""
OFF = np.array([[-1.0], [0.0], [1.0]])
"""Steps by which a length is tried to be off."""


@dataclass(frozen=True, eq=False)
class _Axis:
    """The values that one element may have, by number."""

    grid: Real  # that are in stock, ascending
    stride: int  # of the first round
    start: int

    @classmethod
    def of(
        cls, element: NetworkElement, frequency: Real, stock: Stock, free: bool, wide: bool
    ) -> "_Axis":
        low, high = stock.limits(element.part)
        if element.line is not None:
            longest = int(0.5 * np.max(element.line.wavelength_m(frequency)) / stock.step_m)
            shortest = int(np.ceil(low / stock.step_m - 1e-9))
            grid: Real = np.arange(shortest, longest + 1, dtype=float) * stock.step_m
            return cls(grid, LONG, int(np.abs(grid - element.value).argmin()))
        first, last = preferred_below([low * (1 - 1e-8), high], stock.series)
        grid = preferred(np.arange(first, last + 1), stock.series)
        grid = grid[grid >= low * (1 - 1e-9)]
        if not free:
            below = max(int(np.searchsorted(grid, element.value * (1 + 1e-9))) - 1, 0)
            grid = grid[max(below - 1, 0) : below + 3]
        stride = len(E_SERIES[stock.series]) // COARSE if free and wide else 1
        return cls(grid, stride, int(np.abs(np.log(grid / element.value)).argmin()))


def best_in_stock(
    network: Network, goal: Goal, stock: Stock, *, free: bool = True, anew: bool = True
) -> Network:
    """The values in stock that bring most power to the load where in the band it is least.

    They hold the target SWR where the lowest SWR found does. From the design's on, a local optimum:
    no combination of the values next to these is better. Without `free` they stay next to the
    design's, as where a Q was chosen; not `anew` they are sought next to those that it has.
    """
    frequency, load = goal.in_band()
    thin = np.unique(np.linspace(0, frequency.size - 1, min(frequency.size, THIN)).astype(int))
    few, band = (frequency[thin], load[thin], goal.target_ohm), (frequency, load, goal.target_ohm)
    limit = (goal.target_swr - 1) / (goal.target_swr + 1)
    wide = all(e.line is None for e in network.elements)
    axes = [_Axis.of(element, frequency, stock, free, wide) for element in network.elements]
    count, at, coarse = len(axes), [a.start for a in axes], [a.stride for a in axes]
    near = NEAR.get(count, 2)
    narrow, fine, ones = max(1, min(near, 5 - count)), [-(-s // 4) for s in coarse], [1] * count

    def power(one: Network, band: tuple[Real, Complex, float]) -> Real:
        size, lost = one.heights(*band)
        # a step of power, which nobody notices, is given for staying clear of the target
        clear = lost + defaults.POWER_STEP_DB * (size / limit) ** 4
        return np.where(size <= limit, clear, MISSED_DB + size)

    if anew:
        at = _climb(network, axes, at, coarse, near, lambda one: one.worst(*few))
        at = _climb(network, axes, at, fine, narrow, lambda one: power(one, few))
    at = _climb(network, axes, at, ones, 1, lambda one: power(one, band))
    if network.with_values(_values(axes, at)).worst(*band) > limit:
        at = _climb(network, axes, at, fine, narrow, lambda one: one.heights(*few)[1])
        limit = np.inf
    return _cut(network.with_values(_values(axes, at)), stock, band, limit)


def _values(axes: list[_Axis], at: list[int]) -> list[float]:
    return [float(axis.grid[number]) for axis, number in zip(axes, at, strict=True)]


def _climb(
    network: Network,
    axes: list[_Axis],
    at: list[int],
    strides: list[int],
    width: int,
    by: Callable[[Network], Real],
) -> list[int]:
    """Numbers of the values that no combination within `width` strides betters.

    Once with these strides, then with each a quarter of the one before, to 1.
    """
    steps, stride = np.arange(-width, width + 1), max(strides)
    while stride:
        moves = [steps * min(stride, most) for most in strides]
        for _ in range(100):
            tried = [
                np.clip(a + move, 0, axis.grid.size - 1)
                for axis, a, move in zip(axes, at, moves, strict=True)
            ]
            values = np.ix_(*(axis.grid[one] for axis, one in zip(axes, tried, strict=True)))
            found = by(network.with_values([value[..., None] for value in values]))
            best = np.unravel_index(np.argmin(found), found.shape)
            if not found[best] < found[(width,) * len(axes)] - SLIGHT:
                break
            at = [int(one[k]) for one, k in zip(tried, best, strict=True)]
        stride = (stride + 2) // 4 if stride > 1 else 0
    return at


def _cut(
    network: Network, stock: Stock, band: tuple[Real, Complex, float], limit: float
) -> Network:
    """Lengths to the coarsest step by which each may be off and nobody would notice.

    By such a step the target is still held and no step of power lost.
    """
    most = float(network.heights(*band)[1]) + defaults.POWER_STEP_DB
    for k, element in enumerate(network.elements):
        for step in stock.step_m * np.array(COARSER) if element.line is not None else ():
            near = [*network.values]
            near[k] = float(step * np.round(element.value / step))
            if near[k] - step < stock.limits(element.part)[0]:
                continue
            off = network.with_values([*near[:k], near[k] + step * OFF, *near[k + 1 :]])
            size, lost = off.heights(*band)
            if np.all((size <= limit) & (lost < most)):
                network = network.with_values(near)
                break
    return network
