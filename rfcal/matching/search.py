"""The values in stock that bring most power to the load over a band, and hold the SWR wanted.

First downhill to a low SWR with exact derivatives, values free, in a few steps of its own (with
scipy's least squares all topologies take 1.8 times as long, to like results); then all combinations
of neighbouring values in stock at once, by broadcasting, for as long as one of them is better: by
SWR, then by power.
"""

from collections.abc import Callable
from dataclasses import dataclass, fields, replace

import numpy as np
from numpy.typing import ArrayLike

from rfcal import defaults
from rfcal.matching.element import NetworkElement
from rfcal.matching.goal import Goal
from rfcal.matching.network import Network
from rfcal.matching.parts import E_SERIES, preferred, preferred_below
from rfcal.matching.stock import Stock
from rfcal.maths.reflection import Complex, Real, swr
from rfcal.models.line import Line

POWERS = (2, 8)
"""The sums of these powers of the reflection are brought down one after the other."""
STEPS = 5
"""Steps downhill for each power."""
COARSE = 6
"""Steps in a decade of values with which one or two lumped parts are searched at first."""
LONG = 64
"""Steps of length with which sections and stubs, up to half a wave, are tried first."""
THIN = 25
"""Points of the band, at least, until the last round of the search."""
SLIGHT_DB = 1e-3
"""A gain of power for which no other values are taken [dB]."""
NEAR = {1: 8, 2: 4}
"""Neighbours on each side that are tried together, by the number of parts; else 2."""


