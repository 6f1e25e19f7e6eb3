"""``record.toml`` as validated dataclasses; every refusal names the key at fault."""

import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path
from typing import Any

from rfcal import defaults
from rfcal.errors import RecordError
from rfcal.models.standards import KINDS, Standard
from rfcal.record.format.keys import FILE, Keys, as_text, first_of
from rfcal.record.format.line import LineCheck, read_line_check
from rfcal.record.format.match import MatchRequest, read_match
from rfcal.record.format.path import Between, read_between

RESIDUAL = {f"residual_{name}": name for name in defaults.RESIDUAL}
"""Keys of an instrument that corrects itself, and their names in the model."""

UNCERTAINTY_KEYS = {  # key in the record: (name in the model, unit in SI)
    "uncertainty": ("reflection", 1.0),
    "offset_delay_uncertainty_ps": ("delay", 1e-12),
    "inductance_uncertainty_h": ("inductance", 1.0),
    "capacitance_uncertainty_f": ("capacitance", 1.0),
    "resistance_uncertainty_ohm": ("resistance", 1.0),
}
_READINGS = ("reading", "typed", "typed_reflection")
_OFFSET = (
    "offset_delay_ps",
    "offset_loss_gohm_per_s",
    "offset_z0_ohm",
    "offset_delay_uncertainty_ps",
)
_BY_KIND = {
    "short": (*_OFFSET, "inductance", "inductance_uncertainty_h"),
    "open": (*_OFFSET, "capacitance", "capacitance_uncertainty_f"),
    "load": (
        *(*_OFFSET, "inductance", "inductance_uncertainty_h", "capacitance"),
        *("capacitance_uncertainty_f", "resistance_ohm", "resistance_uncertainty_ohm"),
    ),
    "known": ("definition",),
}
_MODEL = ("kind", "uncertainty", *dict.fromkeys(k for keys in _BY_KIND.values() for k in keys))


@dataclass(frozen=True)
class Reading:
    """Where a raw reading is: exactly one of `file`, `typed` and `typed_reflection` is set.

    Parameters
    ----------
    file : str, optional
        Path relative to the record's folder.
    repeats : tuple of str
        Paths of several sweeps of one thing, whose scatter counts; then `file` is None.
    typed : sequence of rows, optional
        Rows of MHz, R ohm, X ohm.
    typed_reflection : sequence of rows, optional
        Rows of MHz, magnitude, degrees.
    steps : tuple of float
        Display steps of magnitude [1] and angle [degree] of `typed_reflection`.
    """

    file: str | None = None
    typed: Sequence[tuple[float, float, float]] | None = None
    typed_reflection: Sequence[tuple[float, float, float]] | None = None
    steps: tuple[float, float] = (0.0, 0.0)
    repeats: tuple[str, ...] = ()


@dataclass(frozen=True)
class Artefact:
    """A standard or a check artefact.

    Parameters
    ----------
    name : str
        Its name.
    place : str
        Where it stands in the record, for errors.
    reading : Reading
        Its raw reading.
    model : Standard, optional
        What it is; None for kind ``known``.
    definition : str, optional
        File with its reflection, for kind ``known``.
    uncertainty : mapping of str to float
        Standard uncertainties as the record states them; empty for the defaults.
    resistance_stated : bool
        Whether the record states ``resistance_ohm``.
    """

    name: str
    place: str
    reading: Reading
    model: Standard | None
    definition: str | None
    uncertainty: Mapping[str, float]
    resistance_stated: bool = True


@dataclass(frozen=True)
class Measurement:
    """A device to be corrected.

    Parameters
    ----------
    name : str
        Its name.
    place : str
        Where it stands in the record, for errors.
    reading : Reading
        Its raw reading.
    answer_hz : float, optional
        Frequency at which the answer in words is quoted [Hz].
    between : tuple of Between
        What lies between the calibration plane and the device, from the plane outward.
    """

    name: str
    place: str
    reading: Reading
    answer_hz: float | None
    between: tuple[Between, ...] = ()


