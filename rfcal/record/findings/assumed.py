"""What a record leaves to defaults: each by its key and in the unit that a hand would write."""

from collections.abc import Iterator, Mapping, Sequence

from rfcal import defaults
from rfcal.findings import Finding, grouped, listed
from rfcal.models.standards import missing_uncertainty
from rfcal.record.findings.catalogue.readings import BY_OHMMETER, DEFAULTS
from rfcal.record.format import path, standard
from rfcal.record.format.kinds import Number
from rfcal.record.format.schema import RESIDUAL, Artefact, Record

PREFIXES = {"H": (1e-9, "nH"), "F": (1e-15, "fF")}
"""Units in which strays are told."""


Assumed = tuple[str, tuple[str, ...]]
"""A table or an item as the note names it, and its keys, each with what was taken."""


def about_defaults(record: Record) -> list[Finding]:
    """One note of all defaults, what several items have in common said once."""
    taken = grouped((values, about) for about, values in _taken_of(record) if values)
    said = [f"{listed([*dict.fromkeys(a)])}: {', '.join(values)}" for values, a in taken.items()]
    return [DEFAULTS(values="; ".join(said))] if said else []


def _taken_of(record: Record) -> Iterator[Assumed]:
    """What each table of a record leaves open."""
    yield _of_analyzer(record)
    yield from map(_of_artefact, (*record.standards, *record.checks))
    for item in (part for one in record.measurements for part in one.between):
        yield _of_line(item.name, item.doubt, item.assumed)
    if line := record.line_check:
        yield _of_line("line check", line.doubt, line.assumed)


def _of_analyzer(record: Record) -> Assumed:
    """What is not stated about the analyzer."""
    typed = any(item.reading.typed for item in record.items())
    usual = dict(defaults.ANALYZER) | {k: defaults.RESIDUAL[v] for k, v in RESIDUAL.items()}
    keys = [k for k in record.assumed if k != "resolution_ohm" or typed]
    return "[analyzer]", tuple(f"{key} {usual[key]:g}" for key in keys)


def _of_artefact(item: Artefact) -> Assumed:
    """What is not stated about a standard or check, by its build neither."""
    model, said = item.model, []
    if model is None:
        missing = {} if item.uncertainty else defaults.STANDARD["known"]
    else:
        missing = missing_uncertainty(model)
        if model.kind == "load" and not item.resistance_stated:
            said.append(f"resistance_ohm {model.resistance:g} ohm{BY_OHMMETER}")
        if missing and item.build_stated:
            missing = {}
        elif missing:
            said.append(f'build "{model.build}"')
    said += [_taken(standard.UNCERTAINTIES[what], deviation) for what, deviation in missing.items()]
    return f"'{item.name}'", tuple(said)


def _of_line(name: str, doubt: Mapping[str, float], assumed: Sequence[str]) -> Assumed:
    """Which uncertainties of an element of a path, or of the line check, are not stated."""
    return name, tuple(_taken(path.UNCERTAINTIES[what], doubt[what]) for what in assumed)


def _taken(key: Number, deviation: float) -> str:
    """A key with what was taken for it, such as ``inductance_uncertainty_h 0.1 nH``."""
    factor, unit = PREFIXES.get(key.unit[1], key.unit)
    return f"{key.name} {deviation / factor:.3g} {unit}".rstrip()
