"""``[[standard]]`` and ``[[check]]``: what was connected, and how surely that is known."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from rfcal import defaults
from rfcal.maths.checks import LEAST_OHM, MOST_OHM
from rfcal.models.standards import KINDS, MOST_DELAY_S, UNCERTAIN, Standard
from rfcal.record.format.keys import Key, Section
from rfcal.record.format.numbers import Coefficients, Number
from rfcal.record.format.reading import NAME, READING, Reading, read_reading
from rfcal.record.format.table import Table
from rfcal.record.format.texts import Choice, File


def _with(part: str, of: Mapping[str, tuple[str, ...]] = KINDS) -> tuple[str, ...]:
    """Kinds of standard that have this figure, or this uncertainty."""
    return tuple(kind for kind, own in of.items() if part in own)


def _usual(what: str) -> str:
    """The default uncertainties of one figure, in words: a value and the kinds that it is for."""
    kinds: dict[float, list[str]] = {}
    for kind, usual in defaults.STANDARD.items():
        if what in usual:
            kinds.setdefault(usual[what], []).append(kind)
    said = ", ".join(f"{value:g} ({', '.join(own)})" for value, own in kinds.items())
    return said if what == "reflection" else f"by `build`; of a connector {said}"


def _figure(key: type[Key], name: str, part: str, says: str, **more: Any) -> Any:
    """A key for one figure of `Standard`, of the kinds that have it."""
    return key(name, says, kinds=_with(part), gives=part, **more)


def _uncertain(name: str, part: str, of: str, **more: Any) -> Number:
    """A key for one of `Standard.uncertainty`, of the kinds that have it."""
    says = f"uncertainty of {of}"
    return Number(name, says, low=0.0, kinds=_with(part, UNCERTAIN), gives=part, **more)


KIND = Choice("kind", "what it is", among=KINDS, needed=True)
_SERIES = "in series: H, H/Hz, H/Hz², H/Hz³; a short piece of wire has about 0.3 nH"
_SHUNT = "across it: F, F/Hz, F/Hz², F/Hz³; the fringing field of an open end is about 50 fF"
BUILD = Choice(
    "build",
    "how it is made, from which the uncertainties follow that are not stated: `machined` as of a "
    "kit, in a plug by hand, or on wire leads; without effect where `uncertainty` stands",
    among=defaults.BUILT,
    default=defaults.BUILD,
    kinds=_with("offset_delay"),
    gives="build",
)
MODEL = (
    _figure(
        Number,
        "resistance_ohm",
        "resistance",
        "by ohmmeter",
        unit="ohm",
        default=defaults.LOAD_OHM,
        low=0.0,
        above=True,
    ),
    _figure(Coefficients, "inductance", "inductance", _SERIES),
    _figure(Coefficients, "capacitance", "capacitance", _SHUNT),
    _figure(
        Number,
        "offset_delay_ps",
        "offset_delay",
        "one-way delay of the line in front of it",
        unit="ps",
        default=0.0,
        low=-MOST_DELAY_S,
        high=MOST_DELAY_S,
    ),
    _figure(
        Number,
        "offset_loss_gohm_per_s",
        "offset_loss",
        "that line's loss at 1 GHz",
        unit="Gohm/s",
        default=0.0,
        low=0.0,
        high=1e15,
    ),
    _figure(
        Number,
        "offset_z0_ohm",
        "offset_z0",
        "that line's impedance",
        unit="ohm",
        default=defaults.LOAD_OHM,
        low=LEAST_OHM,
        high=MOST_OHM,
    ),
)
"""Figures of a standard, each by the name that `Standard` gives it."""

UNCERTAINTIES = (
    _uncertain(
        "uncertainty",
        "reflection",
        "its reflection, real and imaginary part, alike at all frequencies; where it stands, only "
        "the uncertainties that are stated count",
        instead=_usual("reflection"),
    ),
    _uncertain(
        "resistance_uncertainty_ohm",
        "resistance",
        "its resistance",
        unit="ohm",
        instead=f"by `build`; of a connector {100 * defaults.LOAD_RELATIVE[defaults.BUILD]:.2g} %",
    ),
    _uncertain(
        "inductance_uncertainty_h",
        "inductance",
        "the first of these",
        unit="H",
        instead=_usual("inductance"),
    ),
    _uncertain(
        "capacitance_uncertainty_f",
        "capacitance",
        "the first of these",
        unit="F",
        instead=_usual("capacitance"),
    ),
    _uncertain(
        "offset_delay_uncertainty_ps",
        "delay",
        "its offset delay",
        unit="ps",
        instead=f"by `build`; of a connector {defaults.OFFSET_DELAY_S[defaults.BUILD] * 1e12:g}",
    ),
)
"""Standard uncertainties, each by its name in `Standard.uncertainty`."""

STANDARD = Section(
    "[[standard]]",
    "Three or more, read at one set of frequencies exactly where the device is read later, the "
    "instrument's own correction off.",
    (
        NAME,
        KIND,
        BUILD,
        *MODEL,
        File("definition", "file with its reflection", needed=True, kinds=_with("definition")),
        *UNCERTAINTIES,
        *READING,
    ),
    kind=lambda table: _words(KIND.read(table)),
    readings=READING,
)


def _words(kind: str) -> tuple[str, str]:
    return kind, f"kind '{kind}'"


def _kind_of_check(table: Table) -> tuple[str, str]:
    """The kind of a check, which its other keys may say."""
    if "kind" in table:
        return _words(KIND.read(table))
    if not ("definition" in table or "resistance_ohm" in table):
        raise table.fail("kind", "say what the artefact is: kind, resistance_ohm or definition")
    return _words("known" if "definition" in table else "load")


_KIND_OF_CHECK = replace(
    KIND, needed=False, instead="`known` with `definition`, else `load` with `resistance_ohm`"
)
CHECK = Section(
    "[[check]]",
    "Something that is no standard, so that it can contradict the others: of another make than the "
    "load, measured by itself, and not 25, 50 or 100 ohm, which hide exchanged sweeps.",
    tuple(_KIND_OF_CHECK if key is KIND else key for key in STANDARD.keys),
    kind=_kind_of_check,
    readings=READING,
)


@dataclass(frozen=True)
class Artefact:
    """A standard or a check artefact."""

    name: str
    place: str  # where it stands in the record, for errors
    reading: Reading
    model: Standard | None  # what it is; None for kind ``known``
    definition: str | None  # file with its reflection, for kind ``known``
    uncertainty: Mapping[str, float]  # as the record states it; empty for the defaults
    resistance_stated: bool = True
    build_stated: bool = True


def read_artefact(table: Table, section: Section) -> Artefact:
    """One standard or check."""
    found, kind = section.read(table), section.kind_of(table)[0]
    stated = {key.gives: found[key.name] for key in UNCERTAINTIES if key.name in table}
    figures = {key.gives: found[key.name] for key in (BUILD, *MODEL) if key.name in found}
    return Artefact(
        name=found["name"],
        place=table.place,
        reading=read_reading(table, found),
        model=None if kind == "known" else Standard(kind, uncertainty=stated, **figures),
        definition=found.get("definition"),
        uncertainty=stated,
        resistance_stated="resistance_ohm" in table,
        build_stated=BUILD.name in table,
    )
