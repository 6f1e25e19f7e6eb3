"""A sweep of reflection as a sum of echoes: found one by one, fitted together.

A sweep is taken as a sum of echoes, each a round trip of the line times a reflection that varies
little over the band. The windowed inverse Fourier transform shows the strongest echo; all echoes
found so far are fitted together by weighted least squares, moved to where the fit puts them, and
taken away, until nothing stands out of the noise. So neither the skirts of a strong echo nor the
smear of its loss pass for further ones. Echoes that are explained by bouncing between stronger
ones are fitted too, but not reported.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from rfcal.feedline.faults.basis import Band
from rfcal.maths.reflection import Complex, Real

FLAT = 0.001
"""Uncertainty of a place in resolutions, as reflections vary over the band unlike the model."""

CROSSTALK, REACH = 0.03, 3.0
"""Pull of an equal echo as many resolutions off as the second, in resolutions (by simulation); a
nearer one pulls by the inverse square of its distance, and one farther off does not."""

NEIGHBOURS = 8.0
"""Within this many resolutions echoes are fitted together while the search goes on."""

TOTAL = 0.85
"""What reflects more than this [1] lets nothing bounce behind it that would be seen."""

EXCESS, RIVAL = 1.5, 1.5
"""An echo is more than a bounce when it is this many times larger than the bounces expected there,
with noise; two are about as strong within the second."""

OF_END, LAST = 0.4, 0.9
"""What rings behind a line's end comes back with less than the first of these parts of what is
strongest from the second part of its length on (by simulation)."""

DIM = 0.01
"""Transmission [1] up to a place that is reckoned with at least."""

DYNAMIC_DB, SOUGHT = 54.0, 12
"""Echoes so far below the strongest are left alone [dB], and no more than so many are sought."""

STANDS_OUT = 5.0
"""An echo is one when it is this many times larger than the noise of the trace."""


@dataclass(frozen=True, eq=False)
class Echoes:
    """All echoes of a sweep, bounces included, near to far."""

    band: Band
    distance: Real  # [m], shape (K,)
    coefficients: Complex  # of each echo's shapes [1], shape (K, P)
    basis: Complex  # the columns of the fit [1], shape (K P, F)
    left: Complex  # what the echoes leave [1], shape (F,)
    noise: float  # of the trace [1], root mean square

    @property
    def mean(self) -> Complex:
        """Mean reflection of each echo over the band [1]."""
        return self.coefficients[:, 0]

    def model(self, chosen: np.ndarray) -> Complex:
        """The sweep that the chosen echoes alone would give [1], shape (F,)."""
        return np.asarray(self.parts()[chosen].sum(axis=0))

    def whole(self) -> Complex:
        """The sweep that they were found in [1], shape (F,)."""
        return np.asarray(np.sum(self.parts(), axis=0) + self.left)

    def parts(self) -> Complex:
        """What each echo gives of the sweep [1], shape (K, F)."""
        return _parts(self.coefficients, self.basis)

    def at_foot(self) -> Real:
        """How large the echoes are as seen at the foot [1], the line's loss in them."""
        # what lies before the plane folds back to the far end of the range, as if it were huge
        kept = np.exp(-2 * self.distance[:, None] * self.band.propagation.real) @ self.band.weight
        return np.abs(self.mean) * kept / self.band.weight.sum()

    def moved_by(self, changes: Complex) -> Complex:
        """Changes of each mean (N, K) that changes of the sweep (N, F) make, to first order."""
        return self.band.solve(self.basis, changes)[:, :: len(self.band.shapes)]

    def uncertainty(self) -> tuple[Real, Real]:
        """Standard uncertainties, by noise and misfit nearby: of distance [m], of each part [1]."""
        rest, grid = np.abs(self.band.trace(self.left)), self.band.grid
        near = np.abs(folded(grid - self.distance[:, None], self.band.range))
        near_rms = [np.sqrt(np.mean(rest[row < 3 * self.band.resolution] ** 2)) for row in near]
        each = self.band.deviations(self.basis) * np.maximum(near_rms, self.noise)[:, None]
        size = np.maximum(np.abs(self.mean), 1e-12)
        # a shift by s metres turns the linear coefficient by per_metre s of the mean
        of_distance = each[:, 1] / (np.sqrt(2) * size * self.band.per_metre)
        return of_distance, each[:, 0] / np.sqrt(2)


