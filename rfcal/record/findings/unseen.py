"""What a record could not have noticed, whatever its readings, and the one reading that would."""

from collections.abc import Iterator, Sequence

from rfcal import defaults
from rfcal.findings import Finding, quoted
from rfcal.record.findings.catalogue import devices as say
from rfcal.record.format.schema import Artefact, Record

MUCH = 0.5
"""Size of a reflection [1] from which one read again shows a lead or adapter before it."""


def about_unseen(record: Record, told: Sequence[Finding] = ()) -> Iterator[Finding]:
    """Each reading of the least set that is missing, once: a check, one behind a path, a reread.

    Of what was `told` already nothing is said.
    """
    misfits = {f.about for f in told if f.code == say.PATH_MISFIT.code}
    if not record.checks:
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
        yield say.NO_CHECK_BEHIND(
            devices=quoted([*names]),
            invisible=", or ".join(say.INVISIBLE_PATH[kind] for kind in kinds),
            ohm=defaults.FAR_CHECK * record.reference_ohm,
            at=missing[0][0],
        )
    place = say.BEHIND if any(item.between for item in record.measurements) else say.DIRECT
    artefacts = sorted((*record.standards, *record.checks), key=_rank)
    again = {reread.of for reread in record.rereads}
    dull = [item.name for item in artefacts if item.name in again and _absorbs(item, record)]
    if not again and artefacts:
        devices = quoted([item.name for item in record.measurements]) or "the line"
        yield say.NO_REREAD(devices=devices, artefact=artefacts[0].name, **place)
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