@dataclass(frozen=True, eq=False)
class _Axis:
    """The values that one element may have, by number."""

    grid: Real  # that are in stock, ascending
    stride: int  # of the first round
    start: int

    @classmethod
    def of(
        cls,
        element: NetworkElement,
        design: NetworkElement,
        frequency: Real,
        stock: Stock,
        free: bool,
        wide: bool,
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
            below = max(int(np.searchsorted(grid, design.value * (1 + 1e-9))) - 1, 0)
            grid = grid[max(below - 1, 0) : below + 3]
        stride = len(E_SERIES[stock.series]) // COARSE if free and wide else 1
        return cls(grid, stride, int(np.abs(np.log(grid / element.value)).argmin()))

    def hold(self, number: int) -> int:
        return min(max(number, 0), self.grid.size - 1)

    def values(self, number: ArrayLike) -> Real:
        return self.grid[np.clip(number, 0, self.grid.size - 1)]


@dataclass(frozen=True)
class _Sampled(Line):
    """A line whose constants are kept for the frequencies of the search."""

    kept: tuple[Complex, Complex] | None = None

    def __post_init__(self) -> None:
        """Checked when it was a line, and many are made."""

    def constants(self, frequency: ArrayLike) -> tuple[Complex, Complex]:
        return self.kept or super().constants(frequency)


def _sampled(network: Network, frequency: Real) -> Network:
    """The same network, its lines' constants reckoned once; for these frequencies only."""
    elements = []
    for element in network.elements:
        if (line := element.line) is not None:
            kept = line.constants(frequency)
            new = _Sampled(**{f.name: getattr(line, f.name) for f in fields(Line)}, kept=kept)
            element = element.with_line(new)
        elements.append(element)
    return replace(network, elements=tuple(elements))


def _descend(
    network: Network, frequency: Real, load: Complex, z_ref: float, stock: Stock
) -> Network:
    """Downhill from a design, with values of any size.

    Gauss-Newton steps with damping (Levenberg and Marquardt) on the sum of a power of the
    reflection over the band; the higher the power, the more the worst point counts.
    """
    limits = np.log([stock.limits(element.part) for element in network.elements])
    logs = np.log(network.values)
    best, least = logs, np.inf
    damping = 1e-2
    for power in POWERS:
        height = np.inf
        for _ in range(STEPS):
            trial = network.with_values(np.exp(logs).tolist())
            seen, slopes, _ = trial.seen_and_slopes(frequency, load, z_ref=z_ref)
            size = np.abs(seen)
            now = float(np.mean(size**power) ** (1 / power))
            if size.max() < least:
                best, least = logs, float(size.max())
            if now < height:
                kept, height, damping = logs, now, damping / 3
                weight = (size / max(size.max(), 1e-300)) ** (power / 2 - 1)
                rows = weight * slopes
                # Gauss-Newton: (J^H J + damping) step = -J^H r, both real
                left, right = (rows @ rows.conj().T).real, (rows @ (weight * seen).conj()).real
            else:
                damping *= 10
            scale = damping * np.diag(np.diag(left) + 1e-12)
            step = np.linalg.solve(left + scale, -right / (power - 1))
            step *= min(1.0, 0.5 / max(float(np.abs(step).max()), 1e-12))
            logs = np.clip(kept + step, limits[:, 0], limits[:, 1])
            if np.abs(step).max() < 1e-4:
                break
        logs = kept
    return network.with_values(np.exp(best).tolist())


def best_in_stock(network: Network, goal: Goal, stock: Stock, *, free: bool = True) -> Network:
    """The values in stock that bring most power to the load where in the band it is least.

    They hold the target SWR where the lowest SWR found does. From the design's on, a local optimum:
    no combination of the values next to these is better. Without `free` they stay next to the
    design's, as where a Q was chosen.
    """
    frequency, load = goal.in_band()
    thin = np.unique(np.linspace(0, frequency.size - 1, min(frequency.size, THIN)).astype(int))
    few = frequency[thin], load[thin], goal.target_ohm
    lumped = all(element.line is None for element in network.elements)
    wide = lumped and len(network.elements) <= 2
    start = rough = _sampled(network, few[0])
    if free and not wide:
        start = _descend(rough, *few, stock)
    axes = [
        _Axis.of(element, design, frequency, stock, free, wide)
        for element, design in zip(start.elements, network.elements, strict=True)
    ]
    at = [axis.start for axis in axes]
    width = NEAR.get(len(axes), 2)
    strides = [axis.stride for axis in axes]
    low = _in_steps(rough, axes, at, strides, width, lambda one: one.worst(*few))
    strides, width = [-(-stride // 4) for stride in strides], max(1, min(width, 5 - len(axes)))
    at = _by_power(rough, axes, low, strides, width, few, goal.target_swr)
    fine, band = _sampled(network, frequency), (frequency, load, goal.target_ohm)
    found = []
    # what holds the target by a hair at few points may miss it between them
    for begun in (at, low) if at != low else (at,):
        best = _by_power(fine, axes, begun, [1] * len(axes), 1, band, goal.target_swr)
        values = _values(axes, best)
        size, lost = fine.with_values(values).heights(*band)
        found.append((bool(swr(size) > goal.target_swr), float(lost), values))
    return network.with_values(min(found)[2])


def _by_power(
    network: Network,
    axes: list[_Axis],
    at: list[int],
    strides: list[int],
    width: int,
    band: tuple[Real, Complex, float],
    target_swr: float,
) -> list[int]:
    """Numbers of the values of the most power, holding the target where that can be held."""
    limit = (target_swr - 1) / (target_swr + 1)

    def height(at: list[int]) -> Real:
        return network.with_values(_values(axes, at)).worst(*band)

    if height(at) > limit:
        at = _climb(network, axes, at, [1] * len(axes), 1, lambda one: one.worst(*band))
    limit = limit if height(at) <= limit else np.inf

    def cost(one: Network) -> Real:
        size, lost = one.heights(*band)
        # a step of power, which nobody notices, is given for staying clear of the target
        return np.where(size <= limit, lost + defaults.POWER_STEP_DB * (size / limit) ** 4, np.inf)

    return _in_steps(network, axes, at, strides, width, cost, SLIGHT_DB)


def _values(axes: list[_Axis], at: list[int]) -> list[float]:
    return [float(axis.values(number)) for number, axis in zip(at, axes, strict=True)]


def _in_steps(
    network: Network,
    axes: list[_Axis],
    at: list[int],
    strides: list[int],
    width: int,
    by: Callable[[Network], Real],
    least: float = 0.0,
) -> list[int]:
    """Climbed with strides from these on, each a quarter of the one before."""
    stride = max(strides)
    while stride:
        at = _climb(network, axes, at, [min(stride, most) for most in strides], width, by, least)
        stride = (stride + 2) // 4 if stride > 1 else 0
    return at


def _climb(
    network: Network,
    axes: list[_Axis],
    at: list[int],
    stride: list[int],
    width: int,
    by: Callable[[Network], Real],
    least: float = 0.0,
) -> list[int]:
    """Numbers of the values at which no combination within `width` strides is better by `least`."""
    steps = np.arange(-width, width + 1)
    for _ in range(100):
        values = [
            axis.values(at[k] + steps * stride[k]).reshape(-1, *(1,) * (len(axes) - k))
            for k, axis in enumerate(axes)
        ]
        found = by(network.with_values(values))
        best = np.unravel_index(np.argmin(found), found.shape)
        if not found[best] < found[(width,) * len(axes)] - least:
            break
        at = [
            axis.hold(a + int(steps[b]) * s)
            for axis, a, b, s in zip(axes, at, best, stride, strict=True)
        ]
    return at