@dataclass(frozen=True)
class Record:
    """A measurement record, checked as far as its text goes.

    Parameters
    ----------
    folder : Path
        Where it lies.
    content : bytes
        ``record.toml`` as it was read.
    title, date, by, notes : str
        Free text; the date as YYYY-MM-DD.
    reference_ohm : float
        Reference impedance of all results [ohm].
    seed : int
        For Monte Carlo.
    about : mapping of str to str
        Free text under any key.
    analyzer : mapping of str to float
        Noise and connection [1] and display step [ohm].
    assumed : tuple of str
        Keys of `analyzer` that the record does not state.
    standards, checks : tuple of Artefact
        In the record's order.
    measurements : tuple of Measurement
        In the record's order.
    line_check : LineCheck, optional
        A sweep of a line to be searched for faults.
    matches : tuple of MatchRequest
        Networks asked for.
    residual : mapping of str to float, optional
        Sizes of what an instrument's own correction leaves [1]; there are no standards then.
    """

    folder: Path
    content: bytes
    title: str
    date: str
    by: str
    notes: str
    reference_ohm: float
    seed: int
    about: Mapping[str, str]
    analyzer: Mapping[str, float]
    assumed: tuple[str, ...]
    standards: tuple[Artefact, ...]
    checks: tuple[Artefact, ...]
    measurements: tuple[Measurement, ...]
    line_check: LineCheck | None = None
    matches: tuple[MatchRequest, ...] = ()
    residual: Mapping[str, float] | None = None

    def items(self) -> tuple["Artefact | Measurement", ...]:
        """All that was read: standards, checks, measurements.

        Returns
        -------
        tuple
            In the record's order.
        """
        return (*self.standards, *self.checks, *self.measurements)


def load(folder: str | Path) -> Record:
    """Read and check a record's ``record.toml``.

    Parameters
    ----------
    folder : str or Path
        The record's folder.

    Returns
    -------
    Record
        The record; its raw readings are not opened yet.

    Raises
    ------
    RecordError
        One sentence naming the key.
    """
    folder = Path(folder)
    try:
        content = (folder / FILE).read_bytes()
    except FileNotFoundError:
        raise RecordError(
            str(folder), "", f"there is no {FILE} here; 'rfcal new FOLDER' writes one to start from"
        ) from None
    except OSError as error:
        raise RecordError(str(folder / FILE), "", f"cannot be read ({error.strerror})") from error
    return read(folder, content)


def read(folder: Path, content: bytes) -> Record:
    """Check the content of a ``record.toml`` that belongs to a folder."""
    try:
        table = tomllib.loads(content.decode("utf-8-sig"), parse_float=Decimal)
    except UnicodeDecodeError as error:
        raise RecordError(
            FILE, "", "this is not UTF-8 text: save it as UTF-8 in your editor"
        ) from error
    except (ValueError, RecursionError, ArithmeticError) as error:
        raise RecordError(
            FILE, "", f"not a TOML file: {error}; texts stand in quotes, numbers take a point"
        ) from error
    return _record(Keys(table, "", folder), folder, content)


def _record(top: Keys, folder: Path, content: bytes) -> Record:
    top.only(
        (
            *("format", "record", "about", "analyzer", "standard", "check", "measurement"),
            *("line_check", "match"),
        )
    )
    if top.table.get("format") != 1 or isinstance(top.table["format"], bool):
        raise top.fail(
            "format",
            "there must be a line 'format = 1' before the tables; it is the only format there is",
        )
    head, analyzer = top.inner("record"), top.inner("analyzer")
    head.only(("title", "date", "by", "notes", "reference_ohm", "seed"))
    analyzer.only((*defaults.ANALYZER, *RESIDUAL))
    seed = head.table.get("seed", 1)
    if isinstance(seed, bool) or not isinstance(seed, int) or seed < 0:
        raise head.fail("seed", "expected a whole number, zero or more")
    standards = _artefacts(top, "standard")
    measurements = _measurements(top)
    residual = _residual(analyzer, bool(standards))
    if len(standards) < 3 and residual is None:
        raise top.fail(
            "standard",
            f"three [[standard]] or more are needed, {len(standards)} are there (or none, for an "
            f"instrument that corrects itself, with {', '.join(RESIDUAL)} under [analyzer])",
        )
    if not measurements:
        raise top.fail("measurement", "there is no [[measurement]], so nothing to correct")
    z_ref = head.number("reference_ohm", 50.0, low=1e-3, high=1e6)
    stated = "line_check" in top.table
    line = read_line_check(top.inner("line_check"), z_ref) if stated else None
    record = Record(
        folder=folder,
        content=content,
        title=head.line("title"),
        date=head.day("date"),
        by=head.text("by", ""),
        notes=head.text("notes", ""),
        reference_ohm=z_ref,
        seed=seed,
        about={k: _free(top, k, v) for k, v in top.inner("about").table.items()},
        analyzer={k: analyzer.number(k, d, low=0) for k, d in defaults.ANALYZER.items()},
        assumed=tuple(
            key
            for key in (*defaults.ANALYZER, *(RESIDUAL if residual is not None else ()))
            if key not in analyzer.table
        ),
        standards=standards,
        checks=_artefacts(top, "check"),
        measurements=measurements,
        line_check=line,
        residual=residual,
        matches=read_match(top, z_ref, [m.name for m in measurements]),
    )
    _require_distinct_names(top, record)
    return record


