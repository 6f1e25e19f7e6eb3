"""The same readings, if something in the record were otherwise: other values, the same job."""

import json
import tomllib
from collections.abc import Mapping
from dataclasses import replace
from datetime import date
from decimal import Decimal
from pathlib import Path
from typing import Any

import numpy as np

from rfcal.errors import RecordError
from rfcal.maths.bilinear import Bilinear
from rfcal.maths.reflection import Complex
from rfcal.measurement.deembedding import path_map
from rfcal.models.standards import Standard
from rfcal.record.format import schema
from rfcal.record.format.schema import FILE, Record
from rfcal.record.results import Results

NAMED = [s.name for s in schema.SECTIONS if any(key.name == "name" for key in s.keys)]
"""Tables that go by the names that they state."""
TABLES = [s.name for s in schema.SECTIONS if s.name not in NAMED and "." not in s.header]
"""Tables that go by their own names."""


def changed(record: Record | str | Path, name: str, /, **values: Any) -> Record:
    """A record with other values in one of its tables, checked as if they had been read.

    Parameters
    ----------
    record : Record, str or Path
        A record, or the folder it lies in; it stays as it is.
    name : str
        Of a standard, check or measurement, or of a table: ``"analyzer"``, ``"match"``; a table
        that is not there yet is begun.
    **values
        Keys as in ``record.toml`` with what shall stand there; None takes a key away.

    Returns
    -------
    Record
        For `compute`.

    Raises
    ------
    RecordError
        Nothing has this name, or a value is none that the record takes.

    Examples
    --------
    >>> from rfcal import compute
    >>> other = changed("data/demo/beacon-antenna", "load", resistance_ohm=55.0)
    >>> compute(other).checks[0].agrees
    False
    """
    record = schema.load(record)
    tables = tomllib.loads(record.content.decode("utf-8-sig"), parse_float=Decimal)
    table = _named(tables, name)
    table.update(values)
    for key in [key for key, value in table.items() if value is None]:
        del table[key]
    text = "".join(f"{key} = {_toml(value)}\n" for key, value in tables.items())
    return schema.parse(record.folder, text.encode())


def _named(tables: dict[str, Any], name: str) -> dict[str, Any]:
    """The table that goes by a name."""
    items = {t["name"]: t for key in NAMED for t in tables.get(key, ())}
    found = items.get(name) or (tables.setdefault(name, {}) if name in TABLES else None)
    found = found[0] if isinstance(found, list) and len(found) == 1 else found
    if isinstance(found, dict):
        return found
    names = ", ".join(f"'{n}'" for n in (*items, *TABLES))
    raise RecordError(FILE, "", f"no one table is named '{name}': expected one of {names}")


def _toml(value: Any) -> str:
    """A value as TOML has it, tables in one line."""
    if isinstance(value, dict):
        return "{" + ", ".join(f"{_toml(k)} = {_toml(v)}" for k, v in value.items()) + "}"
    if isinstance(value, list | tuple):
        return "[" + ", ".join(_toml(v) for v in value) + "]"
    if isinstance(value, bool | str):
        return json.dumps(value, ensure_ascii=False)
    if isinstance(value, int | float | Decimal | date | np.integer):
        return str(value)
    raise RecordError(FILE, "", f"{value!r:.60} is no text, number or list of these")


def corrected_with(
    results: Results,
    name: str,
    *,
    load_ohm: float = 0.0,
    load_henry: float = 0.0,
    open_farad: float = 0.0,
    short_henry: float = 0.0,
) -> Complex:
    """Reflection of a device if every load, open and short were off what the record says.

    Its readings are not read anew, so this is quick enough for a slider.

    Parameters
    ----------
    results : Results
        A computed record.
    name : str
        Name of the measurement.
    load_ohm, load_henry, open_farad, short_henry : float
        Added to every load's resistance [ohm] and inductance [H], open's capacitance [F] and
        short's inductance [H].

    Returns
    -------
    ndarray, shape (F,)
        Corrected reflection coefficient [1].
    """
    off = {
        "load": {"resistance": load_ohm, "inductance": load_henry},
        "open": {"capacitance": open_farad},
        "short": {"inductance": short_henry},
    }
    device = results.device(name)
    calibration, bench = device.inputs.calibration, results.bench
    known = [k.value for k in calibration.known]
    for i, model in enumerate(item.model for item in bench.standards):
        if isinstance(model, Standard) and any((more := off[model.kind]).values()):
            known[i] = _moved(model, more).reflection(device.frequency, z_ref=device.z_ref)
    box = Bilinear.fit(known, [s.value for s in calibration.seen], calibration.weight)
    return (box @ path_map(box, device.inputs.path)).correct(device.inputs.reading.value)


def _moved(model: Standard, by: Mapping[str, float]) -> Standard:
    """The same standard with some of its figures increased [ohm, F or H], by their names."""
    values: dict[str, Any] = {}
    for figure, more in by.items():
        own = getattr(model, figure)
        values[figure] = own + more if figure == "resistance" else (own[0] + more, *own[1:])
    return replace(model, **values)
