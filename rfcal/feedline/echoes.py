"""A sweep of reflection as a sum of echoes: found one by one, fitted together.

A sweep is taken as a sum of echoes, each a round trip of the line times a reflection that varies
little over the band. The windowed inverse Fourier transform shows the strongest echo; all echoes
found so far are fitted together by weighted least squares, moved to where the fit puts them, and
taken away, until nothing stands out of the noise. So neither the skirts of a strong echo nor the
smear of its loss pass for further ones. Echoes that are explained by bouncing between stronger
ones are fitted too, but not reported.
"""

from dataclasses import dataclass

import numpy as np

from rfcal.feedline.echo_basis import Band
from rfcal.maths.reflection import Complex, Real

NEAREST = 1.5
"""Two echoes are told apart when further from each other than this many resolutions."""

FLAT = 0.001
"""Doubt of a place in resolutions, as line and reflections vary over the band unlike the model."""

CROSSTALK = 0.03
"""Pull of an equal echo within three resolutions, in resolutions (by simulation)."""

NEIGHBOURS = 8.0
"""Within this many resolutions echoes are fitted together while the search goes on."""

TOTAL = 0.85
"""What reflects more than this [1] lets nothing bounce behind it that would be seen."""

MARGIN, HARDLY, ALIKE = 1.5, 10.0, 1.5
"""An echo is more than a bounce when it is this many times larger than the bounces expected there,
with noise, or so many times larger than them alone; two are about as strong within the third."""

FLOOR = 0.01
"""Transmission [1] up to a place that is reckoned with at least."""

DYNAMIC_DB, MOST = 54.0, 12
"""Echoes so far below the strongest are left alone [dB], and no more than so many are sought."""

STANDS_OUT = 5.0
"""An echo is one when it is this many times larger than the noise of the trace."""


@dataclass(frozen=True, eq=False)
class Echoes:
    """All echoes of a sweep, bounces included, near to far."""

    band: Band  # The basis.
    distance: Real  # Distances [m]. (K,)
    coefficients: Complex  # Of each echo's shapes [1]. (K, P)
    basis: Complex  # The columns of the fit [1]. (K P, F)
    left: Complex  # What the echoes leave [1]. (F,)
    noise: float  # Noise of the trace [1], root mean square.

    def model(self, chosen: np.ndarray) -> Complex:
        """The sweep that the chosen echoes alone would give."""
        kept = np.where(chosen[:, None], self.coefficients, 0)
        return kept.ravel() @ self.basis

    def at_foot(self) -> Real:
        """How large the echoes are as seen at the foot, the line's loss in them."""
        return np.abs(self.coefficients[:, 0]) * self.band.fade(self.distance)

    def moved_by(self, changes: Complex) -> Complex:
        """What changes of the sweep make of the echoes found, to first order."""
        if not len(changes):  # nothing to solve, and the matrix takes time
            return np.zeros((0, self.distance.size), complex)
        return self.band.solve(self.basis, changes)[:, :: len(self.band.shapes)]

    def uncertainty(self) -> tuple[Real, Real]:
        """Standard uncertainties, as noise and misfit nearby ask."""
        rest, grid = np.abs(self.band.trace(self.left)), self.band.grid
        near = np.abs(folded(grid - self.distance[:, None], self.band.range))
        near_rms = [np.sqrt(np.mean(rest[row < 3 * self.band.resolution] ** 2)) for row in near]
        each = self.band.deviations(self.basis) * np.maximum(near_rms, self.noise)[:, None]
        size = np.maximum(np.abs(self.coefficients[:, 0]), 1e-12)
        of_distance = each[:, 1] / (np.sqrt(2) * size * self.band.per_metre)
        return of_distance, each[:, 0] / np.sqrt(2)


def folded(distance: Real, span: float) -> Real:
    """Distances modulo the range, about zero."""
    return (distance + span / 2) % span - span / 2


def _settled(
    band: Band, distance: Real, reflection: Complex, moves: int
) -> tuple[Real, Complex, Complex, Complex]:
    """Echoes moved to where the fit puts them: distances, and the fit there."""
    for _ in range(moves):
        distance = distance + band.shift(band.fit(distance, reflection)[0])
    return distance, *band.fit(distance, reflection)


