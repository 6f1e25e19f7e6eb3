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
_ROWS = 8192


@dataclass(frozen=True, eq=False)
class Told:
    """Numbers to be written to the `DIGITS` of their uncertainty; without one, to so many."""

    values: NDArray[Any]  # real or complex, shape (F,) or (F, K)
    uncertainty: ArrayLike | None = None  # in the same unit; with a last axis of 2 for complex


def once(values: NDArray[Any] | None) -> Any:
    """An array as plain values, or the one value where it is the same over frequency."""
    if values is None:
        return None
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


def chunks(value: Any) -> Iterator[str]:
    """The text of dictionaries and lists that hold `Told`, arrays and plain values."""
    if isinstance(value, Told):
        yield from _numbers(value)
    elif isinstance(value, Mapping):
        for i, (key, inner) in enumerate(value.items()):
            yield f"{', ' if i else '{'}{json.dumps(key, ensure_ascii=False)}: "
            yield from chunks(inner)
        yield "}" if value else "{}"
    elif isinstance(value, list | tuple) and any(isinstance(v, Mapping) for v in value):
        for i, inner in enumerate(value):
            yield ", " if i else "["
            yield from chunks(inner)
        yield "]"
    else:
        yield json.dumps(plain(value), allow_nan=False, ensure_ascii=False, separators=(",", ":"))


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
    values = _pairs(np.asarray(told.values))
    unit = np.abs(values) if told.uncertainty is None else np.asarray(told.uncertainty, float)
    unit = np.broadcast_to(unit, values.shape)
    row = "%.*g" if values.ndim == 1 else f"[{','.join(['%.*g'] * values.shape[1])}]"
    yield "["
    for start in range(0, len(values), _ROWS):
        some = values[start : start + _ROWS]
        digits = _digits(some, unit[start : start + _ROWS])
        cells = zip(digits.ravel().tolist(), some.ravel().tolist(), strict=True)
        text = ",".join([row] * len(some)) % tuple(chain.from_iterable(cells))
        if not np.all(np.isfinite(some)):
            text = re.sub("-?(?:nan|inf)", "null", text)
        yield f",{text}" if start else text
    yield "]"


def _digits(values: NDArray[Any], unit: NDArray[Any]) -> NDArray[np.int64]:
    """Significant digits by which each number ends where its uncertainty's do."""
    size = np.where(np.isfinite(values) & (values != 0), np.abs(values), 1.0)
    unit = np.where(np.isfinite(unit), unit, size)
    with np.errstate(divide="ignore"):
        places = DIGITS + np.floor(np.log10(size)) - np.floor(np.log10(unit))
    return np.clip(places, 1, MOST_DIGITS).astype(np.int64)
