"""Parts fitted to the sweep after building, together with all that both sweeps share.

What is common to the readings (an error term, a length) is an unknown of its own, of unit deviation
about zero, so that a load near the chart's edge, where it is bent, is followed as it bends; only
what is new at every point is a weight. So are leads, strays and a coil's own capacitance.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np

from rfcal.matching.goal import Goal
from rfcal.matching.network import Network
from rfcal.matching.stock import Stock
from rfcal.matching.tolerance import MOST_ADDED, strayed
from rfcal.matching.trim.load import COMBINABLE, LOAD_CHANGES, MODEL_ERROR, Course
from rfcal.maths.reflection import Complex, Real, from_impedance, swr, to_impedance
from rfcal.uncertainty.quantity import Quantity, combine

LOG_RANGE = 0.7
"""Changes are sought within this range of the logarithm of the value."""
BEYOND = 10.0
"""Beyond this a logarithm makes no difference any more: the part is missing or shorted."""
SCAN, ENOUGH = 25, 15
"""Values that are tried of each part, and points of the sweep, about, at which they are."""
OWN = 0.5
"""Standard deviation of a coil's own capacitance, in parts of what its winding is reckoned to have
(common practice, no source)."""
UNIT_LOSS = 0.02
"""What a unit of loss adds to one over the Q of a coil or a capacitor [1]."""
STEP = 1e-6
"""By which derivatives are taken, of an unknown and of a reflection [1]."""
LEAST = -0.5
"""Deviations to which readings may seem to have less than no leads."""
TELLING = 0.02
"""By how much what is to be done lowers the worst reflection at least [1]."""
DRAWN = 300
"""Draws of what the unknowns leave open."""
ROUNDS, SETTLED = 40, 1e-4
"""Steps of a fit at most, and the fall of the misfit below which it has come to its end."""


@dataclass(frozen=True, eq=False)
class Misfit:
    """Weighted misfit of a network, between its load and what is seen of it [1].

    Its unknowns are, in this order: the logarithm of each element's value over the designed one;
    by how many times what is usual the load has changed, each kind of change; the loss that each
    coil and capacitor has beyond its Q; then, all of unit
    deviation about zero, leads and what lies across each element, and the common errors.
    """

    network: Network
    frequency: Real  # [Hz], shape (F,)
    load: Quantity  # reflection [1]
    built: Quantity  # reflection at the network's input [1]
    z_ref: float
    course: Course  # of the load over the whole sweep
    stock: Stock  # that the parts are from
    at: Real | None = None  # unknowns (n,) at which the readings are weighed; None as designed

    @cached_property
    def commons(self) -> Complex:
        """What the common influences change of the load and of what is seen, shape (2, N, F)."""
        both = ([e for e in q.effects if not e.per_point] for q in (self.load, self.built))
        found: dict[Any, Complex] = {}
        for row, effects in enumerate(both):
            for effect in effects:
                nothing = np.zeros((2, self.frequency.size), complex)
                found.setdefault(effect.influence, nothing)[row] = effect.change
        return np.array([*found.values()]).reshape(-1, 2, self.frequency.size).swapaxes(0, 1)

    @cached_property
    def size(self) -> int:
        """Number of unknowns."""
        return self.own + self.commons.shape[1]

    @property
    def parts(self) -> int:
        """Number of parts."""
        return len(self.network.elements)

    @property
    def told(self) -> int:
        """How many are sought: each part, each change of the load, and each loss."""
        return self.losses + len(self.lumped)

    @property
    def losses(self) -> int:
        """Where among the unknowns the losses begin."""
        return self.parts + len(LOAD_CHANGES)

    @property
    def own(self) -> int:
        """How many of the unknowns are of the network and its load, the others of the readings."""
        return self.told + 2 * len(self.lumped)

    @cached_property
    def lumped(self) -> list[int]:
        """Which elements have leads and strays."""
        return [k for k, e in enumerate(self.network.elements) if e.line is None]

    @cached_property
    def added(self) -> Real:
        """One deviation of their leads [H] and of what lies across them [F], (L, 2, 1, 1)."""
        parts = [self.network.elements[k].part for k in self.lumped]
        own = [[0.0, OWN * getattr(part, "parallel_f", 0.0)] for part in parts]
        # the root mean square of what is anything from none to the most
        found = np.hypot(MOST_ADDED[:, 0, 0] / np.sqrt(3), np.reshape(own, (-1, 2)))
        return found[..., None, None]

    @cached_property
    def usual(self) -> Real:
        """Deviation of each unknown that is not sought, shape (n,).

        Parts are within a tolerance, in which any value is as likely; the load is as it was.
        """
        off = [self.stock.off(e) for e in self.network.elements]
        still = [0] * (self.told - self.parts)
        return np.r_[np.array(off) / np.sqrt(3), still, np.ones(self.size - self.told)]

    @cached_property
    def whiten(self) -> Real:
        """Weights of each point's real and imaginary part by both sweeps' noise, (F, 2, 2)."""
        load, built = self.load.own, self.built.own
        at = np.zeros((1, self.size)) if self.at is None else self.at[None]
        through = (self.seen(at, STEP) - self.seen(at))[0] / STEP
        spread = combine(built.value, (load, -through), (built, 1.0)).covariance()
        return np.linalg.inv(np.linalg.cholesky(spread + MODEL_ERROR**2 * np.eye(2)))

    def made(self, x: Real) -> Network:
        """The networks of some unknowns (S, n), values of shape (S, 1)."""
        ratios = np.exp(np.clip(x.T[: self.parts, :, None], -BEYOND, BEYOND))
        pairs = zip(self.network.values, ratios, strict=True)
        elements = list(
            self.network.with_values([value * ratio for value, ratio in pairs]).elements
        )
        added = x.T[self.told : self.own].reshape(-1, 2, len(x), 1) * self.added
        lost = UNIT_LOSS * x.T[self.losses : self.told, :, None]
        for k, one, more in zip(self.lumped, added, lost, strict=True):
            bare: Any = elements[k].part
            elements[k] = strayed(
                elements[k].with_part(q=1 / np.maximum(1 / bare.q + more, 1e-9)), *one
            )
        return replace(self.network, elements=tuple(elements))

    def seen(self, x: Real, moved: float = 0.0) -> Complex:
        """What is seen of the network [1], shape (S, F), by unknowns (S, n), the load's `moved`."""
        measured = to_impedance(
            self.load.value + x[:, self.own :] @ self.commons[0] + moved, self.z_ref
        )
        times = x.T[self.parts : self.losses, :, None]
        load = self.course.changed(self.frequency, measured, times)
        return self.made(x).seen(self.frequency, load, z_ref=self.z_ref)

    def _white(self, values: Complex) -> Real:
        """Complex values (..., F) in units of their deviation, shape (..., 2 F)."""
        re, im, w = values.real, values.imag, self.whiten
        # its upper corner is nil, as that of a Cholesky factor's inverse
        return np.concatenate([w[:, 0, 0] * re, w[:, 1, 0] * re + w[:, 1, 1] * im], axis=-1)

    def _left(self, x: Real) -> Real:
        """What is left between read and expected, then what is of unit deviation, (S, R)."""
        away = self.built.value + x[:, self.own :] @ self.commons[1] - self.seen(x)
        return np.concatenate([self._white(away), x[:, self.told :]], axis=-1)

    def _away(self, x: Real, moved: np.ndarray) -> tuple[Real, Real]:
        """The same, and its derivatives by the unknowns `moved`, (S, n), by steps, (S, n, R)."""
        row, which = np.nonzero(moved)
        found = self._left(np.vstack([x, x[row] + STEP * np.eye(self.size)[which]]))
        now, stepped = found[: len(x)], found[len(x) :]
        slopes = np.zeros((*x.shape, found.shape[-1]))
        slopes[row, which] = (stepped - now[row]) / STEP
        return now, slopes

    def solve(self, x: Real, free: np.ndarray, rounds: int = ROUNDS) -> tuple[Real, Real]:
        """From starts (S, n), moved where `free`: where it fits best, and the misfits there.

        By Levenberg and Marquardt, all starts at once, each until it has come to its end. The
        misfit is what is left after one step more, were all straight.
        """
        x, kept, on, unit = x.copy(), x.copy(), np.arange(len(x)), np.eye(self.size)
        least, gain, damping = np.tile([[np.inf], [0.0], [1e-2]], len(x))
        # what is not moved is held, and what makes no difference stays where it is
        held = unit * (~free[:, None] + 1e-12)
        left, right = held.copy(), np.zeros(x.shape)
        for _ in range(rounds):
            with np.errstate(over="ignore", invalid="ignore"):  # a step too far has no value
                away, slopes = self._away(x[on], free[on])
            now = (away**2).sum(axis=-1)
            better = now < least[on]
            at = on[better]
            kept[at], least[at], slopes = x[at], now[better], slopes[better]
            left[at] = slopes @ slopes.swapaxes(-1, -2) + held[at]
            right[at] = (slopes @ away[better, :, None])[..., 0]
            damping[on] *= np.where(better, 0.1, 10)
            scale = damping[on, None, None] * left[on] * unit
            step = np.linalg.solve(left[on] + scale, right[on, :, None])[..., 0]
            gain[on], x[on] = (right[on] * step).sum(axis=-1), kept[on] - step
            x[:, : self.told] = np.clip(x[:, : self.told], -BEYOND, BEYOND)
            on = on[gain[on] >= SETTLED * np.maximum(1, least - least.min())[on]]
            if not on.size:
                break
        return kept, least - gain

    def free(self, which: Sequence[Sequence[int]]) -> np.ndarray:
        """Which unknowns are moved, where of those that are sought these are, shape (S, n)."""
        found = np.zeros((len(which), self.size), bool)
        found[:, self.told :] = True
        for row, one in zip(found, which, strict=True):
            row[one] = True
        return found

    def explained(self) -> tuple["Misfit", Real, Real, Real]:
        """The final fit, unknowns of each explanation (S, n), covariances, and misfits (S,).

        Each part, each change of the load and each loss alone, those changes that come together,
        nothing, and all parts at the end.
        """
        each, parts = [[k] for k in range(self.told)], list(range(self.parts))
        joint = [self.parts + k for k in COMBINABLE]
        near, left = self._scanned(each)
        # weights once more, through the network and its load as they seem to be
        fit, best = replace(self, at=near[left.argmin()]), near[[left[parts].argmin()]]
        free, nothing = fit.free([*each, joint, [], parts, parts]), 0 * best
        start = near[[joint[left[joint].argmin()]]]
        found = fit.solve(np.concatenate([near, start, nothing, nothing, best]), free)[0]
        # there is no less than no leads; a coil has a capacitance of its own to lose
        unlike = np.zeros_like(free)
        unlike[:, fit.told : fit.own] = [
            one for k in fit.lumped for one in (True, fit.network.elements[k].unit == "F")
        ]
        unlike &= found < LEAST
        free &= ~unlike
        found, left = fit.solve(np.where(unlike, 0, found), free)
        rows = [*range(self.told + 2), self.told + 2 + int(left[-2:].argmin())]
        free, slopes = free[rows], fit._away(found[rows], np.ones((len(rows), fit.size), bool))[1]
        # covariance of a weighted fit: (J J^T)^-1
        information = slopes @ np.swapaxes(slopes, -1, -2)
        moved = free[:, None] & free[..., None]
        spread = np.linalg.pinv(information * moved, rcond=1e-14, hermitian=True)
        # and what of the others goes into it, that are as usual
        into = (np.eye(self.size) - spread @ information) * np.where(free, 0, fit.usual)[:, None]
        return fit, found[rows], spread + into @ np.swapaxes(into, -1, -2), left[rows]

    def in_place(self, k: int, x: Real, spread: Real) -> tuple[float, float]:
        """Logarithm of the value that an element has in its place over the designed one.

        With its leads and strays, by unknowns (n,) and their covariance; and its deviation.
        """
        element = self.network.elements[k]
        if element.line is not None:
            return float(x[k]), float(np.sqrt(spread[k, k]))
        rows = x + STEP * np.eye(self.own + 1, self.size, -1)
        middle = self.frequency[[self.frequency.size // 2]]
        now, designed = (
            e.part.impedance(middle).imag for e in (self.made(rows).elements[k], element)
        )
        logs = (1 if element.unit == "H" else -1) * np.log(np.abs(now[:, 0] / designed))
        slope = np.zeros(self.size)
        slope[: self.own] = (logs[1:] - logs[0]) / STEP
        return float(logs[0]), float(np.sqrt(slope @ spread @ slope))

    def mended(self, goal: Goal, x: Real, spread: Real, moves: Real) -> tuple[int, float]:
        """Which of the hand's moves is best, and the worst SWR in the goal's band after it.

        That is nan where no move is worth anything: where it is not clearly lower by the best, nor
        what was read clearly brought to the target. Moves are of the unknowns, shape (M, n); by
        unknowns (n,) and all but a fortieth of what their covariance leaves open, each set to its
        best.
        """
        fit, rng = self.at_points(np.flatnonzero(goal.inside)), np.random.default_rng(0)
        rows = np.vstack([x, rng.multivariate_normal(x, spread, DRAWN, method="eigh")])
        read, now, *moved = (
            np.abs(from_impedance(to_impedance(seen, self.z_ref), goal.target_ohm)).max(axis=-1)
            for seen in (fit.built.value, fit.seen(rows), *(fit.seen(rows + one) for one in moves))
        )
        then, best = np.min(moved, axis=0), int(np.argmin([one[0] for one in moved]))
        lower = min(np.quantile(now - then, 0.025), read - then[0]) > TELLING
        meets = np.quantile(swr(then), 0.975) <= goal.target_swr < swr(read)
        return best, float(swr(then[0])) if lower or (meets and then[0] < now[0]) else np.nan

    def worst_read(self, goal: Goal) -> float:
        """Worst SWR in the goal's band, as it was read after building."""
        ohm = to_impedance(self.built.value[goal.inside], self.z_ref)
        return float(swr(from_impedance(ohm, goal.target_ohm)).max())

    def _scanned(self, each: list[list[int]]) -> tuple[Real, Real]:
        """Unknowns at which each explains it best alone, from a scan, and what that leaves."""
        points, parts = self.frequency.size, np.arange(self.parts)
        thin = self.at_points(np.arange(0, points, -(-points // ENOUGH)))
        starts = np.zeros((self.parts, SCAN, self.size))
        starts[parts, :, parts] = np.linspace(-LOG_RANGE, LOG_RANGE, SCAN)
        flat = starts.reshape(-1, self.size)
        left = thin.solve(flat, thin.free([[]] * len(flat)), 1)[1].reshape(-1, SCAN)
        # a changed load is sought from where it has not
        start = np.zeros((len(each), self.size))
        start[parts] = starts[parts, left.argmin(axis=1)]
        found, left = thin.solve(start, thin.free(each))
        return found, left

    def at_points(self, index: np.ndarray) -> "Misfit":
        """The same at some of its points."""
        return replace(
            self,
            frequency=self.frequency[index],
            load=self.load.at_points(index),
            built=self.built.at_points(index),
        )