def find_echoes(band: Band, reflection: Complex) -> Echoes:
    """Find, fit and subtract, strongest first."""
    grid, left = band.grid, reflection
    distance, refused = np.zeros(0), np.zeros(0)
    parts = np.zeros((0, reflection.size), complex)
    floor = 10 ** (-DYNAMIC_DB / 20) * float(np.max(np.abs(band.trace(reflection))))
    while True:
        size = np.abs(band.trace(left))
        # Rayleigh: median = rms sqrt(ln 2)
        noise = float(np.median(size)) / np.sqrt(np.log(2))
        peaks = np.flatnonzero((size > np.roll(size, 1)) & (size >= np.roll(size, -1)))
        peaks = peaks[size[peaks] > max(STANDS_OUT * noise, floor)]
        taken = np.concatenate([distance, refused])[:, None]
        apart = np.abs(folded(grid[peaks] - taken, band.range)) > NEAREST * band.resolution
        peaks = peaks[np.all(apart, axis=0)]
        if not peaks.size or max(distance.size, refused.size) == MOST:
            break
        best = peaks[np.argmax(size[peaks])]
        behind = grid[best] > band.range - NEAREST * band.resolution
        tried = np.append(distance, grid[best] - band.range * behind)
        # only neighbours are fitted anew: those further off hardly feel it
        near = np.abs(tried - tried[-1]) < NEIGHBOURS * band.resolution
        with_near = left + parts[near[:-1]].sum(axis=0)
        tried[near], solved, rest, basis = _settled(band, tried[near], with_near, 1)
        if np.min(np.abs(tried[-1] - distance), initial=np.inf) > band.resolution:
            distance, left = tried, rest
            parts = np.append(parts, np.zeros((1, left.size)), axis=0)
            parts[near] = np.einsum("kp,kpf->kf", solved, basis.reshape(*solved.shape, left.size))
        else:
            refused = np.append(refused, grid[best])
    distance, solved, left, basis = _settled(band, np.sort(distance), reflection, 1)
    return Echoes(band, distance, solved, basis, left, noise)


def _bounced(echoes: Echoes, real: np.ndarray, judged: np.ndarray) -> tuple[Real, Real]:
    """Bounces between echoes, seen at d_j + d_k - d_i, i nearer than both.

    Their size is that of three reflections, over the transmission up to the nearest that all
    three carry already; a part in series or across the line passes ``1 - r`` or ``1 + r``. The
    line's loss counts for the whole way, also where that ends beyond the range and is folded back.
    """
    band, d = echoes.band, echoes.distance
    as_fitted = echoes.coefficients[:, 0] * band.fade(d) / band.kept(d)
    own, beyond, through = np.zeros(d.size), np.zeros(d.size), 1.0
    for m in np.argsort(d):
        r = as_fitted[m] / through
        own[m], passed = abs(r), (1 - abs(r.real)) ** 2 + r.imag**2
        through *= passed if real[m] and own[m] < TOTAL else 1.0
        beyond[m] = 1 / max(through, FLOOR)
    i, j, k = np.indices((d.size,) * 3).reshape(3, d.size**3)
    # j and k in either order are two ways; one of them may be a bounce, and leads to the next
    made = (i < j) & (i < k) & real[i] & (own[i] < TOTAL)
    made &= judged[j] & judged[k] & (real[j] | real[k])
    i, j, k = (a[made] for a in (i, j, k))
    # root mean square over the band: the mean of a product is up to that of its factors
    whole = np.linalg.norm(echoes.coefficients, axis=1) * band.fade(d) / band.kept(d)
    place = d[j] + d[k] - d[i]
    return place, own[i] * whole[j] * whole[k] * beyond[i] * band.kept(place)


def placed(echoes: Echoes) -> tuple[np.ndarray, Real, Real]:
    """Which echoes are no bounces, and how well their places and sizes are known."""
    of_distance, of_size = echoes.uncertainty()
    real, pulled = told_apart(echoes, of_distance, of_size)
    least = FLAT * echoes.band.resolution
    return real, np.sqrt(of_distance**2 + pulled**2 + least**2), of_size


def told_apart(echoes: Echoes, of_distance: Real, of_size: Real) -> tuple[np.ndarray, Real]:
    """Which echoes are no bounces, and how far what is near may have pulled each.

    They are judged strongest first, as a bounce is no stronger than each of what it bounces
    between; a nearer one about as strong passes for real meanwhile.
    """
    band, size, distance = echoes.band, echoes.at_foot(), echoes.distance
    doubt = 3 * of_size * band.fade(distance)
    real, judged = np.zeros((2, size.size), bool)
    for m in np.argsort(-size):
        alike = ~judged & (distance < distance[m]) & (ALIKE * size > size[m])
        place, expected = _bounced(echoes, real | alike, judged | alike)
        off = np.abs(folded(place - distance[m], band.range))
        explained = expected[off < band.resolution / 2 + 3 * of_distance[m]].sum()
        real[m] = size[m] > min(MARGIN * explained + doubt[m], HARDLY * explained)
        judged[m] = True
    place, expected = _bounced(echoes, real, judged)
    off = np.abs(folded(place - distance[:, None], band.range))
    near = np.where(off < NEAREST * band.resolution, expected, 0).sum(axis=1)
    # a neighbour that the shapes cannot part from it pulls too
    gap = np.abs(distance - distance[:, None])
    beside = np.where((gap > 0) & (gap < 3 * band.resolution), size, 0).sum(axis=1)
    pull = (near / 2 + CROSSTALK * beside) / np.maximum(size, 1e-12)
    return real, band.resolution * np.minimum(pull, 0.5)
