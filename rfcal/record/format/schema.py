"""``record.toml`` as validated dataclasses; every refusal names the key at fault."""

import re
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path, PurePosixPath
from typing import Any

from rfcal import defaults
from rfcal.errors import ArgumentError, RecordError
from rfcal.readings.content import whole_file
from rfcal.record.format.component import COMPONENT, ComponentRequest, read_components
from rfcal.record.format.keys import FILE, Section, Stated, Table, as_text, cite
from rfcal.record.format.kinds import OHM, Choice, Day, File, Number, One, OneLine, Text, Whole
from rfcal.record.format.line import LINE_CHECK, LineCheck, read_line_check
from rfcal.record.format.match import MATCH, MatchRequest, read_match
from rfcal.record.format.path import BETWEEN, Between, read_between
from rfcal.record.format.reading import HOW, NAME, READING, Item, read_reading
from rfcal.record.format.standard import (
    CHECK,
    REREAD,
    STANDARD,
    Artefact,
    Reread,
    read_artefact,
    read_rereads,
)

MOST_RECORD_BYTES = 16_000_000
"""Of a ``record.toml``: 200,001 typed rows, or ten thousand tables."""
_ENDLESS = re.compile(rb"""(?:\.[ \t]*["'\w-][^.={},\[\]\n]*+){100}""")
"""A dotted key that would take minutes; as a text, a hundred sentences without a comma."""
_TOML = (
    'each line is a [table] or says key = value; texts and ">999" stand in quotes, numbers take a '
    "point and a comma between them, each [ is closed by a ], a date is written 2026-05-16, and no "
    "key stands twice in a table: rows go into one, such as typed = [[7.05,48.2], [7.1,47.5]]"
)
"""What to look at in a line that is no TOML."""
RESIDUAL = {f"residual_{name}": name for name in defaults.RESIDUAL}
"""Keys of an instrument that corrects itself, and their names in the model."""

_REFERENCE = "reference impedance of all results, and of a reflection that says none of its own"
RECORD = Section(
    "[record]",
    "",
    (
        OneLine("title", "what the page is headed with", needed=True),
        Day("date", "day of the readings, such as 2026-05-16", default=""),
        Text("by", "who measured", default=""),
        Text("notes", "what else is worth knowing", default=""),
        Number("reference_ohm", _REFERENCE, *OHM, default=defaults.REFERENCE_OHM, shown=True),
        Whole("seed", "for random draws", default=defaults.SEED),
        Choice(
            "purpose",
            "what page and terminal begin with: the devices, or the state of a line",
            among=("device", "line"),
            instead="`line` where there is no `[[measurement]]`, else `device`",
        ),
    ),
)
_ANY = "shown on the page: instrument, kit, place, weather, choke used"
ABOUT = Section("[about]", "", (Text("any", _ANY),))
_WORTH = {
    "noise": "scatter of one reading: real and imaginary part of reflection",
    "connection": "how well a connection repeats, likewise",
    "resolution_ohm": "step of the display, for `typed` readings",
    "drift": "change of each error term between calibration and measurement",
}
_LEAVES = "that an instrument leaves which corrects itself; no `[[standard]]` is read then"
ANALYZER = Section(
    "[analyzer]",
    "What one raw reading is worth.",
    (
        # all but a step, which typed digits show too, are parts of a reflection
        *(
            Number(key, says, *most, default=defaults.ANALYZER[key], shown=bool(most[1:]))
            for key, says in _WORTH.items()
            for most in [(0.0,) if "ohm" in key else (0.0, 1.0)]
        ),
        *(
            Number(key, f"{n.replace('_', ' ')} {_LEAVES}", 0.0, 1.0, default=defaults.RESIDUAL[n])
            for key, n in RESIDUAL.items()
        ),
    ),
)
_ANSWER, _MIDDLE = "where the answer in words is quoted", "middle of the sweep"
MEASUREMENT = Section(
    "[[measurement]]",
    "What to correct, read after the standards without moving anything else.",
    (
        *(NAME, *READING, *HOW),
        Number("answer_mhz", _ANSWER, 0.0, above=True, instead=_MIDDLE),
        OneLine(
            "same_as",
            "name of another measurement of the same device, which one of both reads behind "
            "something known, such as a short cable: together they tell the sign of X",
        ),
    ),
    readings=READING,
    below=(BETWEEN.name,),
)
_ITEMS = (STANDARD, CHECK, MEASUREMENT, BETWEEN, REREAD)
SECTIONS = (RECORD, ABOUT, ANALYZER, *_ITEMS, LINE_CHECK, MATCH, COMPONENT)
"""All tables of the record."""
_TABLES = tuple(section.name for section in SECTIONS if section is not BETWEEN)
TOP = Section("", "", (One("format", "the only format there is", needed=True),), below=_TABLES)


