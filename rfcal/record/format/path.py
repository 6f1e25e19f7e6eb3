"""``[[measurement.between]]``: what lies between the calibration plane and a device."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from rfcal import defaults
from rfcal.measurement.instrument import usual_doubt
from rfcal.models.cables import CABLES, Cable
from rfcal.models.line import Line, loss_law
from rfcal.record.format.keys import Keys

MOST_OFF = 0.3
"""Rows of a loss table may be off the law that fits them best by this share of themselves."""

MOST_DOUBT = {
    "length": 1e3,
    "velocity factor": 0.3,
    "impedance": 1e6,
    "loss": 1.0,
    "skin effect": 1.0,
}
"""Larger uncertainties of a cable's figures are slips of the pen [m, 1, ohm, 1, 1]."""

SHALLOW_MHZ = 30.0
"""From here on the law holds of usual cables [MHz] (common practice, no source)."""

LONGEST_M = 1e5
"""Lengths beyond this are slips of the pen [m]."""

_CABLE = (
    *("length_m", "length_uncertainty_m", "velocity_factor", "velocity_factor_uncertainty"),
    *("z0_ohm", "z0_uncertainty_ohm", "loss_db_per_100m", "loss_uncertainty_percent"),
    "skin_effect_uncertainty",
)
_PAIRS = {"line": ("far_end_open", "far_end_short"), "fixture": ("fixture_open", "fixture_short")}


@dataclass(frozen=True)
class Between:
    """One element of a path, as the record describes it.

    Parameters
    ----------
    name : str
        Name for the budget, such as ``"line 1"``.
    place : str
        Where it stands in the record, for errors.
    kind : str
        ``"cable"``, ``"measured"``, ``"adapter"`` or ``"fixture"``.
    files : tuple of str
        Sweeps open and short, or the adapter's file.
    line : Line, optional
        A cable's figures.
    doubt : mapping of str to float
        Standard uncertainties, keys as in `defaults.PATH`.
    assumed : tuple of str
        Keys of `doubt` that the record does not state.
    embed : bool
        True to add the element, False to remove it.
    """

    name: str
    place: str
    kind: str
    files: tuple[str, ...]
    line: Line | None
    doubt: Mapping[str, float]
    assumed: tuple[str, ...]
    embed: bool


def read_between(measurement: Keys) -> tuple[Between, ...]:
    """The path of one measurement, from the plane outward.

    Parameters
    ----------
    measurement : Keys
        The measurement's table.

    Returns
    -------
    tuple of Between
        Empty where the device is at the plane.

    Raises
    ------
    RecordError
        Names the key at fault.
    """
    name = measurement.text("name")
    tables = [
        Keys(table, f"{measurement.place} between {i}", measurement.folder)
        for i, table in enumerate(measurement.tables("between"), start=1)
    ]
    path = tuple(_element(keys, name, i) for i, keys in enumerate(tables, start=1))
    for before, item, keys in zip(path, path[1:], tables[1:], strict=False):
        if before.embed and not item.embed:
            raise keys.fail(
                "", "what is removed must stand before what is added: exchange the tables"
            )
    return path


def _element(keys: Keys, device: str, number: int) -> Between:
    """One table of the path."""
    keys.only(
        ("line", "adapter", *_PAIRS["fixture"], *_PAIRS["line"], *_CABLE, "add", "uncertainty")
    )
    embed = keys.table.get("add", False)
    if not isinstance(embed, bool):
        raise keys.fail("add", "expected true or false")
    kinds = [k for k in ("line", "adapter", "fixture_open") if k in keys.table]
    if len(kinds) != 1:
        raise keys.fail("", "say what it is by exactly one of line, adapter, fixture_open")
    kind: str = kinds[0]
    files: tuple[str, ...] = ()
    line: Line | None = None
    doubt: dict[str, float] = {}
    usual = dict(defaults.PATH)
    if kind == "line" and keys.text("line") != "measured":
        _refuse(keys, (*_PAIRS["line"], *_PAIRS["fixture"], "uncertainty"), "a line by its type")
        kind, line, doubt = "cable", _cable(keys), _cable_doubt(keys)
        wanted: tuple[str, ...] = ("length", "velocity factor", "impedance", "loss", "skin effect")
        usual = usual_doubt(line)
        known = CABLES.get(keys.text("line"))
        if known and "z0_ohm" not in keys.table:
            usual["impedance"] = known.z0_doubt * known.z0
        if known and "loss_db_per_100m" not in keys.table:
            usual["loss"] = known.loss_doubt
    else:
        _refuse(keys, _CABLE, "an element known by its files")
        pairs = {"line": _PAIRS["line"], "fixture_open": _PAIRS["fixture"], "adapter": ("adapter",)}
        files = tuple(keys.path(k) for k in pairs[kind])
        kind = {"line": "measured", "fixture_open": "fixture"}.get(kind, kind)
        wanted = ("adapter",) if kind == "adapter" else ("far end",)
        if "uncertainty" in keys.table:
            doubt = {wanted[0]: keys.number("uncertainty", low=0, high=1)}
    return Between(
        name=f"{device}: {kind if kind != 'cable' else 'line'} {number}",
        place=keys.place,
        kind=kind,
        files=files,
        line=line,
        doubt={k: doubt.get(k, usual[k]) for k in wanted},
        assumed=tuple(k for k in wanted if k not in doubt),
        embed=embed,
    )