def _parts(coefficients: Complex, basis: Complex) -> Complex:
    """What echoes of such coefficients (K, P) give on their basis (K P, F), each (K, F)."""
    each = basis.reshape(*coefficients.shape, basis.shape[1])
    return np.asarray(np.einsum("kp,kpf->kf", coefficients, each), complex)


def folded(distance: Real, span: float) -> Real:
    """Distances modulo the range, about zero."""
    return (distance + span / 2) % span - span / 2


def find_echoes(band: Band, reflection: Complex, known: Sequence[float] | Real = ()) -> Echoes:
    """Find, fit and subtract, strongest first, besides those whose places are known [m]."""
    refused = np.zeros(0)
    distance, solved, left, basis = _settled(band, np.asarray(known, float), reflection)
    parts = _parts(solved, basis)
    floor = 10 ** (-DYNAMIC_DB / 20) * float(np.max(np.abs(band.trace(reflection))))
    while True:
        peak, noise = _strongest(band, left, np.concatenate([distance, refused]), floor)
        if peak is None or max(distance.size, refused.size) == SOUGHT:
            break
        behind = peak > band.range - band.near
        tried = np.append(distance, peak - band.range * behind)
        # only neighbours are fitted anew: those further off hardly feel it
        near = np.abs(tried - tried[-1]) < NEIGHBOURS * band.resolution
        with_near = left + parts[near[:-1]].sum(axis=0)
        tried[near], solved, rest, basis = _settled(band, tried[near], with_near)
        if np.min(np.abs(tried[-1] - distance), initial=np.inf) > band.resolution:
            distance, left = tried, rest
            parts = np.append(parts, np.zeros((1, left.size), complex), axis=0)
            parts[near] = _parts(solved, basis)
        else:
            refused = np.append(refused, peak)
    distance, solved, left, basis = _settled(band, np.sort(distance), reflection)
    found = Echoes(band, distance, solved, basis, left, noise)
    if np.any(late := _rings_late(found)):
        distance = np.sort(distance + band.range * late)
        solved, left, basis = band.fit(distance, reflection)
        found = Echoes(band, distance, solved, basis, left, noise)
    return found


def _rings_late(echoes: Echoes) -> np.ndarray:
    """Which echoes at the start are taken to ring behind the line's end, folded back, (K,).

    In even steps either place gives the same sweep, but for the loss of the longer way, by which an
    echo falls over the band at least half as much as there. What reflects all does not ring.
    """
    band, distance, size = echoes.band, echoes.distance, echoes.at_foot()
    last = (distance > LAST * band.length) & (not band.folds) & (band.tail > 0)
    end = float(np.max(size * (last & (np.abs(echoes.mean) < TOTAL)), initial=0.0))
    halfway = (distance + band.range / 2)[:, None] * band.attenuation
    kept = band.weight * np.exp(2 * (distance[:, None] * band.propagation.real - halfway))
    near = np.abs(distance - distance[:, None]) < REACH * band.resolution  # as one splits
    whole = near @ echoes.parts() * np.exp(2 * distance[:, None] * band.propagation)
    mean, linear = (band.weight * band.shapes[:2]) @ whole.T
    falls = (linear * mean.conj()).real * np.sum(kept, axis=1)
    falls = falls < np.abs(mean) ** 2 * (kept @ band.shapes[1])
    return np.asarray((distance < band.tail) & (size < OF_END * end) & falls)


def _strongest(band: Band, left: Complex, taken: Real, floor: float) -> tuple[float | None, float]:
    """Where the strongest echo is that is apart from those taken [m], if any; and the noise [1]."""
    size, grid = np.abs(band.trace(left)), band.grid
    # noise is Rayleigh distributed in the trace: median = rms sqrt(ln 2)
    noise = float(np.median(size)) / np.sqrt(np.log(2))
    rises = size > np.roll(size, 1)
    peaks = np.flatnonzero(rises & ~np.roll(rises, -1))
    peaks = peaks[size[peaks] > max(STANDS_OUT * noise, floor)]
    apart = np.abs(folded(grid[peaks] - taken[:, None], band.range)) > band.near
    peaks = peaks[np.all(apart, axis=0)]
    return float(grid[peaks[np.argmax(size[peaks])]]) if peaks.size else None, noise