@dataclass(frozen=True)
class Measurement(Item):
    """A device to be corrected."""

    answer_hz: float | None  # where the answer in words is quoted
    between: tuple[Between, ...] = ()  # what is in front of the device, from the plane outward
    same_as: str | None = None  # another measurement of the same device


@dataclass(frozen=True)
class Record(Stated):
    """A measurement record, checked as far as its text goes."""

    folder: Path
    content: bytes  # ``record.toml`` as it was read
    title: str
    date: str  # as YYYY-MM-DD
    by: str
    notes: str
    reference_ohm: float  # of all results
    seed: int
    purpose: str | None  # "device" or "line", which comes first; None for what there is
    about: Mapping[str, str]  # free text under any key
    analyzer: Mapping[str, float]  # noise, connection and drift [1], display step [ohm]
    assumed: tuple[str, ...]  # keys of ``[analyzer]`` that the record does not state
    standards: tuple[Artefact, ...]
    checks: tuple[Artefact, ...]
    measurements: tuple[Measurement, ...]
    line_check: LineCheck | None = None
    matches: tuple[MatchRequest, ...] = ()
    rereads: tuple[Reread, ...] = ()
    components: tuple[ComponentRequest, ...] = ()
    between_ports: tuple[Measurement, ...] = ()  # parts that were read with two ports
    residual: Mapping[str, float] | None = None  # left by an instrument's own correction [1]

    @property
    def line_first(self) -> bool:
        """Whether the state of a line is what the record is for."""
        return self.purpose == "line" or not (self.measurements or self.between_ports)

    @property
    def behind_line(self) -> tuple[Measurement, ...]:
        """Devices before which the line check's line is removed, by the same far end's sweeps."""
        ends = self.line_check.far_ends if self.line_check else ()
        swept = {file for _, read in ends for file in read.files}
        return tuple(
            item
            for item in self.measurements
            if any(not swept.isdisjoint(end.files) for step in item.between for end in step.ends)
        )

    @property
    def display_step_ohm(self) -> float:
        """The step of the display that R and X were typed off [ohm].

        As stated, or as the digits of all that was typed show it where that is coarser.
        """
        shown = [item.reading.steps[0] for item in self.items() if item.reading.typed is not None]
        return max(self.analyzer["resolution_ohm"], min(shown, default=0.0))

    def items(self) -> tuple[Item, ...]:
        """All that was read: standards, checks, measurements, and what was read again."""
        return (*self.standards, *self.checks, *self.measurements, *self.rereads)