def _refuse(keys: Keys, unwanted: tuple[str, ...], what: str) -> None:
    for key in unwanted:
        if key in keys.table:
            raise keys.fail(key, f"this key has no meaning for {what}")


def _cable(keys: Keys) -> Line:
    """A cable by its type, or by values of the user's own under any name."""
    kind = keys.text("line")
    own = {"velocity_factor", "z0_ohm", "loss_db_per_100m"} <= set(keys.table)
    if kind not in CABLES and not own:
        raise keys.fail(
            "line",
            f"'{kind}' is no cable known here ({', '.join(CABLES)}); under a name of your own give "
            "velocity_factor, z0_ohm and loss_db_per_100m",
        )
    known = CABLES.get(kind)
    table = known.loss if known else ()
    if "loss_db_per_100m" in keys.table:
        table = loss_rows(keys)
    return Line(
        keys.number("length_m", low=0, high=LONGEST_M),
        velocity_factor(keys, known),
        keys.number("z0_ohm", known.z0 if known else None, low=1e-3, high=1e6),
        *loss_law(table),
    )


def _cable_doubt(keys: Keys) -> dict[str, float]:
    """What the record states."""
    stated = {
        "length": ("length_uncertainty_m", 1.0),
        "velocity factor": ("velocity_factor_uncertainty", 1.0),
        "impedance": ("z0_uncertainty_ohm", 1.0),
        "loss": ("loss_uncertainty_percent", 0.01),
        "skin effect": ("skin_effect_uncertainty", 1.0),
    }
    return {
        name: keys.number(key, low=0, high=MOST_DOUBT[name] / unit) * unit
        for name, (key, unit) in stated.items()
        if key in keys.table
    }


def velocity_factor(keys: Keys, known: Cable | None) -> float:
    """The velocity factor of a line, stated or of its type.

    Parameters
    ----------
    keys : Keys
        The table that describes the line.
    known : Cable, optional
        Its type.

    Returns
    -------
    float
        Speed on the line over the speed of light [1].
    """
    velocity = keys.number("velocity_factor", known.velocity_factor if known else None, low=0.01)
    if velocity > 1:
        raise keys.fail("velocity_factor", f"{velocity:g} is faster than light")
    return velocity


def loss_rows(keys: Keys) -> tuple[tuple[float, float], ...]:
    """The loss of a line as the record states it.

    Parameters
    ----------
    keys : Keys
        The table that describes the line.

    Returns
    -------
    tuple of (MHz, dB per 100 m)
        At least one row.
    """
    rows = keys.pairs("loss_db_per_100m", "MHz, dB per 100 m")
    for megahertz, loss in rows:
        if not 1e-3 <= megahertz <= 1e6 or not 1e-6 <= loss <= 1e6:
            raise keys.fail(
                "loss_db_per_100m",
                f"[{megahertz:g}, {loss:g}] is no row of MHz (from 0.001 to 1e6) and dB per 100 m "
                "(above zero, from 1e-6 to 1e6)",
            )
    fitted = Line(0.0, 1.0, 1.0, *loss_law(rows)).loss_db_per_100m(1e6 * np.array(rows)[:, 0])
    for (megahertz, loss), by_law in zip(rows, fitted, strict=True):
        # thin and plated conductors lose more than the law says where the skin is not yet shallow
        least = 0.0 if megahertz < SHALLOW_MHZ else 1 - MOST_OFF
        if not least < by_law / loss < 1 + MOST_OFF:
            raise keys.fail(
                "loss_db_per_100m",
                f"[{megahertz:g}, {loss:g}] does not go with the other rows: a cable's loss rises "
                f"between the root of frequency and frequency itself, and what fits all rows best "
                f"gives {by_law:.3g} dB there. Look for a slip in one of them",
            )
    return tuple(rows)
