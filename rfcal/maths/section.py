"""A piece of line as a map of reflection, and its derivatives: offset lines and cables alike.

With `mismatch` g the reflection of the line's impedance in the reference, and `round_trip` q the
factor ``exp(-2 gamma l)``, a reflection x beyond the line is seen as
``[(q - g^2) x + g (1 - q)] / [1 - q g^2 - g (1 - q) x]`` (the telegrapher's solution).
"""

from rfcal.maths.bilinear import Bilinear
from rfcal.maths.reflection import Complex


def section(mismatch: Complex, round_trip: Complex) -> Bilinear:
    """The line as a map of what is beyond it.

    Parameters
    ----------
    mismatch : ndarray, shape (..., F)
        Reflection of the line's impedance in the reference impedance [1].
    round_trip : ndarray, shape (..., F)
        Propagation there and back, ``exp(-2 gamma l)`` [1].

    Returns
    -------
    Bilinear
        From beyond the line to its near end.
    """
    g, q = mismatch, round_trip
    return Bilinear(q - g**2, g * (1 - q), -g * (1 - q), 1 - q * g**2)


def by_round_trip(x: Complex, mismatch: Complex, round_trip: Complex) -> Complex:
    """Derivative of what is seen with respect to the round trip.

    Parameters
    ----------
    x : ndarray, shape (..., F)
        Reflection beyond the line [1].
    mismatch, round_trip : ndarray, shape (..., F)
        As for `section`.

    Returns
    -------
    ndarray, shape (..., F)
        Derivative [1]: what is seen is bilinear in the round trip too.
    """
    g = mismatch
    return Bilinear(x - g, g * (1 - g * x), g * (x - g), 1 - g * x).derivative(round_trip)


def by_mismatch(x: Complex, mismatch: Complex, round_trip: Complex) -> Complex:
    """Derivative of what is seen with respect to the mismatch.

    Parameters
    ----------
    x : ndarray, shape (..., F)
        Reflection beyond the line [1].
    mismatch, round_trip : ndarray, shape (..., F)
        As for `section`.

    Returns
    -------
    ndarray, shape (..., F)
        Derivative [1], by the quotient rule.
    """
    g, q = mismatch, round_trip
    above, below = (q - g**2) * x + g * (1 - q), 1 - q * g**2 - g * (1 - q) * x
    return ((1 - q - 2 * g * x) * below + above * (2 * q * g + (1 - q) * x)) / below**2
