"""A sweep as a basis of echoes: round trips at distances times slow polynomials in frequency."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from rfcal.errors import CalibrationError
from rfcal.maths.reflection import Complex, Real
from rfcal.models.line import SPEED_OF_LIGHT, Line

UNEVEN = 0.01
"""Frequencies may stray from an even grid by this share of the step."""

RIDGE = 0.01
"""Reluctance to let an echo vary over the band, in parts of its column's own weight."""

NEAREST = 1.5
"""Two echoes are told apart when further from each other than this many resolutions."""

RINGS_FOR = 30.0
"""An antenna in the band rings on behind a line's end for so many resolutions (by simulation of
dipoles and fans of them for 7 to 145 MHz, in sweeps up to 100 to 300 MHz)."""

LEFT = 1e-9
"""Where a line leaves less of an echo than this [1], its loss is made good no further."""


@dataclass(frozen=True, eq=False)
class Band:
    """The sweep as a basis of echoes: round trip at a distance times a polynomial in frequency."""

    frequency: Real  # [Hz], evenly spaced, shape (F,)
    speed: float  # on the line [m/s]
    propagation: Complex  # that the echoes are fitted with [Np/m + j rad/m], shape (F,)
    # of the line [Np/m], shape (F,): that of `propagation`, or a guess where the loss is not known
    # and the fit does without
    attenuation: Real
    weight: Real  # window [1], shape (F,)
    shapes: Real  # polynomials orthonormal under the window, the first of them 1; shape (P, F)
    length: float  # of the line, 0 where it is not known [m]

    @property
    def width(self) -> float:
        """Swept band [Hz]."""
        return float(self.frequency[-1] - self.frequency[0])

    @property
    def middle(self) -> float:
        """Middle of the band [Hz]."""
        return float(np.mean(self.frequency))

    @property
    def narrow(self) -> bool:
        """Whether it is less wide than its middle is high."""
        return self.width < self.middle

    @property
    def turn(self) -> float:
        """By how much a place that is off turns what it reflects, mid-band [rad/m]."""
        # 4 pi f / v
        return 4 * np.pi / self.speed * self.middle

    @property
    def resolution(self) -> float:
        """Distance at which two echoes can be told apart [m] (any textbook on radar)."""
        # v / (2 B), a sinc's first null
        return self.speed / (2 * self.width)

    @property
    def near(self) -> float:
        """Distance from which on two echoes are told apart [m]."""
        return NEAREST * self.resolution

    @property
    def range(self) -> float:
        """Distance beyond which echoes are folded back [m]."""
        # v / (2 df), where the round trip turns by one period from point to point
        return self.speed / 2 * (self.frequency.size - 1) / self.width

    @property
    def needed(self) -> float:
        """The range that shows the line and what rings behind its end [m]."""
        return self.length + RINGS_FOR * self.resolution

    @property
    def folds(self) -> bool:
        """Whether the line's far parts appear nearer than they are."""
        return self.length > self.range - self.near

    @property
    def tail(self) -> float:
        """Up to where what rings behind the line's end may appear, folded back [m]."""
        return min(max(self.needed - self.range, 0.0), self.length / 2)

    def trace(self, reflection: Complex) -> Complex:
        """What reflects at each distance of the `grid` [1], complex; 1 for an echo of 1."""
        # windowed inverse transform: t(d) = sum_f w r exp(4 pi j f d / v) / sum_f w
        size = self.grid.size
        return np.fft.ifft(reflection * self.weight, size) * (size / self.weight.sum())

    @cached_property
    def grid(self) -> Real:
        """Distances of the trace [m], shape (G,): zero-padded four times or more."""
        size = 2 ** int(np.ceil(np.log2(4 * self.frequency.size)))
        return np.arange(size) * (self.range / size)

    def fade(self, distance: Real) -> Real:
        """What the loss in the fit leaves of an echo's peak [1]: seen at the foot over fitted."""
        steps, fitted, _ = self._left
        return np.exp(np.interp(distance, steps, fitted))

    def kept(self, distance: Real) -> Real:
        """What the line's loss leaves of an echo's peak [1], by a guess where it is not known."""
        steps, _, whole = self._left
        return np.exp(np.interp(distance, steps, whole))

    @cached_property
    def _left(self) -> Real:
        """Distances up to twice the range, and logarithms of `fade` and `kept` there."""
        steps = np.linspace(0, 2 * self.range, 65)
        loss = self.propagation.real, self.attenuation
        # mean over the window of exp(-2 alpha d)
        left = [np.exp(-2 * steps[:, None] * alpha) @ self.weight for alpha in loss]
        return np.stack([steps, *np.log(np.maximum(left / self.weight.sum(), LEFT))])

    def _columns(self, distance: Real) -> Complex:
        """The basis, shape (K P, F)."""
        # an echo at d is exp(-2 gamma d) times a polynomial in f
        trip = np.exp(-2 * distance[:, None] * self.propagation)
        every = (trip[:, None, :] * self.shapes).reshape(-1, self.frequency.size)
        return np.asarray(every, complex)

    def fit(self, distance: Real, reflection: Complex) -> tuple[Complex, Complex, Complex]:
        """Echoes at given distances: coefficients (K, P), what they leave (F,), basis (K P, F)."""
        basis = self._columns(distance)
        solved = self.solve(basis, reflection[None])[0]
        return (
            solved.reshape(distance.size, len(self.shapes)),
            np.asarray(reflection - np.einsum("k,kf->f", solved, basis), complex),
            basis,
        )

    def solve(self, basis: Complex, sweeps: Complex) -> Complex:
        """Coefficients (N, K P) of sweeps (N, F) on a basis, by least squares under the window."""
        # X^H W X a = X^H W r
        seen = basis.conj() * self.weight
        try:
            asked = np.einsum("kf,nf->kn", seen, sweeps)
            solved = np.linalg.solve(self._normal(seen, basis), asked)
        except np.linalg.LinAlgError as error:
            raise CalibrationError(
                "by its loss nothing comes back from far along the line, so no distance can be "
                "told: look at the stated loss and impedance, and at the far end's sweeps"
            ) from error
        return np.asarray(solved.T, complex)

    def _normal(self, seen: Complex, basis: Complex) -> Complex:
        """Matrix of the normal equations; a ridge keeps the shapes of near echoes from fighting."""
        matrix = _product(seen, basis)
        ridge = np.where(np.arange(len(basis)) % len(self.shapes), RIDGE, 1e-9)
        return matrix + np.diag(ridge * np.diagonal(matrix))

    def shift(self, coefficients: Complex) -> Real:
        """How far each echo lies beyond where it was assumed [m], half a resolution at most."""
        # first order of exp(-j 4 pi (f - fc) s / v): its imaginary slope over f is -4 pi s / v
        mean, linear = coefficients[:, 0], coefficients[:, 1]
        ratio = np.divide(linear, mean, out=np.zeros_like(mean), where=mean != 0)
        slope = ratio.imag / self.per_metre
        return np.clip(-slope, -self.resolution / 2, self.resolution / 2)

    @property
    def per_metre(self) -> float:
        """Coefficient of the linear shape that a metre of distance makes."""
        step = self.shapes[1, -1] - self.shapes[1, 0]
        return 4 * np.pi / self.speed * self.width / float(step)

    def deviations(self, basis: Complex) -> Real:
        """Standard deviation of each complex coefficient per noise 1 in the trace, shape (K, P)."""
        # weights W that are not the noise's: covariance N^-1 X^H W^2 X N^-1 with N = X^H W X
        seen = basis.conj() * self.weight
        inverse = np.linalg.inv(self._normal(seen, basis))
        spread = inverse @ _product(seen, seen.conj()) @ inverse
        per_trace = self.weight.sum() / np.sqrt(np.sum(self.weight**2))
        return (np.sqrt(np.diagonal(spread).real) * per_trace).reshape(-1, len(self.shapes))