def _settled(
    band: Band, distance: Real, reflection: Complex
) -> tuple[Real, Complex, Complex, Complex]:
    """Echoes moved to where a fit puts them: distances, and the fit there."""
    distance = distance + band.shift(band.fit(distance, reflection)[0])
    return distance, *band.fit(distance, reflection)


def bounces(distance: Real) -> tuple[NDArray[np.intp], Real]:
    """Which three echoes waves may bounce between, (3, N), and where that is seen [m], (N,)."""
    way = np.indices((distance.size,) * 3).reshape(3, distance.size**3)
    i, j, k = distance[way]
    made = (i < j) & (i < k)
    # out to j, back to i, out to k and home
    return way[:, made], (j + k - i)[made]


def _bounced(echoes: Echoes, real: np.ndarray, judged: np.ndarray) -> tuple[Real, Real]:
    """Bounces between echoes: where they are seen [m], and how large at the foot at most [1].

    The line's loss counts for the whole way, also where that ends beyond the range and is folded
    back.
    """
    band, d = echoes.band, echoes.distance
    as_fitted = echoes.mean * band.fade(d) / band.kept(d)
    own, beyond, through = np.zeros(d.size), np.zeros(d.size), 1.0
    for m in np.argsort(d):
        r = as_fitted[m] / through
        # what is in series passes 1 - r, what is in shunt 1 + r, there and back: |1 -+ r|^2
        own[m], passed = abs(r), (1 - abs(r.real)) ** 2 + r.imag**2
        through *= passed if real[m] and own[m] < TOTAL else 1.0
        beyond[m] = 1 / max(through, DIM)
    (i, j, k), place = bounces(d)
    # j and k in either order are two ways; one of them may be a bounce, and leads to the next
    made = real[i] & (own[i] < TOTAL) & judged[j] & judged[k] & (real[j] | real[k])
    i, j, k, place = i[made], j[made], k[made], place[made]
    # root mean square over the band: the mean of a product is up to that of its factors
    whole = np.linalg.norm(echoes.coefficients, axis=1) * band.fade(d) / band.kept(d)
    # of size |r_i r_j r_k|, over the transmission up to i that all three carry already
    return place, own[i] * whole[j] * whole[k] * beyond[i] * band.kept(place)


def placed(echoes: Echoes) -> tuple[np.ndarray, Real, Real]:
    """Which echoes are no bounces; standard uncertainties of places [m] and of each part [1]."""
    of_distance, of_size = echoes.uncertainty()
    real = _no_bounces(echoes, of_distance, of_size)
    pulled, least = _pulled(echoes, real), FLAT * echoes.band.resolution
    return real, np.sqrt(of_distance**2 + pulled**2 + least**2), of_size


def _no_bounces(echoes: Echoes, of_distance: Real, of_size: Real) -> np.ndarray:
    """Which echoes are no bounces.

    They are judged strongest first, as a bounce is no stronger than each of what it bounces
    between; a nearer one about as strong passes for real meanwhile.
    """
    band, size, distance = echoes.band, echoes.at_foot(), echoes.distance
    allowed = 3 * of_size * band.fade(distance)
    real, judged = np.zeros((2, size.size), bool)
    for m in np.argsort(-size):
        rival = ~judged & (distance < distance[m]) & (RIVAL * size > size[m])
        place, expected = _bounced(echoes, real | rival, judged | rival)
        off = np.abs(folded(place - distance[m], band.range))
        explained = expected[off < band.resolution + 3 * of_distance[m]].sum()
        real[m] = size[m] > EXCESS * explained + allowed[m]
        judged[m] = True
    return real


def _pulled(echoes: Echoes, real: np.ndarray) -> Real:
    """How far bounces and neighbours may have pulled each echo: standard uncertainty [m]."""
    band, size, distance = echoes.band, echoes.at_foot(), echoes.distance
    place, expected = _bounced(echoes, real, np.ones(size.size, bool))
    off = np.abs(folded(place - distance[:, None], band.range))
    near = np.where(off < band.near, expected, 0).sum(axis=1)
    # a neighbour that the shapes cannot part from it pulls too
    gap = np.abs(distance - distance[:, None]) / band.resolution
    beside = np.where((gap > 0) & (gap < REACH), size * (REACH / np.maximum(gap, 1)) ** 2, 0)
    pull = (near / 2 + CROSSTALK * beside.sum(axis=1)) / np.maximum(size, 1e-12)
    return band.resolution * np.minimum(pull, 0.5)
