"""A line before a device that is longer on another day: what that makes of R and X behind it."""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import replace

from rfcal import defaults
from rfcal.errors import CalibrationError
from rfcal.findings import Finding, listed
from rfcal.measurement.deembedding import LineBySweeps, PathElement, by_figures
from rfcal.measurement.error_terms import Calibration, turn_of
from rfcal.measurement.propagate import Inputs, propagate
from rfcal.models.line import SPEED_OF_LIGHT, UNCERTAIN, Line
from rfcal.record.findings.catalogue import devices as say
from rfcal.record.findings.devices import swept_line
from rfcal.record.format.schema import Record
from rfcal.record.results import Device, LineState
from rfcal.uncertainty.quantity import at_points
from rfcal.uncertainty.words import about

PARTS = {"R": "resistance", "X": "reactance", "SWR": "swr"}
"""What is asked of a device, by its letters."""
STEP_K = 10.0
STEPS = defaults.WEATHER_K / STEP_K
"""What weather does is told for a part of it, and times how much that may be it counts."""
SURE: Mapping[str, float] = dict.fromkeys(UNCERTAIN, 0.0)
"""Nothing of a line is uncertain."""


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
            if moved := _moved(found, _behind(found, place, line, warm), STEPS):
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
            other = _behind(found, place, fit.line, now, doubts)
            if _moved(found, other):
                told = other.at(float(other.frequency[0]))
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
) -> Device:
    """A device at its answer alone, if the line before a place of its path is another now."""
    at = slice(found.answer, found.answer + 1)
    raw, here = at_points(found.raw, at), found.inputs.at(at)
    path = list(here.path)
    for one, deviations in ((now, doubts), (line, SURE)):
        element = PathElement("line", one, deviations=deviations, embed=one is line)
        path.insert(place, by_figures(element, one, raw.frequency, found.z_ref))
    here = replace(here, path=tuple(path))
    return replace(found, raw=raw, inputs=here, reflection=propagate(here), answer=0, other=None)


def _moved(found: Device, now: Device, times: float = 1.0) -> list[str]:
    """By how much R, X and SWR differ from a device's, of those that may not be so far off.

    That is where so many times as much is beyond its 95 % interval.
    """
    answers, moved = [one.at(float(now.frequency[0])) for one in (found, now)], list[str]()
    for part, name in PARTS.items():
        old, new = (getattr(answer, name) for answer in answers)
        off = abs(new.value - old.value)
        if times * off > max(old.high - old.value, old.value - old.low):
            moved.append(f"{part} by {about(off)} {old.unit}".rstrip())
    return moved
