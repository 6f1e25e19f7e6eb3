"""What a record could not have noticed, whatever its readings, and the one reading that would."""

from collections.abc import Sequence

from rfcal import defaults
from rfcal.findings import Finding, quoted
from rfcal.record.findings.catalogue import devices as say
from rfcal.record.format.schema import Artefact, Record


def about_unseen(record: Record, told: Sequence[Finding] = ()) -> list[Finding]:
    """Each reading of the least set that is missing, once: a check, one behind a path, a reread.

    Of what was `told` already nothing is said.
    """
    found = []
    misfits = {f.about for f in told if f.code == say.PATH_MISFIT.code}
    if not record.checks:
        solved = record.residual is None
        found.append(
            say.NO_CHECK(
                invisible=say.INVISIBLE[not solved],
                kind="is no standard" if solved else "you know",
            )
        )
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
        found.append(
            say.NO_CHECK_BEHIND(
                devices=quoted([*names]),
                invisible=", or ".join(say.INVISIBLE_PATH[kind] for kind in kinds),
                ohm=defaults.FAR_CHECK * record.reference_ohm,
                at=missing[0][0],
            )
        )
    place = say.BEHIND if any(item.between for item in record.measurements) else say.DIRECT
    artefact = _worth_reading_again([*record.standards, *record.checks])
    if not record.rereads and artefact:
        devices = quoted([item.name for item in record.measurements]) or "the line"
        found.append(say.NO_REREAD(devices=devices, artefact=artefact, **place))
    return found


def _worth_reading_again(artefacts: Sequence[Artefact]) -> str:
    """The one that shows most of what may have moved: a short before an open before all others."""
    kinds = {item.model.kind if item.model else "": item.name for item in reversed(artefacts)}
    return next((kinds[kind] for kind in ("short", "open", *kinds) if kind in kinds), "")
