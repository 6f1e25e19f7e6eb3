"""JSON text in pieces, so that a long sweep is not held twice; numbers to the digits they have."""

import json
import math
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import chain
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rfcal.errors import RecordError

DIGITS = 5
"""Digits of an uncertainty that are written; what it belongs to ends at the same decimal, so that
an answer computed again agrees with the written one within 1e-4 of its uncertainty."""
MOST_DIGITS = 15
"""Of a number that is certain."""
NO_UNCERTAINTY = 6
"""Digits of a number beside which no uncertainty stands; of one beside which one does, at least."""
RESIDUE = 1e-12
"""What is smaller, in parts of its uncertainty, is what arithmetic leaves of zero."""
EXACT = ("_hz", "reference_ohm")
"""How the names end of what is written as it is."""
_ROWS = 8192


@dataclass(frozen=True, eq=False)
class Told:
    """Numbers to be written to the `DIGITS` of their uncertainty; without one, to so many."""

    values: NDArray[Any]  # real or complex, shape (F,) or (F, K)
    uncertainty: ArrayLike | None = None  # in the same unit; with a last axis of 2 for complex


def once(values: Told | NDArray[Any] | None) -> Any:
    """What is written of an array, or the one value where that is the same over frequency."""
    if values is None:
        return None
    if isinstance(values, Told):
        cells, unit = _with_unit(values)
        few = [0, len(cells) // 2, -1]
        for one in (Told(cells[few], unit[few]), Told(cells, unit)):  # few of a long sweep tell
            said = json.loads("".join(_numbers(one)))
            if any(v != said[0] for v in said):
                return values
        return said[0]
    said = plain(values)
    return said[0] if all(v == said[0] for v in said) else said


def plain(value: Any) -> Any:
    """Arrays as nested lists that JSON can hold; infinite or undefined numbers become None."""
    if isinstance(value, np.ndarray | np.generic):
        return plain(_pairs(np.asarray(value)).tolist())
    if isinstance(value, list | tuple):
        return [plain(v) for v in value]
    if isinstance(value, Mapping):
        return {k: plain(v) for k, v in value.items()}
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value


def chunks(value: Any, digits: int | None = NO_UNCERTAINTY) -> Iterator[str]:
    """The text of dictionaries and lists that hold `Told`, arrays and plain values.

    These have so many digits, all of them where it is none, and in a dictionary as many as what
    stands beside says.
    """
    if isinstance(value, Told):
        yield from _numbers(value)
    elif isinstance(value, Mapping):
        for i, (key, inner) in enumerate(value.items()):
            yield f"{', ' if i else '{'}{json.dumps(key, ensure_ascii=False)}: "
            yield from chunks(inner, _digits_beside(value, key))
        yield "}" if value else "{}"
    elif isinstance(value, list | tuple) and any(isinstance(v, Mapping) for v in value):
        for i, inner in enumerate(value):
            yield ", " if i else "["
            yield from chunks(inner, digits)
        yield "]"
    else:
        said = _ended(plain(value), digits)
        yield json.dumps(said, allow_nan=False, ensure_ascii=False, separators=(",", ":"))


def _digits_beside(beside: Mapping[str, Any], key: str) -> int | None:
    """Digits of what has this name, by the uncertainty that stands beside it under a usual one."""
    if key.endswith(EXACT):
        return None
    name, _, unit = key.rpartition("_")
    of_it = f"{name}_uncertainty_{unit}", f"{key}_standard_uncertainty"
    names = (*of_it, f"standard_uncertainty_{unit}", "uncertainty")
    value, off = beside[key], next((beside[one] for one in names if one in beside), None)
    if not (isinstance(value, float) and isinstance(off, float)):
        return NO_UNCERTAINTY
    return max(NO_UNCERTAINTY, int(_digits(np.array(value), np.array(off))))


def _ended(said: Any, digits: int | None) -> Any:
    """Plain values, whose numbers end at so many digits; what is whole has no point."""
    if isinstance(said, list):
        return [_ended(one, digits) for one in said]
    if not isinstance(said, float):
        return said
    ended = said if digits is None else float(f"{said:.{digits}g}")
    return int(ended) if ended.is_integer() and abs(ended) < 10**MOST_DIGITS else ended


def parsed(text: str | bytes, file: Path, what: str, **how: Any) -> Any:
    """What JSON says in which no key stands twice; `what` is to be said of any other text."""

    def once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
        if len(found := dict(pairs)) < len(pairs):
            raise RecordError(str(file), "", "it says the same key twice")
        return found

    try:
        return json.loads(text, object_pairs_hook=once, **how)
    except (ValueError, RecursionError) as error:
        raise RecordError(str(file), "", what) from error


def _pairs(values: NDArray[Any]) -> NDArray[Any]:
    """Complex numbers with a last axis of real and imaginary part."""
    if not np.iscomplexobj(values):
        return values
    return np.stack([values.real, values.imag], axis=-1)


def _numbers(told: Told) -> Iterator[str]:
    values, unit = _with_unit(told)
    row = "%.*g" if values.ndim == 1 else f"[{','.join(['%.*g'] * values.shape[1])}]"
    yield "["
    for start in range(0, len(values), _ROWS):
        some = values[start : start + _ROWS]
        known = unit[start : start + _ROWS]
        digits = _digits(some, known)
        some = np.where(np.isfinite(known) & (np.abs(some) < RESIDUE * known), 0.0, some)
        cells = zip(digits.ravel().tolist(), some.ravel().tolist(), strict=True)
        text = ",".join([row] * len(some)) % tuple(chain.from_iterable(cells))
        if not np.all(np.isfinite(some)):
            text = re.sub("-?(?:nan|inf)", "null", text)
        yield f",{text}" if start else text
    yield "]"


def _with_unit(told: Told) -> tuple[NDArray[Any], NDArray[Any]]:
    """Real numbers, and the uncertainty by which each ends."""
    values = _pairs(np.asarray(told.values))
    unit = np.abs(values) if told.uncertainty is None else np.asarray(told.uncertainty, float)
    return values, np.broadcast_to(unit, values.shape)


def _digits(values: NDArray[Any], unit: NDArray[Any]) -> NDArray[np.int64]:
    """Significant digits by which each number ends where its uncertainty's do."""
    size = np.where(np.isfinite(values) & (values != 0), np.abs(values), 1.0)
    unit = np.where(np.isfinite(unit), unit, size)
    with np.errstate(divide="ignore"):
        places = DIGITS + np.floor(np.log10(size)) - np.floor(np.log10(unit))
    return np.clip(places, 1, MOST_DIGITS).astype(np.int64)
