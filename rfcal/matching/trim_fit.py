"""Parts fitted to the sweep after building, together with the errors that both sweeps share.

What is common to the readings (an error term, a length) is an unknown of its own, of unit deviation
about zero, so that a load near the chart's edge, where it is bent, is followed as it bends; only
what is new at every point is a weight.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike

from rfcal.matching.network import Network
from rfcal.maths.bilinear import Bilinear
from rfcal.maths.reflection import Complex, Real, from_impedance, to_impedance
from rfcal.uncertainty.quantity import Quantity, combine

FAR = 0.7
"""Changes are sought within this range of the logarithm of the value."""
BEYOND = 10.0
"""Beyond this a logarithm makes no difference any more: the part is missing or shorted."""
SCAN, ENOUGH = 57, 41
"""Values that are tried in it, and points of the sweep, about, at which they are."""
MOST_LARGER, MOST_STRAY_F = 0.15, 15e-12
"""Up to this a load may have changed between two sweeps: all of it in parts of itself, and a
capacitance across it [F]; three times what rain or a hand does (common practice, no source)."""


def _common(quantity: Quantity, names: Sequence) -> Complex:
    """What each influence common to all frequencies changes, by name; shape (N, F)."""
    found = np.zeros((len(names), quantity.value.size), complex)
    for effect in quantity.effects:
        if not effect.per_point:
            found[names.index(effect.influence)] = effect.change
    return found


@dataclass(frozen=True, eq=False)
class Fit:
    """Weighted misfit of a network, between its load and what is seen of it [1]."""

    network: Network
    frequency: Real  # [Hz], shape (F,)
    load: Quantity  # reflection [1]
    built: Quantity  # reflection at the network's input [1]
    z_ref: float
    floor: float  # standard deviation of each part of a reflection that is there in any case [1]
    of_load: Complex  # what the common influences change, shape (N, F)
    of_built: Complex
    whiten: Real  # of each point's real and imaginary part, shape (F, 2, 2)

    @classmethod
    def of(
        cls,
        network: Network,
        frequency: Real,
        load: Quantity,
        built: Quantity,
        z_ref: float,
        floor: float,
    ) -> "Fit":
        """The fit with the weights of the network as designed."""
        every = (*load.effects, *built.effects)
        names = list(dict.fromkeys(e.influence for e in every if not e.per_point))
        of_load, of_built = _common(load, names), _common(built, names)
        plain = np.broadcast_to(np.eye(2), (frequency.size, 2, 2))
        fit = cls(network, frequency, load, built, z_ref, floor, of_load, of_built, plain)
        return fit.weighed(network)

    def weighed(self, network: Network) -> "Fit":
        """The same with the weights that the noise of both sweeps has through a network."""
        through = network.two_port(self.frequency).bilinear(self.z_ref)
        new = [
            Quantity(q.value, tuple(e for e in q.effects if e.per_point))
            for q in (self.load, self.built)
        ]
        slope = -through.derivative(self.load.value)
        spread = combine(self.built.value, (new[0], slope), (new[1], 1.0)).covariance()
        total = spread + self.floor**2 * np.eye(2)
        return replace(self, whiten=np.linalg.inv(np.linalg.cholesky(total)))

    def _white(self, values: Complex) -> Real:
        """Complex values (..., F) in units of their deviation, shape (..., 2 F)."""
        re, im, w = values.real, values.imag, self.whiten
        # its upper corner is nil, as that of a Cholesky factor's inverse
        return np.concatenate([w[:, 0, 0] * re, w[:, 1, 0] * re + w[:, 1, 1] * im], axis=-1)

    def with_logs(self, which: Sequence[int], logs: Real) -> Network:
        """The network with these elements' values times e to these logarithms."""
        values = self.network.values
        for place, k in enumerate(which):
            values[k] = values[k] * np.exp(np.clip(logs[place], -BEYOND, BEYOND))
        return self.network.with_values(values)

    def _away(self, through: Bilinear, load: Complex, errors: Real) -> Real:
        """What is left between read and expected, then the errors, shape (..., 2 F + N)."""
        away = self.built.value + errors @ self.of_built - through.apply(load)
        own = np.broadcast_to(errors, (*away.shape[:-1], errors.shape[-1]))
        return np.concatenate([self._white(away), own], axis=-1)

    def _by_errors(self, through: Bilinear, load: Complex) -> Real:
        """Derivatives of `_away` by each error, shape (..., N, 2 F + N)."""
        slopes = self.of_built - through.derivative(load)[..., None, :] * self.of_load
        own = np.broadcast_to(np.eye(len(self.of_load)), (*slopes.shape[:-1], len(self.of_load)))
        return np.concatenate([self._white(slopes), own], axis=-1)

    def misfits(
        self,
        network: Network,
        change: Callable[[Complex], Complex] = lambda load: load,
        rounds: int = 4,
    ) -> Real:
        """Least sum of squares over the errors, for each of a network's values, shape (S,).

        Or for each change of the load, which turns one (S, F) into another. With one round the
        errors are taken as if all were straight.
        """
        through = network.two_port(self.frequency).bilinear(self.z_ref)
        errors, least = np.zeros((1, len(self.of_load))), np.array(np.inf)
        for _ in range(rounds):
            load = change(self._load(errors))
            away, slopes = self._away(through, load, errors), self._by_errors(through, load)
            # J^T J step = -J^T r, after which |r|^2 - |J step|^2 would be left
            right = (slopes @ away[..., None])[..., 0]
            step = np.linalg.solve(slopes @ np.swapaxes(slopes, -1, -2), right[..., None])[..., 0]
            now = (away**2).sum(axis=-1)
            if rounds == 1:
                return now - (right * step).sum(axis=-1)
            if np.all(now > least * (1 - 1e-6)):
                break
            least, errors = np.minimum(least, now), errors - step
        return least

    def misfit(self, network: Network) -> float:
        """The same for one network."""
        return float(self.misfits(network)[0])

    def solve(self, which: Sequence[int], logs: Real) -> tuple[Real, Real, float]:
        """Logs of these elements' values, their covariance and the misfit."""
        from scipy.optimize import least_squares

        count = len(which)

        def at(x: Real) -> tuple[Network, Bilinear, Complex, Real]:
            network = self.with_logs(which, x[:count])
            through = network.two_port(self.frequency).bilinear(self.z_ref)
            return network, through, self._load(x[count:]), x[count:]

        def residual(x: Real) -> Real:
            return self._away(*at(x)[1:])

        def jacobian(x: Real) -> Real:
            network, through, load, errors = at(x)
            z = to_impedance(load, self.z_ref)
            slopes = network.seen_and_slopes(self.frequency, z, z_ref=self.z_ref)[1][list(which)]
            by_logs = np.concatenate([-self._white(slopes), np.zeros((count, errors.size))], axis=1)
            return np.concatenate([by_logs, self._by_errors(through, load)]).T

        start = np.concatenate([logs, np.zeros(len(self.of_load))])
        # the quicker one needs no fewer readings than parts
        how = "lm" if 2 * self.frequency.size >= count else "trf"
        found = least_squares(residual, start, jacobian, method=how, xtol=1e-8, ftol=1e-8)
        # covariance of a weighted fit: (J^T J)^-1
        spread = np.linalg.pinv(found.jac.T @ found.jac, rcond=1e-14, hermitian=True)
        held = np.clip(found.x[:count], -BEYOND, BEYOND)
        return held, spread[:count, :count], 2 * float(found.cost)

    def _load(self, errors: Real) -> Complex:
        return self.load.value + errors @ self.of_load

    def alone(self, k: int) -> tuple[Real, Real, float]:
        """The best of one part, from the best of a scan."""
        scan, thin = np.linspace(-FAR, FAR, SCAN)[:, None], self.thinned()
        left = thin.misfits(thin.with_logs([k], scan[None]), rounds=1)
        return self.solve([k], scan[int(np.argmin(left))])

    def thinned(self) -> "Fit":
        """The same at some of its points, where there are many."""
        at = slice(None, None, -(-self.frequency.size // ENOUGH))
        index = np.arange(self.frequency.size)[at]
        return replace(
            self,
            frequency=self.frequency[at],
            load=self.load.at_points(index),
            built=self.built.at_points(index),
            of_load=self.of_load[:, at],
            of_built=self.of_built[:, at],
            whiten=self.whiten[at],
        )

    def changed_load(self) -> list[tuple[float, str, float]]:
        """Misfit, kind and size of each change of the load that explains the sweep best."""
        omega = 2 * np.pi * self.frequency

        def larger(share: Real) -> Callable[[Complex], Complex]:
            return lambda load: self._reflection(to_impedance(load, self.z_ref) * (1 + share))

        def stray(farad: Real) -> Callable[[Complex], Complex]:
            # 1/Z + j w C
            return lambda load: self._reflection(
                1 / (1 / to_impedance(load, self.z_ref) + 1j * omega * farad)
            )

        found = []
        for kind, change, most in (("larger", larger, MOST_LARGER), ("stray", stray, MOST_STRAY_F)):
            middle, reach = 0.0, most
            for points, rounds in ((31, 1), (13, 3)):
                sizes = middle + np.linspace(-reach, reach, points)
                left = self.misfits(self.network, change(sizes[:, None]), rounds)
                middle, reach = float(sizes[int(np.argmin(left))]), reach / 15
            found.append((float(left.min()), kind, middle))
        return found

    def _reflection(self, impedance: ArrayLike) -> Complex:
        return from_impedance(impedance, self.z_ref)
