"""What a record does not say: what was taken for it, and what it could not have noticed."""

from collections.abc import Iterator, Mapping, Sequence

from rfcal import defaults
from rfcal.findings import Finding, grouped, listed, quoted
from rfcal.models.standards import missing_uncertainty
from rfcal.record.findings.catalogue import devices as say
from rfcal.record.findings.catalogue.readings import BY_OHMMETER, DEFAULTS
from rfcal.record.findings.weather import if_warmer
from rfcal.record.format import path, standard
from rfcal.record.format.kinds import Number
from rfcal.record.format.schema import RESIDUAL, Artefact, Record
from rfcal.record.results import Device

MUCH = 0.5
"""Size of a reflection [1] from which one read again shows a lead or adapter before it."""
PREFIXES = {"H": (1e-9, "nH"), "F": (1e-15, "fF")}
"""Units in which strays are told."""
POWER = f"power_w {defaults.POWER_W:g} W"
"""What a match is reckoned for where it states no power."""

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
    for match in record.matches:
        yield f"match of '{match.measurement}'", () if "power_w" in match.table else (POWER,)
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


def about_unseen(
    record: Record, told: Sequence[Finding] = (), found: Sequence[Device] = ()
) -> Iterator[Finding]:
    """Each reading of the least set that is missing, once: a check, one behind a path, a reread.

    Of what was `told` already nothing is said; and what would move devices that were `found`.
    """
    misfits = {f.about for f in told if f.code in (say.PATH_MISFIT.code, say.OTHER_LINE.code)}
    behind = {item.name for item in record.measurements if item.between}
    if all(check.at in behind for check in record.checks):
        solved = record.residual is None
        kind = "is no standard" if solved else "you know"
        yield say.NO_CHECK(invisible=say.INVISIBLE[not solved], kind=kind)
    checked = {check.at for check in record.checks}
    # what is removed before a device and is not told to be wrong already
    missing = [
        (item.name, part.kind)
        for item in record.measurements
        for part in item.between
        if item.name not in checked and not part.embed and part.name not in misfits
    ]
    if missing:
        names, kinds = (dict.fromkeys(of) for of in zip(*missing, strict=True))
        behind_it = (device for device in found if device.name in names.keys() - misfits)
        yield say.NO_CHECK_BEHIND(
            devices=quoted([*names]),
            invisible=", or ".join(say.INVISIBLE_PATH[kind] for kind in kinds),
            ohm=defaults.FAR_CHECK * record.reference_ohm,
            at=missing[0][0],
            warmer=if_warmer(behind_it, say.SINCE_SWEPT),
        )
    before = [device for device in found if device.name in checked - misfits]
    if warmer := if_warmer(before, say.SINCE_CHECK):
        yield say.CHECK_BEFORE(devices=quoted([one.name for one in before]), warmer=warmer)
    place = say.BEHIND if any(item.between for item in record.measurements) else say.DIRECT
    artefacts = sorted((*record.standards, *record.checks), key=_rank)
    again = {reread.of for reread in record.rereads}
    dull = [item.name for item in artefacts if item.name in again and _absorbs(item, record)]
    if not again and artefacts:
        devices = quoted([item.name for item in record.measurements]) or "the line"
        warmer = if_warmer(found, say.SINCE_STANDARDS)
        yield say.NO_REREAD(devices=devices, artefact=artefacts[0].name, warmer=warmer, **place)
    elif dull and len(dull) == len(again) and not _absorbs(artefacts[0], record):
        yield say.DULL_REREAD(artefact=artefacts[0].name, of=dull[0], **place)


def _rank(item: Artefact) -> int:
    """A short first, then an open: they show most of what may have moved."""
    return {"short": 0, "open": 1}.get(item.model.kind if item.model else "", 2)


def _absorbs(item: Artefact, record: Record) -> bool:
    """Whether it reflects too little to show what was left before it."""
    model, z_ref = item.model, record.reference_ohm
    if model is None or model.kind != "load":
        return False
    return abs(model.resistance - z_ref) < MUCH * (model.resistance + z_ref)