def _product(left: Complex, right: Complex) -> Complex:
    """``left @ right.T`` in pieces too small for BLAS to wake threads, which costs more."""
    size = max(16, 30_000 // max(len(left) * len(right), 1))
    pieces = (slice(at, at + size) for at in range(0, left.shape[1], size))
    return np.asarray(sum(left[:, some] @ right[:, some].T for some in pieces))


def prepare(frequency: Real, reflection: Complex, line: Line, loss_known: bool) -> Band:
    """The basis of a sweep of reflection, which must be even, finite and long enough."""
    frequency = np.asarray(frequency, float)
    if frequency.ndim != 1 or frequency.size < 16 or np.shape(reflection) != frequency.shape:
        raise CalibrationError(
            f"{np.size(reflection)} readings at {frequency.size} frequencies are no sweep that "
            "tells distances: give 16 points or more, with one reading at each"
        )
    even = np.linspace(frequency[0], frequency[-1], frequency.size)
    step = even[1] - even[0]
    stray = np.max(np.abs(frequency - even))
    if not (step > 0 and stray <= UNEVEN * step and np.all(np.isfinite(reflection))):
        raise CalibrationError(
            f"the frequencies stray by {stray / 1e3:.3g} kHz from even steps of {step / 1e3:.6g} "
            "kHz, or a reading is missing, so no distance can be told: sweep again, upwards with "
            "a linear sweep"
        )
    # Kaiser window of 6: sidelobes some 44 dB down before any is subtracted
    weight = np.kaiser(frequency.size, 6.0)
    # with the loss unknown each echo needs one more term for its droop
    powers = np.linspace(-1, 1, frequency.size)[:, None] ** np.arange(3 if loss_known else 4)
    orthogonal, upper = np.linalg.qr(np.sqrt(weight)[:, None] * powers)
    shapes = orthogonal * np.sign(np.diagonal(upper)) / np.sqrt(weight / weight.sum())[:, None]
    speed = line.velocity_factor * SPEED_OF_LIGHT
    whole = line.propagation(frequency)
    propagation = whole if loss_known else whole - whole.real
    return Band(frequency, speed, propagation, whole.real, weight, shapes.T.copy(), line.length_m)