def load(folder: Record | str | Path, *, ahead: bool = False) -> Record:
    """Read and check a record's ``record.toml``; its raw readings are not opened yet.

    Of a plan, read `ahead` of the measurement, they need not be there either. A record stays as it
    is.
    """
    if isinstance(folder, Record):
        return folder
    if not isinstance(folder, str | Path) or folder == "":
        raise ArgumentError(f"a record is named by its folder, found {folder!r:.60}")
    folder = Path(folder)
    try:
        if not (folder / FILE).resolve().is_relative_to(folder.resolve()):
            why = "this is a link that leads outside the folder"
            raise RecordError(str(folder / FILE), "", why)
        content = whole_file(folder / FILE, MOST_RECORD_BYTES)
    except (FileNotFoundError, NotADirectoryError):
        why = f"there is no {FILE} here; 'rfcal new FOLDER' writes one to start from"
        if folder.is_file():
            why = f"this is a file, and a record is named by the folder its {FILE} is in"
        raise RecordError(str(folder), "", why) from None
    except (OSError, ValueError, RuntimeError) as error:  # a name with a NUL in it is a ValueError
        why = getattr(error, "strerror", None) or str(error)
        raise RecordError(str(folder / FILE), "", f"cannot be read ({why})") from error
    return parse(folder, content, ahead=ahead)


def parse(folder: Path, content: bytes, *, ahead: bool = False) -> Record:
    """Check the content of a ``record.toml`` that belongs to a folder."""
    return _record(Table(_values(content), "", folder, ahead, SECTIONS), content)


def named_files(content: bytes) -> set[str]:
    """The files that a ``record.toml`` names, as far as its text goes."""
    keys = {key.name for section in SECTIONS for key in section.keys if isinstance(key, File)}

    found: set[str] = set()
    left: list[tuple[str, Any]] = [("", _values(content))]
    while left:
        key, value = left.pop()
        if isinstance(value, dict):
            left += value.items()
        elif isinstance(value, list):
            left += [(key, one) for one in value]
        elif isinstance(value, str) and key in keys:
            found.add(str(PurePosixPath(value)))
    return found


def _values(content: bytes) -> dict[str, Any]:
    """What the text of a ``record.toml`` says."""
    if _ENDLESS.search(content):
        raise RecordError(FILE, "", "a key of more than a hundred parts: no key here has two")
    try:
        return tomllib.loads(content.decode("utf-8-sig"), parse_float=Decimal)
    except UnicodeDecodeError as error:
        why = "this is not UTF-8 text: save it as UTF-8 in your editor"
        raise RecordError(FILE, "", why) from error
    except (ValueError, RecursionError, ArithmeticError) as error:
        at = re.search(r"at (line (\d+))", str(error))
        line = b"".join(content.splitlines()[int(at[2]) - 1 : int(at[2])] if at else [])
        found = cite(line.decode().split(" #")[0].strip()) if line else "this"
        why = f"{found} is no TOML, here or above it ({error}): {_TOML}"
        raise RecordError(FILE, at[1] if at else "", why) from error


def _about(table: Table) -> dict[str, str]:
    for key, value in table.values.items():
        if isinstance(value, dict | list):
            raise table.fail(key, "expected a text in quotes")
    return {key: as_text(value) for key, value in table.values.items()}


def _record(top: Table, content: bytes) -> Record:
    TOP.read(top)
    worth = top.inner(ANALYZER.name)
    head, analyzer = RECORD.read(top.inner(RECORD.name)), ANALYZER.read(worth)
    standards = tuple(read_artefact(t, STANDARD) for t in _items(top, STANDARD))
    tables = _items(top, MEASUREMENT)
    names = [table.values["name"] for table in tables]
    every = [_measurement(table, names) for table in tables]
    components = read_components(top.tables(COMPONENT), names)
    measurements, between_ports = _by_ports(every, components)
    names = [item.name for item in measurements]
    residual = _residual(top, worth, analyzer, len(standards))
    _require_purpose(top, bool(every), head["purpose"])
    checks = tuple(read_artefact(t, CHECK, names) for t in _items(top, CHECK))
    z_ref, own = head["reference_ohm"], [key for key in analyzer if key not in RESIDUAL]
    taken = [key for key in ANALYZER.keys if key.name in own or residual is not None]
    line = read_line_check(top.inner(LINE_CHECK.name), z_ref) if LINE_CHECK.name in top else None
    record = Record.made(
        top,
        head,
        folder=top.folder,
        content=content,
        about=_about(top.inner(ABOUT.name)),
        analyzer={key: analyzer[key] for key in own},
        assumed=tuple(key.name for key in taken if key.usual and key.name not in worth),
        standards=standards,
        checks=checks,
        measurements=measurements,
        line_check=line,
        residual=residual,
        matches=tuple(read_match(t, z_ref, names) for t in top.tables(MATCH)),
        rereads=read_rereads(_items(top, REREAD), [a.name for a in (*standards, *checks)]),
        components=components,
        between_ports=between_ports,
    )
    _require_distinct_names(record)
    return record


