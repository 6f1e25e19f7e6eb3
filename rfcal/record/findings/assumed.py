"""What a record leaves to defaults: each by its key and in the unit that a hand would write."""

from collections.abc import Iterable, Mapping, Sequence

from rfcal import defaults
from rfcal.findings import Finding, listed
from rfcal.record.findings.catalogue.readings import BY_OHMMETER, DEFAULTS
from rfcal.record.format import path, standard
from rfcal.record.format.kinds import Number
from rfcal.record.format.schema import RESIDUAL, Artefact, Record

PREFIXES = {"H": (1e-9, "nH"), "F": (1e-15, "fF")}
"""Units in which strays are told."""


Assumed = tuple[str, tuple[str, ...]]
"""A table or an item as the note names it, and its keys, each with what was taken."""


def about_defaults(taken: Iterable[Assumed]) -> list[Finding]:
    """One note of all defaults, what several items have in common said once."""
    by_values: dict[tuple[str, ...], list[str]] = {}
    for about, values in taken:
        by_values.setdefault(values, []).append(about)
    said = [
        f"{listed([*dict.fromkeys(about)])}: {', '.join(values)}"
        for values, about in by_values.items()
        if values
    ]
    return [DEFAULTS(values="; ".join(said))] if said else []


def assumed_of_analyzer(record: Record) -> Assumed:
    """What is not stated about the analyzer."""
    typed = any(item.reading.typed for item in record.items())
    usual = dict(defaults.ANALYZER) | {k: defaults.RESIDUAL[v] for k, v in RESIDUAL.items()}
    keys = [k for k in record.assumed if k != "resolution_ohm" or typed]
    return "[analyzer]", tuple(f"{key} {usual[key]:g}" for key in keys)


def assumed_of_artefact(item: Artefact, missing: Mapping[str, float]) -> Assumed:
    """What is not stated about a standard or check; `missing` are the uncertainties taken.

    Where the build is stated, they are what was stated by it.
    """
    said = []
    if item.model is not None and item.model.kind == "load" and not item.resistance_stated:
        said.append(f"resistance_ohm {item.model.resistance:g} ohm{BY_OHMMETER}")
    if item.model is not None and missing:
        if item.build_stated:
            return f"'{item.name}'", tuple(said)
        said.append(f'build "{item.model.build}"')
    said += [_taken(standard.UNCERTAINTIES[what], deviation) for what, deviation in missing.items()]
    return f"'{item.name}'", tuple(said)


def assumed_of_element(name: str, doubt: Mapping[str, float], assumed: Sequence[str]) -> Assumed:
    """Which uncertainties of an element of a path, or of the line check, are not stated."""
    return name, tuple(_taken(path.UNCERTAINTIES[what], doubt[what]) for what in assumed)


def _taken(key: Number, deviation: float) -> str:
    """A key with what was taken for it, such as ``inductance_uncertainty_h 0.1 nH``."""
    factor, unit = PREFIXES.get(key.unit[1], key.unit)
    return f"{key.name} {deviation / factor:.3g} {unit}".rstrip()
