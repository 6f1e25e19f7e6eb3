"""What a record does not say: what was taken for it, and what it could not have noticed.

Such as a line before a device that is longer on another day: what that makes of R and X behind it.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace

from rfcal import defaults
from rfcal.errors import CalibrationError
from rfcal.findings import Finding, grouped, listed, quoted
from rfcal.maths.reflection import swr, to_impedance
from rfcal.measurement.deembedding import LineBySweeps, PathElement, by_figures, path_map
from rfcal.measurement.error_terms import Calibration, turn_of
from rfcal.measurement.propagate import Inputs, propagate
from rfcal.models.line import SPEED_OF_LIGHT, UNCERTAIN, Line
from rfcal.models.standards import missing_uncertainty
from rfcal.readings.sweep import Sweep
from rfcal.record.findings.catalogue import devices as say
from rfcal.record.findings.catalogue.readings import BY_OHMMETER, DEFAULTS
from rfcal.record.findings.devices import swept_line
from rfcal.record.format import path, standard
from rfcal.record.format.kinds import Number
from rfcal.record.format.schema import ANALYZER, Artefact, Record
from rfcal.record.results import Device, LineState
from rfcal.uncertainty.quantity import at_points
from rfcal.uncertainty.words import about

MUCH = 0.5
"""Size of a reflection [1] from which one read again shows a lead or adapter before it."""
PREFIXES = {"H": (1e-9, "nH"), "F": (1e-15, "fF")}
"""Units in which strays are told."""
POWER = f"power_w {defaults.POWER_W:g} W"
"""What a match is reckoned for where it states no power."""
PARTS = {"R": "resistance", "X": "reactance", "SWR": "swr"}
"""What is asked of a device, by its letters."""
STEP_K = 10.0
STEPS = defaults.WEATHER_K / STEP_K
"""What weather does is told for a part of it, and times how much that may be it counts."""
SURE: Mapping[str, float] = dict.fromkeys(UNCERTAIN, 0.0)
"""Nothing of a line is uncertain."""

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
    usual = {key.name: key.usual for key in ANALYZER.keys}
    keys = [k for k in record.assumed if k != "resolution_ohm" or typed]
    return "[analyzer]", tuple(f"{key} {usual[key]}" for key in keys)


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
        kind, invisible = say.INVISIBLE[record.residual is not None]
        yield say.NO_CHECK(invisible=invisible, kind=kind)
    checked = {check.at for check in record.checks}
    # what is removed before a device and is not told to be wrong already
    missing = [
        item.name
        for item in record.measurements
        for part in item.between
        if item.name not in checked and not part.embed and part.name not in misfits
    ]
    if missing:
        behind_it = (device for device in found if device.name in {*missing} - misfits)
        yield say.NO_CHECK_BEHIND(
            devices=quoted(missing),
            ohm=defaults.FAR_CHECK * record.reference_ohm,
            at=missing[0],
            warmer=if_warmer(behind_it, say.SINCE_SWEPT),
        )
    before = [device for device in found if device.name in checked - misfits]
    if warmer := if_warmer(before, say.SINCE_CHECK):
        yield say.CHECK_BEFORE(devices=quoted([one.name for one in before]), warmer=warmer)
    place = say.BEHIND if any(item.between for item in record.measurements) else say.DIRECT
    artefacts = sorted((*record.standards, *record.checks), key=_rank)
    again = {reread.of for reread in record.rereads}
    shows = [item for item in artefacts if not _absorbs(item, record)] or artefacts
    if artefacts and not again & {item.name for item in shows}:
        devices = quoted([item.name for item in record.measurements]) or "the line"
        warmer = if_warmer(found, say.SINCE_STANDARDS)
        yield say.NO_REREAD(devices=devices, artefact=artefacts[0].name, warmer=warmer, **place)


def _rank(item: Artefact) -> int:
    """A short first, then an open: they show most of what may have moved."""
    return {"short": 0, "open": 1}.get(item.model.kind if item.model else "", 2)


def _absorbs(item: Artefact, record: Record) -> bool:
    """Whether it reflects too little to show what was left before it."""
    model, z_ref = item.model, record.reference_ohm
    if model is None or model.kind != "load":
        return False
    return abs(model.resistance - z_ref) < MUCH * (model.resistance + z_ref)


def delay_before(here: Calibration) -> float:
    """One way from the analyzer to the standards [s]; 0 where nobody can tell."""
    turn = turn_of(here.error_box.reflection_tracking, here.frequency, here.seen)
    return 0.0 if turn is None else max(turn.delay / 2, 0.0)


def if_warmer(devices: Iterable[Device], since: str) -> str:
    """What some kelvin do to the first device of which R or X is known better than that.

    By what lies before the standards, or by a line that its own sweeps remove, `since` when.
    """
    share = STEP_K * defaults.STRETCH_PER_K
    for found in devices:
        metres = delay_before(found.inputs.calibration) * SPEED_OF_LIGHT
        whole = [(0, Line(metres, 1.0, found.z_ref))]
        swept = whole if since == say.SINCE_STANDARDS else swept_lines(found.inputs, found.z_ref)
        for place, line in swept:
            warm = replace(line, length_m=line.length_m * (1 + share))
            if moved := _moved(found, _behind(found, place, line, warm)[1], STEPS):
                still = say.SWR_STILL * (not moved[-1].startswith("SWR"))
                of = {"device": found.name, "moves": listed(moved), "since": since, "still": still}
                return say.IF_WARMER.format(share=share, kelvin=STEP_K, **of)
    return ""


def about_other_line(
    record: Record, state: LineState, devices: Iterable[Device]
) -> Iterator[Finding]:
    """What devices are if the sweeps that move them to the line's end are as old as the baseline.

    A check that was read there tells that they are not.
    """
    fit, differs = state.properties, state.comparison
    if fit is None or differs is None or not fit.fits:
        return
    now, doubts, changed = fit.line, {**SURE, "loss": defaults.WEATHER_LOSS / 2}, list[str]()
    if shift := differs.shift:
        # what stretches is told by the phase of what comes from where its end seems to be
        seen_m = now.length_m if state.end is None else float(state.now.distance_m[state.end])
        metres = seen_m if shift.between_m is None else 1.0
        now = replace(now, length_m=now.length_m + shift.size * metres)
        doubts["length"] = shift.uncertainty * metres
        changed.append(say.LONGER[shift.size < 0])
    if lost := differs.lost or differs.weather:
        now = lost.on(now)
        changed.append(say.LOSSIER[lost.more_db < 0])
    names = {item.name for item in record.behind_line} - {check.at for check in record.checks}
    for found in (device for device in devices if changed and device.name in names):
        for place, _ in swept_lines(found.inputs, found.z_ref):
            raw, here = _behind(found, place, fit.line, now, doubts)
            if _moved(found, here):
                other = replace(found, raw=raw, inputs=here, reflection=propagate(here), answer=0)
                told = replace(other, other=None).at(float(raw.frequency[0]))
                yield say.OTHER_LINE(device=found.name, changed=listed(changed), answer=told)


def swept_lines(inputs: Inputs, z_ref: float) -> Iterator[tuple[int, Line]]:
    """Lines on a path that their far end's sweeps remove, and the places behind them."""
    for place, step in enumerate(inputs.path, 1):
        if isinstance(step.element, LineBySweeps):
            try:
                yield place, swept_line(step, inputs.calibration, z_ref).line
            except CalibrationError:  # that it is none is told, and of few points nothing is known
                continue


