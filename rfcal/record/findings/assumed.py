"""What a record leaves to defaults."""

from collections.abc import Mapping, Sequence

from rfcal import defaults
from rfcal.findings import Finding
from rfcal.record.findings.catalogue import (
    ANALYZER_DEFAULT,
    LOAD_DEFAULT,
    PATH_DEFAULT,
    UNCERTAINTY_DEFAULT,
)
from rfcal.record.format.schema import RESIDUAL, Artefact, Record


def assumed_of_analyzer(record: Record) -> list[Finding]:
    """What is not stated about the analyzer."""
    typed = any(item.reading.typed for item in record.items())
    keys = [k for k in record.assumed if k != "resolution_ohm" or typed]
    if not keys:
        return []
    usual = dict(defaults.ANALYZER) | {k: defaults.RESIDUAL[v] for k, v in RESIDUAL.items()}
    return [ANALYZER_DEFAULT(values=", ".join(f"{key} = {usual[key]:g}" for key in keys))]


def assumed_of_artefact(item: Artefact, kind: str, missing: Mapping[str, float]) -> list[Finding]:
    """What is not stated about a standard or check; `missing` are the uncertainties taken."""
    found = []
    if item.model is not None and item.model.kind == "load" and not item.resistance_stated:
        found.append(LOAD_DEFAULT(name=item.name, ohm=item.model.resistance))
    if missing:
        values = ", ".join(f"{k} {v:.2g}" for k, v in missing.items())
        found.append(UNCERTAINTY_DEFAULT(name=item.name, kind=kind, values=values))
    return found


def assumed_of_element(
    name: str, doubt: Mapping[str, float], assumed: Sequence[str]
) -> list[Finding]:
    """Which uncertainties of an element of a path, or of the line check, are not stated."""
    if not assumed:
        return []
    return [PATH_DEFAULT(name=name, values=", ".join(f"{key} {doubt[key]:g}" for key in assumed))]
