"""What calls are given, checked once at the door: numbers that mean something, and read-only."""

from collections.abc import Iterable, Mapping, Sequence
from types import MappingProxyType
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rfcal.errors import ArgumentError

LEAST_OHM, MOST_OHM = 1e-3, 1e6
"""Reference impedances, and those of lines, outside these are slips of the pen [ohm]."""

MEGAHERTZ_HZ = 1e3
"""A sweep that ends below this was written down in another unit [Hz]."""


def numbers(values: ArrayLike, what: str) -> NDArray[Any]:
    """An array, or what becomes one, that holds real or complex numbers; `what` it is of."""
    try:
        array = np.asarray(values)
    except ValueError as error:
        raise ArgumentError(f"{what} must be numbers in rows of one length: {error}") from error
    if array is not values and isinstance(values, np.ndarray) and np.ma.is_masked(values):
        at = int(np.argmax(np.ma.getmaskarray(values))) + 1
        raise ArgumentError(f"{what} must be numbers, and number {at} is masked: leave it out")
    if array.dtype.kind in "fc":
        return array
    if array.dtype.kind not in "iu" or not array.size:
        raise ArgumentError(f"{what} must be numbers, found {shown(values)}")
    return array.astype(float)


def frozen(values: ArrayLike, what: str, *, copy: bool = True) -> NDArray[Any]:
    """The same as a read-only array; without `copy` a view, which costs nothing.

    What is read-only already and no view of another is nobody's to change.
    """
    array = numbers(values, what)
    if copy and array.flags.owndata and not array.flags.writeable:
        return array
    array = array.copy() if copy else array.view()
    array.setflags(write=False)
    return array


def together(values: Sequence[NDArray[Any]], what: str) -> tuple[int, ...]:
    """The shape that arrays have together; `what` they are."""
    try:
        return np.broadcast_shapes(*(v.shape for v in values))
    except ValueError:
        shapes = ", ".join(str(v.shape) for v in values)
        raise ArgumentError(f"{what} must go together, but have shapes {shapes}") from None


def number(
    value: Any,
    what: str,
    *,
    low: float = -np.inf,
    high: float = np.inf,
    above: bool = False,
    infinite: bool = False,
) -> None:
    """Refuse what is no number from `low` (or, if `above`, beyond it) to `high`."""
    if isinstance(value, bool) or not isinstance(value, int | float | np.integer | np.floating):
        kind = "real number" if isinstance(value, complex) else "number"
        raise ArgumentError(f"{what} must be a {kind}, found {shown(value)}")
    if np.isinf(value) and not infinite:
        raise ArgumentError(f"{what} is {value:g}, and a finite number is needed")
    if not (low < value if above else low <= value) or not value <= high:
        least = f"above {low:g}" if above else f"from {low:g}"
        said = least if np.isinf(high) else f"{least} to {high:g}"
        said = "finite" if np.isinf(low) and np.isinf(high) else said
        raise ArgumentError(f"{what} is {value:g}, and {said} is possible: look at its unit")


def drawn(value: Any, what: str, **limits: Any) -> Any:
    """A number within limits as `number` has them, or a read-only array of draws as it is."""
    if isinstance(value, np.ndarray | list | tuple):
        draws = frozen(value, what, copy=False)
        if draws.ndim == 1 and not isinstance(value, np.ndarray):  # a list of what, then?
            raise ArgumentError(
                f"{what} is one number or an array of draws, shape (N, 1), found shape "
                f"{draws.shape}"
            )
        return draws
    number(value, what, **limits)
    return value


def choice(value: Any, what: str, known: Iterable[str]) -> None:
    """Refuse what is none of the known words."""
    known = tuple(known)
    if not isinstance(value, str) or value not in known:
        words = ", ".join(f"'{word}'" for word in known)
        raise ArgumentError(f"{what} is {shown(value)}, and one of {words} is expected")


def deviations(stated: Any, what: str, known: Mapping[str, float]) -> Mapping[str, float]:
    """Standard uncertainties by name, of what may be uncertain and up to what, read-only.

    They have the order of `known`: what draws random numbers draws them in it.
    """
    if not isinstance(stated, Mapping):
        raise ArgumentError(
            f"the uncertainty of {what} is a mapping from names to numbers, found {shown(stated)}"
        )
    for name, deviation in stated.items():
        choice(name, f"what is uncertain of {what}", known)
        number(deviation, f"the standard uncertainty of its {name}", low=0, high=known[name])
    return MappingProxyType({name: stated[name] for name in known if name in stated})


def reference(z_ref: Any) -> None:
    """Refuse what is no reference impedance."""
    number(z_ref, "the reference impedance [ohm]", low=LEAST_OHM, high=MOST_OHM)


def frequencies(values: ArrayLike) -> NDArray[np.float64]:
    """Frequencies [Hz], each real and above zero."""
    array = numbers(values, "frequencies")
    if array.dtype.kind != "f" or not (array > 0).all() or not array.size:
        raise ArgumentError(
            f"frequencies must be real numbers of hertz above zero, found {shown(values)}"
        )
    return array


def shown(value: Any) -> str:
    """What was found, on one line and not endless."""
    said = f"'{value}'" if isinstance(value, str) else repr(value)
    return said if len(said) <= 60 else f"{said[:57]}..."