def _behind(
    found: Device, place: int, line: Line, now: Line, doubts: Mapping[str, float] = SURE
) -> tuple[Sweep, Inputs]:
    """A device at its answer alone, if the line before a place of its path is another now."""
    at = slice(found.answer, found.answer + 1)
    raw, here = at_points(found.raw, at), found.inputs.at(at)
    path = list(here.path)
    for one, deviations in ((now, doubts), (line, SURE)):
        element = PathElement("line", one, deviations=deviations, embed=one is line)
        path.insert(place, by_figures(element, one, raw.frequency, found.z_ref))
    return raw, replace(here, path=tuple(path))


def _moved(found: Device, here: Inputs, times: float = 1.0) -> list[str]:
    """By how much R, X and SWR differ from a device's, of those that may not be so far off.

    That is where so many times as much is beyond its 95 % interval.
    """
    box, moved = here.calibration.error_box, list[str]()
    (now,) = (box @ path_map(box, here.path)).correct(here.reading.value)
    z, was = to_impedance(now, found.z_ref), found.at(float(found.frequency[found.answer]))
    for (part, name), new in zip(PARTS.items(), (z.real, z.imag, swr(now)), strict=True):
        old = getattr(was, name)
        off = abs(float(new) - old.value)
        if times * off > max(old.high - old.value, old.value - old.low):
            moved.append(f"{part} by {about(off)} {old.unit}".rstrip())
    return moved