def _residual(analyzer: Keys, standards: bool) -> dict[str, float] | None:
    """Residual errors of an instrument that corrects itself; None where standards stand in."""
    stated = [key for key in RESIDUAL if key in analyzer.table]
    if not stated:
        return None
    if standards:
        raise analyzer.fail(
            stated[0],
            "an instrument that corrects itself has no [[standard]]: leave out one of the two",
        )
    return {
        name: analyzer.number(key, defaults.RESIDUAL[name], low=0, high=1.0)
        for key, name in RESIDUAL.items()
    }


def _free(top: Keys, key: str, value: Any) -> str:
    if isinstance(value, dict | list):
        raise top.fail(f"[about] {key}", "expected a text in quotes")
    return as_text(value)


def _require_distinct_names(top: Keys, record: Record) -> None:
    seen: dict[str, str] = {}
    for item in record.items():
        if item.name in seen:
            used = item in record.checks and any(s.name == item.name for s in record.standards)
            raise top.fail(
                item.place,
                f"'{item.name}' took part in the solution as {seen[item.name]}, so it cannot "
                "contradict it: check with an artefact that is no standard"
                if used
                else f"the name '{item.name}' is used twice, see {seen[item.name]}",
            )
        seen[item.name] = item.place


def _items(top: Keys, section: str) -> list[Keys]:
    """The tables of a section, each with a place that says its number and name."""
    found = []
    for i, table in enumerate(top.tables(section), start=1):
        keys = Keys(table, f"[[{section}]] {i}", top.folder)
        name = keys.line("name")
        found.append(Keys(table, f"[[{section}]] {i} ('{name}')", top.folder))
    return found


def _reading(keys: Keys) -> Reading:
    key = first_of(keys, _READINGS, lambda c: f"give the raw reading by exactly one of {c}")
    if key == "reading":
        if isinstance(keys.table[key], list):
            return Reading(repeats=keys.paths(key))
        return Reading(file=keys.path(key))
    if key == "typed":
        return Reading(typed=keys.rows(key, "MHz, R ohm, X ohm"))
    rows = keys.rows(key, "MHz, magnitude, degrees")
    # displays show a magnitude to 0.01 or finer and an angle to a degree or finer
    steps = (keys.display_step(key, 1, -2), keys.display_step(key, 2, 0))
    return Reading(typed_reflection=rows, steps=steps)


def _artefacts(top: Keys, section: str) -> tuple[Artefact, ...]:
    return tuple(_artefact(keys, section) for keys in _items(top, section))


def _artefact(keys: Keys, section: str) -> Artefact:
    keys.only(("name", *_READINGS, *_MODEL))
    default = None
    if section == "check":
        default = "known" if "definition" in keys.table else "load"
        if "kind" not in keys.table and not {"definition", "resistance_ohm"} & set(keys.table):
            raise keys.fail("kind", "say what the artefact is: kind, resistance_ohm or definition")
    kind = keys.choice("kind", KINDS, default)
    for key in keys.table:
        if key in _MODEL and key not in (*_BY_KIND[kind], "kind", "uncertainty"):
            raise keys.fail(key, f"this key has no meaning for kind '{kind}'")
    uncertainty = {
        name: keys.number(key, low=0) * unit
        for key, (name, unit) in UNCERTAINTY_KEYS.items()
        if key in keys.table
    }
    return Artefact(
        name=keys.text("name"),
        place=keys.place,
        reading=_reading(keys),
        model=None if kind == "known" else _standard(keys, kind, uncertainty),
        definition=keys.path("definition") if kind == "known" else None,
        uncertainty=uncertainty,
        resistance_stated="resistance_ohm" in keys.table,
    )


def _standard(keys: Keys, kind: str, uncertainty: Mapping[str, float]) -> Standard:
    return Standard(
        kind=kind,
        resistance=keys.number("resistance_ohm", 50.0, low=0, above=True),
        inductance=keys.numbers("inductance"),
        capacitance=keys.numbers("capacitance"),
        offset_delay=keys.number("offset_delay_ps", 0.0, low=-1e6, high=1e6) * 1e-12,
        offset_loss=keys.number("offset_loss_gohm_per_s", 0.0, low=0, high=1e6) * 1e9,
        offset_z0=keys.number("offset_z0_ohm", 50.0, low=1e-3, high=1e6),
        uncertainty=uncertainty,
    )


def _measurements(top: Keys) -> tuple[Measurement, ...]:
    found = []
    for keys in _items(top, "measurement"):
        keys.only(("name", *_READINGS, "answer_mhz", "between"))
        stated = "answer_mhz" in keys.table
        answer = keys.number("answer_mhz", low=0, above=True) * 1e6 if stated else None
        reading, path = _reading(keys), read_between(keys)
        found.append(Measurement(keys.text("name"), keys.place, reading, answer, path))
    return tuple(found)
