"""``[[measurement.between]]``: what lies between the calibration plane and a device."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from rfcal import defaults
from rfcal.measurement.instrument import usual_doubt
from rfcal.models.cables import CABLES
from rfcal.models.line import Line
from rfcal.record.format.cable import (
    LENGTH,
    LENGTH_UNCERTAINTY,
    LOSS,
    OWN,
    VELOCITY_FACTOR_UNCERTAINTY,
    Z0,
    line_of,
)
from rfcal.record.format.keys import Section
from rfcal.record.format.numbers import Number
from rfcal.record.format.table import Table
from rfcal.record.format.texts import File, Flag, Text

KINDS = {
    "cable": "a line by its type",
    "measured": "a line known by its sweeps",
    "adapter": "an adapter",
    "fixture": "a fixture",
}
"""Kinds of elements, and each in words."""

_LINE = Text(
    "line",
    "a cable by type, such as `RG-213`; or any name with `velocity_factor`, `z0_ohm` and "
    "`loss_db_per_100m`; or `measured`, in one piece and of one kind, with two sweeps of its own",
    kinds=("cable", "measured"),
)
_OF_CABLE = (
    replace(LENGTH, needed=True),
    replace(LENGTH_UNCERTAINTY, default=defaults.PATH["length"]),
    *OWN,
    VELOCITY_FACTOR_UNCERTAINTY,
    Number(
        "z0_uncertainty_ohm",
        "uncertainty of its impedance",
        unit="ohm",
        low=0.0,
        high=1e6,
        instead=f"{100 * defaults.PATH['impedance']:g} % of it, or its type's",
        gives="impedance",
    ),
    Number(
        "loss_uncertainty_percent",
        "uncertainty of its loss",
        unit="%",
        low=0.0,
        high=1.0,
        instead=f"{100 * defaults.PATH['loss']:g}, or what tables of its type differ by",
        gives="loss",
    ),
    Number(
        "skin_effect_uncertainty",
        "uncertainty of the reactance inside its conductors, in parts of it",
        default=defaults.SKIN_EFFECT,
        low=0.0,
        high=1.0,
        gives="skin effect",
    ),
)
_OF_FILES = ("measured", "adapter", "fixture")


def _file(name: str, says: str, kind: str) -> File:
    return File(name, says, needed=True, kinds=(kind,))


def _kind(table: Table) -> tuple[str, str]:
    kind = table.one_of(("line", "adapter", "fixture_open"), "say what it is")
    if kind == "line":
        kind = "measured" if _LINE.read(table) == "measured" else "cable"
    kind = kind.removesuffix("_open")
    return kind, KINDS[kind]


BETWEEN = Section(
    "[[measurement.between]]",
    "Something between the standards' plane and the device, in order from the plane outward; it is "
    "taken away.",
    (
        _LINE,
        *(replace(key, kinds=("cable",)) for key in _OF_CABLE),
        _file("far_end_open", "sweep of the line itself with its far end open", "measured"),
        _file("far_end_short", "and with a short there", "measured"),
        _file("adapter", "two-port Touchstone file, port 1 towards the analyzer", "adapter"),
        _file("fixture_open", "sweep of a fixture, open", "fixture"),
        _file("fixture_short", "and with a short in it", "fixture"),
        Number(
            "uncertainty",
            "uncertainty of what open and short reflect, or of an adapter's parameters",
            low=0.0,
            high=1.0,
            instead=f"{defaults.PATH['far end']:g}, of an adapter {defaults.PATH['adapter']:g}",
            kinds=_OF_FILES,
        ),
        Flag(
            "add",
            "add it in front of the device instead; what is removed comes first, and of several "
            "that are added the first stands next to the device",
        ),
    ),
    kind=_kind,
)


@dataclass(frozen=True)
class Between:
    """One element of a path, as the record describes it."""

    name: str  # for the budget, such as ``"antenna: line 1"``
    place: str  # where it stands in the record, for errors
    kind: str  # of `KINDS`
    files: tuple[str, ...]  # sweeps open and short, or the adapter's file
    line: Line | None  # a cable's figures
    doubt: Mapping[str, float]  # standard uncertainties, keys as in `defaults.PATH`
    assumed: tuple[str, ...]  # keys of `doubt` that the record does not state
    embed: bool  # True to add the element, False to remove it


def read_between(tables: Sequence[Table], device: str) -> tuple[Between, ...]:
    """The path of one measurement, from the plane outward; empty for a device at the plane."""
    path = tuple(_element(table, device, i) for i, table in enumerate(tables, start=1))
    for before, item, table in zip(path, path[1:], tables[1:], strict=False):
        if before.embed and not item.embed:
            raise table.fail(
                "", "what is removed must stand before what is added: exchange the tables"
            )
    return path


def _element(table: Table, device: str, number: int) -> Between:
    """One table of the path."""
    found, (kind, _) = BETWEEN.read(table), _kind(table)
    line, usual = None, dict(defaults.PATH)
    if kind == "cable":
        line, usual = _cable(table, found)
        doubt = {key.gives: found[key.name] for key in _OF_CABLE if key.gives}
        stated = {key.gives for key in _OF_CABLE if key.name in table}
    else:
        doubt = {"adapter" if kind == "adapter" else "far end": found["uncertainty"]}
        stated = set(doubt) if "uncertainty" in table else set()
    return Between(
        name=f"{device}: {kind if kind != 'cable' else 'line'} {number}",
        place=table.place,
        kind=kind,
        files=tuple(
            found[key.name] for key in BETWEEN.keys if isinstance(key, File) and key.name in found
        ),
        line=line,
        doubt={what: usual[what] if own is None else own for what, own in doubt.items()},
        assumed=tuple(what for what in doubt if what not in stated),
        embed=found["add"],
    )


def _cable(table: Table, found: dict[str, Any]) -> tuple[Line, dict[str, float]]:
    """A cable by its type, or by values of the user's own under any name; its usual doubt."""
    known = CABLES.get(found["line"])
    if known is None and not all(key.name in table for key in OWN):
        raise table.fail(
            "line",
            f"'{found['line']}' is no cable known here ({', '.join(CABLES)}); under a name of your "
            "own give velocity_factor, z0_ohm and loss_db_per_100m",
        )
    line = line_of(found, known, found["length_m"])
    usual = usual_doubt(line)
    if known and Z0.name not in table:
        usual["impedance"] = known.z0_doubt * known.z0
    if known and LOSS.name not in table:
        usual["loss"] = known.loss_doubt
    return line, usual
