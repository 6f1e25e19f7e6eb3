"""``[[standard]]``, ``[[check]]``, ``[[reread]]``: what was connected, how surely that is known."""

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import cast

from rfcal import defaults
from rfcal.findings import grouped
from rfcal.models.standards import KINDS, MOST_DELAY_S, STANDARD_UNCERTAIN, Standard, StandardKind
from rfcal.record.format.keys import Key, Section, Table
from rfcal.record.format.kinds import OHM, Choice, Coefficients, File, Number, OneLine
from rfcal.record.format.reading import HOW, NAME, READING, Item, read_reading


def _with(part: str, of: Mapping[str, Collection[str]] = KINDS) -> tuple[str, ...]:
    """Kinds of standard that have this figure, or this uncertainty."""
    return tuple(kind for kind, own in of.items() if part in own)


def _usual(what: str) -> str:
    """The default uncertainties of one figure, in words: a value and the kinds that it is for."""
    all_of_them = defaults.STANDARD.items()
    kinds = grouped((usual[what], kind) for kind, usual in all_of_them if what in usual)
    return ", ".join(f"{value:g} ({', '.join(own)})" for value, own in kinds.items())


def _uncertain(part: str, name: str, of: str, usual: str = "") -> Number:
    """A key for one of `Standard.uncertainty`, of the kinds that have it."""
    kinds, usual = _with(part, STANDARD_UNCERTAIN), usual or _usual(part)
    if part != "reflection":
        usual = f"by `build`; of a {defaults.BUILD} {usual}"
    most = STANDARD_UNCERTAIN[kinds[0]][part]
    return Number(name, f"uncertainty of {of}", 0.0, most, kinds=kinds, instead=usual)


KIND = Choice("kind", "what it is", among=KINDS, needed=True)
BUILD = Choice(
    "build",
    "how it is made, from which the uncertainties follow that are not stated: `machined` as of a "
    "kit, in a plug by hand, or on wire leads; without effect where `uncertainty` stands",
    among=defaults.BUILT,
    default=defaults.BUILD,
)
_SERIES = "in series: H, H/Hz, H/Hz², H/Hz³; a short piece of wire has about 0.3 nH"
_SHUNT = "across it: F, F/Hz, F/Hz², F/Hz³; the fringing field of an open end is about 50 fF"
_DELAY, _LOSS = "one-way delay of the line in front of it", "that line's loss at 1 GHz"
_METER = "by ohmmeter"
_KEYS: dict[str, Key] = {
    "resistance": Number("resistance_ohm", _METER, 0.0, above=True, default=defaults.LOAD_OHM),
    "inductance": Coefficients("inductance", _SERIES, default=(0.0,), unit="H", usually="0.3e-9"),
    "capacitance": Coefficients("capacitance", _SHUNT, default=(0.0,), unit="F", usually="50e-15"),
    "offset_delay": Number("offset_delay_ps", _DELAY, -MOST_DELAY_S, MOST_DELAY_S, default=0.0),
    "offset_loss": Number("offset_loss_gohm_per_s", _LOSS, 0.0, 1e15, default=0.0),
    "offset_z0": Number("offset_z0_ohm", "that line's impedance", *OHM, default=defaults.LOAD_OHM),
}
MODEL = {
    "build": replace(BUILD, kinds=_with("offset_delay")),
    **{part: replace(key, kinds=_with(part)) for part, key in _KEYS.items()},
}
"""Keys of a standard's figures, each by the name that `Standard` gives it."""

_ALL = (
    "its reflection, real and imaginary part, alike at all frequencies; where it stands, only "
    "the uncertainties that are stated count"
)
_LOAD = f"{100 * defaults.LOAD_RELATIVE[defaults.BUILD]:.2g} %"
_DELAY_PS = f"{defaults.OFFSET_DELAY_S[defaults.BUILD] * 1e12:g}"
UNCERTAINTIES = {
    "reflection": _uncertain("reflection", "uncertainty", _ALL),
    "resistance": _uncertain("resistance", "resistance_uncertainty_ohm", "its resistance", _LOAD),
    "inductance": _uncertain("inductance", "inductance_uncertainty_h", "the first of these"),
    "capacitance": _uncertain("capacitance", "capacitance_uncertainty_f", "the first of these"),
    "delay": _uncertain("delay", "offset_delay_uncertainty_ps", "its offset delay", _DELAY_PS),
}
"""Standard uncertainties, each by its name in `Standard.uncertainty`."""

