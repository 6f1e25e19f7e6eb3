"""Reflection coefficient, impedance, admittance and what is read off them.

Everything broadcasts; frequency is the last axis. The reflection coefficient is the one of
voltage, ``(Z - z_ref) / (Z + z_ref)``, and ``z_ref`` is real. Sources: the definitions as in
any textbook on transmission lines, for example D. M. Pozar, Microwave Engineering, chapter 2.
"""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rfcal import defaults
from rfcal.maths.arguments import number, numbers

Complex = NDArray[np.complex128]
Real = NDArray[np.float64]


def _ratio(numerator: ArrayLike, denominator: ArrayLike) -> Complex:
    """Divide; where the denominator is zero the result is a plain infinity."""
    top, bottom = np.asarray(numerator, complex), np.asarray(denominator, complex)
    zero = bottom == 0
    with np.errstate(invalid="ignore"):  # what is no number stays none
        return np.where(zero, np.inf + 0j, top / np.where(zero, 1, bottom))


def _require_real(z_ref: float) -> None:
    """A reference impedance, or admittance: what is above zero; within rfcal an array goes too."""
    if not isinstance(z_ref, np.ndarray):
        number(z_ref, "the reference impedance [ohm]", low=0, above=True)


def to_impedance(reflection: ArrayLike, z_ref: float = defaults.REFERENCE_OHM) -> Complex:
    """Impedance of a device whose reflection coefficient is known.

    Parameters
    ----------
    reflection : array_like, any shape
        Reflection coefficient [1].
    z_ref : float
        Reference impedance of `reflection` [ohm].

    Returns
    -------
    ndarray
        Impedance [ohm]; infinite (real part) where the reflection is exactly 1.

    Examples
    --------
    >>> print(to_impedance([0, 0.5, 1j]).round(6))
    [ 50. +0.j 150. +0.j   0.+50.j]
    """
    x = numbers(reflection, "the reflection")
    _require_real(z_ref)
    # Z = z_ref (1 + reflection) / (1 - reflection)
    return _ratio(z_ref * (1 + x), 1 - x)


def from_impedance(impedance: ArrayLike, z_ref: float = defaults.REFERENCE_OHM) -> Complex:
    """Reflection coefficient of an impedance.

    Parameters
    ----------
    impedance : array_like, any shape
        Impedance [ohm]; infinite values give a reflection of 1, and nan stays nan.
    z_ref : float
        Reference impedance of the result [ohm].

    Returns
    -------
    ndarray
        Reflection coefficient [1].

    Examples
    --------
    >>> print(from_impedance([50, 150, 50j]).round(6))
    [0. +0.j 0.5+0.j 0. +1.j]
    """
    impedance = numbers(impedance, "the impedance")
    _require_real(z_ref)
    endless = np.isinf(impedance)
    z = np.where(endless, 0, impedance)
    # reflection = (Z - z_ref) / (Z + z_ref)
    return np.where(endless, 1, _ratio(z - z_ref, z + z_ref))


def to_admittance(reflection: ArrayLike, z_ref: float = defaults.REFERENCE_OHM) -> Complex:
    """Admittance [S] of a reflection coefficient, infinite where that is exactly -1."""
    _require_real(z_ref)
    return to_impedance(-numbers(reflection, "the reflection"), 1 / z_ref)


def impedance_derivative(reflection: ArrayLike, z_ref: float = defaults.REFERENCE_OHM) -> Complex:
    """How fast the impedance moves with the reflection [ohm]; infinite at exactly 1."""
    # dZ/dreflection = 2 z_ref / (1 - reflection)^2
    return _ratio(2 * z_ref, (1 - np.asarray(reflection, complex)) ** 2)


def impedance_circle(reflection: ArrayLike, radius: ArrayLike) -> tuple[Complex, Real]:
    """Centre and radius [ohm] of the circle of impedances that a circle of reflections is.

    The centre is not the impedance of the one in the reflection plane; both are infinite where
    the circle reaches an open.
    """
    # Z / z_ref = 2 / (1 - reflection) - 1, and 1 / u turns the circle about u0 of radius r into
    # the one about conj(u0) / (|u0|^2 - r^2) of radius r / (|u0|^2 - r^2)
    z_ref = defaults.REFERENCE_OHM
    u, radius = 1 - np.asarray(reflection, complex), np.asarray(radius, float)
    left = np.abs(u) ** 2 - radius**2
    scale = 2 * z_ref / np.where(left > 0, left, 1)
    centre = np.where(left > 0, scale * np.conj(u) - z_ref, np.inf)
    return centre, np.where(left > 0, scale * radius, np.inf)


def renormalise(reflection: ArrayLike, z_from: ArrayLike, z_to: ArrayLike) -> Complex:
    """The same device's reflection coefficient in another reference impedance [ohm].

    Complex ones are those of waves on a line with loss.
    """
    reflection, z_from, z_to = (np.asarray(v, complex) for v in (reflection, z_from, z_to))
    step = (z_from - z_to) / (z_from + z_to)
    # both are bilinear in Z, so the one is bilinear in the other
    return _ratio(reflection + step, 1 + step * reflection)


def swr(reflection: ArrayLike) -> Real:
    """Standing wave ratio on a lossless line of the reference impedance.

    Parameters
    ----------
    reflection : array_like, any shape
        Reflection coefficient [1].

    Returns
    -------
    ndarray
        Standing wave ratio [1], infinite where the magnitude of the reflection is 1 or more.

    Examples
    --------
    >>> print(swr([0, 0.5j, 1]))
    [ 1.  3. inf]
    """
    size = np.abs(numbers(reflection, "the reflection"))
    # SWR = (1 + |reflection|) / (1 - |reflection|)
    return np.where(size < 1, _ratio(1 + size, 1 - size).real, np.inf)


def return_loss_db(reflection: ArrayLike) -> Real:
    """Return loss [dB], positive for a passive device, infinite for a perfect match."""
    with np.errstate(divide="ignore"):
        return 0.0 - 20 * np.log10(np.abs(reflection))
