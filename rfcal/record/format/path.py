"""``[[measurement.between]]``: what lies between the calibration plane and a device."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from rfcal import defaults
from rfcal.measurement.deembedding import SeriesPart, usual_doubt
from rfcal.models.cables import CABLES, cable_type
from rfcal.models.line import Line
from rfcal.record.format import line as lines
from rfcal.record.format.keys import Key, Placed, Section, Table
from rfcal.record.format.kinds import File, Flag, Number, Text
from rfcal.record.format.reading import Reading, end_keys, end_readings

KINDS = {
    "cable": "a line by its type",
    "measured": 'a line known by its sweeps (line = "measured")',
    "adapter": "an adapter",
    "fixture": "a fixture",
    "part": "a part in series",
}
"""Kinds of elements, and each in words."""

_LINE = Text(
    "line",
    "a cable by type, such as `RG-213`; or any name with `velocity_factor`, `z0_ohm` and "
    "`loss_db_per_100m`; or `measured`, in one piece and of one kind, with two sweeps of its own",
    kinds=("cable", "measured"),
)
_USUAL_Z0 = f"{100 * defaults.PATH['impedance']:g} % of it, or its type's"
_USUAL_LOSS = f"{100 * defaults.PATH['loss']:g}, or what tables of its type differ by"
_USUAL_FILE = f"{defaults.PATH['far end']:g}, of an adapter {defaults.PATH['adapter']:g}"
_doubt, _USUAL_SKIN = lines.uncertain, defaults.SKIN_EFFECT
_SKIN = "the reactance inside its conductors, in parts of it"
UNCERTAINTY = Number(
    "uncertainty",
    "uncertainty of what open and short reflect, or of an adapter's parameters",
    *(0.0, 1.0),
    instead=_USUAL_FILE,
    kinds=("measured", "adapter", "fixture"),
)
_OF_CABLE = {
    "length": replace(lines.LENGTH_UNCERTAINTY, default=defaults.PATH["length"]),
    "velocity factor": lines.VELOCITY_FACTOR_UNCERTAINTY,
    "impedance": _doubt("impedance", "z0_uncertainty_ohm", "its impedance", instead=_USUAL_Z0),
    "loss": _doubt("loss", "loss_uncertainty_percent", "its loss", instead=_USUAL_LOSS),
    "skin effect": _doubt("skin effect", "skin_effect_uncertainty", _SKIN, default=_USUAL_SKIN),
}
"""Keys of what is uncertain of a cable, by its name in `defaults.PATH`."""
_OF_ENDS, _OF_ADAPTER = {"far end": UNCERTAINTY}, {"adapter": UNCERTAINTY}
UNCERTAINTIES = _OF_CABLE | _OF_ENDS | _OF_ADAPTER
"""Keys of what is uncertain of an element, by its name in `defaults.PATH`."""
_UNCERTAIN: Mapping[str, Mapping[str, Number]] = {
    **{"cable": _OF_CABLE, "measured": _OF_ENDS, "fixture": _OF_ENDS},
    **{"adapter": _OF_ADAPTER, "part": {}},
}
"""The same of each kind of element."""
_CABLE = (replace(lines.LENGTH, needed=True), *lines.OWN, *_OF_CABLE.values())

_CAPACITOR = "a capacitor in series with the device"
_OFF = "uncertainty of its reactance"
PART = (
    Number("series_capacitance_f", _CAPACITOR, 1e-15, 1.0),
    Number("series_inductance_h", "or a coil", 1e-12, 1e3),
    Number("series_uncertainty_percent", _OFF, 0.0, 1.0, default=defaults.SERIES_PART),
)
"""Keys of a part in series: a capacitor or a coil, and how far that is off."""
ENDS = {"measured": ("far_end_open", "far_end_short"), "fixture": ("fixture_open", "fixture_short")}
"""Keys of both ends, by kind of element."""


def _kind(table: Table) -> str:
    fixture = "fixture_open_typed" if "fixture_open_typed" in table else "fixture_open"
    kinds = {"line": "cable", "adapter": "adapter", fixture: "fixture"}
    kinds |= dict.fromkeys((key.name for key in PART[:2]), "part")
    kind = kinds[table.one_of([*kinds], "say what it is")]
    return "measured" if kind == "cable" and _LINE.read(table) == "measured" else kind


def _of(kind: str, *keys: Key) -> tuple[Key, ...]:
    """Keys that stand with one kind of element alone."""
    return tuple(replace(key, kinds=(kind,)) for key in keys)


_SWEPT = "sweep of the line itself"
_ADAPTER = "two-port Touchstone file, port 1 towards the analyzer"
BETWEEN = Section(
    "[[measurement.between]]",
    "Something between the standards' plane and the device, in order from the plane outward; it is "
    "taken away.",
    (
        _LINE,
        *_of("cable", *_CABLE),
        *_of(
            "measured",
            *end_keys("far_end_open", f"{_SWEPT} with its far end open, as warm as later"),
            *end_keys("far_end_short", "and with a short there"),
        ),
        *_of("adapter", File("adapter", _ADAPTER, needed=True)),
        *_of("part", *PART),
        *_of(
            "fixture",
            *end_keys("fixture_open", "sweep of a fixture, open"),
            *end_keys("fixture_short", "and with a short in it"),
        ),
        UNCERTAINTY,
        Flag(
            "add",
            "add it in front of the device instead; what is removed comes first, and of several "
            "that are added the first stands next to the device",
            default=False,
        ),
    ),
    kind=_kind,
    kinds=KINDS,
)


@dataclass(frozen=True)
class Between(Placed):
    """One element of a path, as the record describes it."""

    name: str  # for the budget, such as ``"antenna: line 1"``
    kind: str  # of `KINDS`
    ends: tuple[Reading, ...]  # a line's or fixture's far end open, and short
    line: Line | None  # a cable's figures
    doubt: Mapping[str, float]  # standard uncertainties, keys as in `defaults.PATH`
    assumed: tuple[str, ...]  # keys of `doubt` that the record does not state
    embed: bool  # True to add the element, False to remove it
    part: SeriesPart | None = None  # a part in series
    adapter: str | None = None  # the adapter's file


def read_between(tables: Sequence[Table], device: str) -> tuple[Between, ...]:
    """The path of one measurement, from the plane outward; empty for a device at the plane."""
    path = tuple(_element(table, device, i) for i, table in enumerate(tables, start=1))
    for before, item, table in zip(path, path[1:], tables[1:], strict=False):
        if before.embed and not item.embed:
            why = "what is removed must stand before what is added: exchange the tables"
            raise table.fail("", why)
    return path


def _element(table: Table, device: str, number: int) -> Between:
    """One table of the path."""
    found, kind = BETWEEN.read(table), _kind(table)
    line, usual = _cable(table, found) if kind == "cable" else (None, defaults.PATH)
    doubt = {what: found[key.name] for what, key in _UNCERTAIN[kind].items()}
    return Between.made(
        table,
        found,
        name=f"{device}: {kind if kind != 'cable' else 'line'} {number}",
        kind=kind,
        ends=_ends(table, found, ENDS[kind]) if kind in ENDS else (),
        line=line,
        doubt={what: usual[what] if own is None else own for what, own in doubt.items()},
        assumed=tuple(what for what in doubt if UNCERTAINTIES[what].name not in table),
        embed=found["add"],
        part=SeriesPart(*(found[k.name] for k in PART)) if kind == "part" else None,
    )


def _ends(table: Table, found: dict[str, Any], keys: Sequence[str]) -> tuple[Reading, ...]:
    """What a line or a fixture is known by: both its ends."""
    ends = end_readings(table, found, keys)
    if len(ends) < 2:
        absent = next(key for key in keys if not {key, f"{key}_typed"} & set(table.values))
        raise table.missing(absent, f"a file here, or rows off the display as {absent}_typed,")
    return ends


def _cable(table: Table, found: dict[str, Any]) -> tuple[Line, Mapping[str, float]]:
    """A cable by its type, or by values of the user's own under any name; its usual doubt."""
    known = CABLES.get(cable_type(found["line"]))
    if known is None and not all(key.name in table for key in lines.OWN):
        why = f"'{found['line']}' is no cable known here ({', '.join(CABLES)})"
        own = "under a name of your own give velocity_factor, z0_ohm and loss_db_per_100m"
        raise table.fail("line", f"{why}; {own}")
    line = lines.line_of(found, known, found["length_m"])
    usual = usual_doubt(line)
    if known and "z0_ohm" not in table:
        usual["impedance"] = known.z0_doubt * known.z0
    if known and "loss_db_per_100m" not in table:
        usual["loss"] = known.loss_doubt
    return line, usual