STANDARD = Section(
    "[[standard]]",
    "Three or more, read at one set of frequencies exactly where the device is read later, the "
    "instrument's own correction off.",
    (
        *(NAME, KIND, *MODEL.values()),
        File("definition", "file with its reflection", needed=True, kinds=_with("definition")),
        *(*UNCERTAINTIES.values(), *READING, *HOW),
    ),
    kind=KIND.read,
    kinds={kind: f"kind '{kind}'" for kind in KINDS},
    readings=READING,
)


def _kind_of_check(table: Table) -> str:
    """The kind of a check, which its other keys may say."""
    if "kind" in table:
        return KIND.read(table)
    if not ("definition" in table or "resistance_ohm" in table):
        raise table.fail("kind", "say what the artefact is: kind, resistance_ohm or definition")
    return "known" if "definition" in table else "load"


_OF_CHECK = "`known` with `definition`, else `load` with `resistance_ohm`"
_KIND_OF_CHECK = replace(KIND, needed=False, instead=_OF_CHECK)
AT = OneLine(
    "at",
    "name of the measurement in whose device's place it was connected: it is corrected through the "
    "same path, and so shows a wrong one",
)
CHECK = replace(
    STANDARD,
    header="[[check]]",
    says="Something that is no standard, so that it can contradict the others: of another make "
    f"than the load, measured by itself, {defaults.CHECK_WORDS} ohm, which hide exchanged sweeps.",
    keys=(*(_KIND_OF_CHECK if key is KIND else key for key in STANDARD.keys), AT),
    kind=_kind_of_check,
)


@dataclass(frozen=True)
class Artefact(Item):
    """A standard or a check artefact."""

    model: Standard | None  # what it is; None for kind ``known``
    uncertainty: Mapping[str, float]  # as the record states it; empty for the defaults
    definition: str | None = None  # file with its reflection, for kind ``known``
    resistance_stated: bool = True
    build_stated: bool = True
    at: str | None = None  # of a check: the measurement through whose path it was read


def read_artefact(table: Table, section: Section, measured: Iterable[str] = ()) -> Artefact:
    """One standard or check; `measured` are the names of measurements."""
    found, kind = section.read(table), section.kind(table)
    if found.get(AT.name) is not None:
        table.one_among(AT.name, found[AT.name], measured)
    stated = {part: found[key.name] for part, key in UNCERTAINTIES.items() if key.name in table}
    figures = {part: found[key.name] for part, key in MODEL.items() if key.name in found}
    made = cast(StandardKind, kind)
    return Artefact.made(
        table,
        found,
        reading=read_reading(table, found),
        model=None if kind == "known" else Standard(made, uncertainty=stated, **figures),
        uncertainty=stated,
        resistance_stated="resistance_ohm" in table,
        build_stated=BUILD.name in table,
    )


OF = OneLine("of", "name of the standard or check that is read again", needed=True)
REREAD = Section(
    "[[reread]]",
    "A standard or check connected and read once more after the devices: what moved in between "
    "shows, and counts.",
    (OF, *READING, *HOW),
    readings=READING,
)


@dataclass(frozen=True)
class Reread(Item):
    """A second reading of an artefact, whose name is a label such as ``"short, read again"``."""

    of: str  # name of the artefact


def read_rereads(tables: Sequence[Table], artefacts: Sequence[str]) -> tuple[Reread, ...]:
    """All rereads; `artefacts` are the names of standards and checks."""
    found: list[Reread] = []
    for table in tables:
        values = REREAD.read(table)
        of = table.one_among("of", values["of"], artefacts)
        before = sum(item.of == of for item in found)
        name = f"{of}, read again" + (f" ({before + 1})" if before else "")
        reading = read_reading(table, values)
        found.append(Reread.made(table, values, name=name, reading=reading))
    return tuple(found)