def _require_purpose(top: Table, measured: bool, purpose: str) -> None:
    """Refuse a record of nothing, or of a line that is not there."""
    if LINE_CHECK.name in top:
        return
    if not (measured or top.ahead):
        why = "there is no [[measurement]] and no [line_check], so nothing to correct"
        raise top.fail("measurement", why)
    if purpose == "line":
        raise top.fail("[record] purpose", "there is no [line_check] to tell a line's state by")


def _residual(
    top: Table, worth: Table, analyzer: Mapping[str, float], standards: int
) -> dict[str, float] | None:
    """Residual errors of an instrument that corrects itself; None where standards stand in."""
    stated = [key for key in RESIDUAL if key in worth]
    if stated and standards:
        why = "an instrument that corrects itself has no [[standard]]: leave out one of the two"
        raise worth.fail(stated[0], why)
    if stated:
        return {name: analyzer[key] for key, name in RESIDUAL.items()}
    if standards < 3:
        none = f"an instrument that corrects itself, with {', '.join(RESIDUAL)} under [analyzer]"
        why = f"three [[standard]] or more are needed, {standards} are there (or none, for {none})"
        raise top.fail("standard", why)
    return None


def _require_distinct_names(record: Record) -> None:
    seen: dict[str, str] = {}
    for item in record.items():
        if item.name in seen:
            why = f"the name '{item.name}' is used twice, see {seen[item.name]}"
            if item in record.checks and any(s.name == item.name for s in record.standards):
                why = f"'{item.name}' took part in the solution as {seen[item.name]}, so it cannot "
                why += "contradict it: check with an artefact that is no standard"
            raise item.refused(why)
        seen[item.name] = item.place


def _items(top: Table, section: Section) -> list[Table]:
    """The tables of a section, each with a place that says its number and name."""
    tables = top.tables(section)
    name = section.keys[0]
    return [t.inside(t.values, f"{t.place} ('{name.read(t)}')") for t in tables]


def _by_ports(
    every: Sequence[Measurement], components: Sequence[ComponentRequest]
) -> tuple[tuple[Measurement, ...], tuple[Measurement, ...]]:
    """Measurements at one port, and those whose reading is a sweep of two."""
    names = {one.measurement for one in components if one.between_ports}
    between_ports = tuple(item for item in every if item.name in names)
    for item in between_ports:
        if item.between or len(item.reading.files) != 1:
            why = "what is read between two ports has one two-port sweep as its `reading`"
            own = "nothing of [[measurement.between]]: a fixture stands in its [[component]]"
            raise item.refused(f"{why}, and {own}")
    return tuple(item for item in every if item.name not in names), between_ports


def _measurement(table: Table, names: Sequence[str]) -> Measurement:
    found = MEASUREMENT.read(table)
    name, same_as = found["name"], found["same_as"]
    if same_as is not None:
        table.one_among("same_as", same_as, [other for other in names if other != name])
    reading, between = read_reading(table, found), read_between(table.tables(BETWEEN), name)
    answer_hz = found["answer_mhz"]
    return Measurement.made(table, found, reading=reading, between=between, answer_hz=answer_hz)
