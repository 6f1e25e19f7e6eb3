"""From a record to its results: the only place that knows the order of the job."""

from collections.abc import Callable, Iterable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from rfcal.errors import CalibrationError, RfcalError
from rfcal.feedline.power import path_loss
from rfcal.findings import Finding, sorted_findings
from rfcal.maths.reflection import Real
from rfcal.measurement.bench import Analyzer, Bench, Known, PathElement
from rfcal.measurement.deembedding import Step
from rfcal.measurement.error_terms import Calibration
from rfcal.measurement.propagate import assess, propagate
from rfcal.measurement.undecided import Undecided
from rfcal.models.interpolation import points_of
from rfcal.readings.display import Options
from rfcal.readings.rows import Say, silent
from rfcal.readings.sweep import Sweep, TwoPortSweep
from rfcal.record.findings.case import Case, meanings
from rfcal.record.findings.catalogue.readings import INTERPOLATED, SAME_DISAGREES
from rfcal.record.findings.catalogue.standards import HALF_TURN, SEEN_ABOVE, SEEN_MOVING
from rfcal.record.findings.components import about_part
from rfcal.record.findings.devices import about_path, why_doubted
from rfcal.record.findings.line.state import about_devices, about_line
from rfcal.record.findings.match import about_matches
from rfcal.record.findings.readings.displays import about_displays, about_example, about_shown
from rfcal.record.findings.readings.rereads import about_rereads
from rfcal.record.findings.readings.signs import left_out
from rfcal.record.findings.readings.traces import about_answer, about_ports, about_traces
from rfcal.record.findings.standards import (
    about_builds,
    about_checks,
    about_standards,
    asked_khz,
    exchange,
)
from rfcal.record.findings.suspects import explained
from rfcal.record.findings.unsaid import about_defaults, about_other_line, about_unseen
from rfcal.record.format import schema, standard
from rfcal.record.format.component import ComponentRequest
from rfcal.record.format.line import LineCheck
from rfcal.record.format.match import MatchRequest
from rfcal.record.format.path import Between
from rfcal.record.format.reading import Reading
from rfcal.record.format.schema import Artefact, Measurement, Record
from rfcal.record.job import displays, readings
from rfcal.record.job import line as line_check
from rfcal.record.job.components import at_port, between_ports, two_ports
from rfcal.record.job.match import matched
from rfcal.record.results import Check, Device, LineState, MatchResult, Part, RereadCheck, Results
from rfcal.uncertainty.quantity import Quantity
from rfcal.uncertainty.significance import far_off


def compute(record: Record | str | Path, *, say: Say = silent) -> Results:
    """Compute everything a record asks for.

    Parameters
    ----------
    record : Record, str or Path
        A record, or the folder it lies in.
    say : callable
        Called with a few words before each step that takes time, for somebody who waits.

    Returns
    -------
    Results
        Error terms, checks, corrected devices and findings.

    Raises
    ------
    RfcalError
        One sentence: what is wrong with which file or key, and what to do.

    Examples
    --------
    >>> results = compute("data/demo/beacon-antenna")
    >>> print(results.device("antenna").at(70.2e6).resistance)
    31.11 ± 0.29 ohm
    """
    return _asked(_Job(record, say))


def inspect(record: Record | str | Path, *, say: Say = silent) -> Results:
    """Read and judge the raw readings of a record; no device is assessed, none matched.

    What `say` is told is as in `compute`.
    """
    return _asked(_Job(record, say), correct=False)


def _asked(job: "_Job", *, correct: bool = True) -> Results:
    """What a job comes to; of a refusal, what the readings show stands first."""
    try:
        job.solve()
        return job.results(correct=correct)
    except RfcalError as error:
        if not job.traces:
            raise
        raise RfcalError(f"{job.traces[0].message} Besides, {error}") from error


class _Job:
    """One pass over a record; sweeps are read once, findings gathered on the way."""

    def __init__(self, record: Record | str | Path, say: Say):
        self.record = record = schema.load(record)
        self.say = say
        self.findings: list[Finding] = []
        self.sweeps: dict[str, Sweep] = {}
        self.options: dict[str, Options] = {}
        self.files: list[Sweep | TwoPortSweep] = []
        self.known: dict[str, Known] = {}
        self.elements: dict[str, PathElement] = {}
        self._read()
        readings.require_one_unit(record, self.sweeps)
        self.findings += (traces := about_traces(record, self.sweeps))
        self.traces = [finding for finding in traces if finding.severity == "warning"]

    def solve(self) -> None:
        """The error terms, and what artefacts are."""
        record = self.record
        self.say("the error terms")
        for artefact in (*record.standards, *record.checks):
            model, table = readings.model_of(record, artefact)
            self.files += table
            self.known[artefact.name] = Known(artefact.name, model, self.sweeps[artefact.name])
        for between in (part for item in record.measurements for part in item.between):
            self.elements[between.name], read = readings.element(record, between)
            self.files += read
        self.ports = two_ports(record)
        self.grid = self._grid()
        worth = record.analyzer
        self.bench = Bench(
            Analyzer(worth["noise"], worth["connection"], worth["drift"], record.residual),
            tuple(self.known[item.name] for item in record.standards),
            record.reference_ohm,
        )
        self.undecided = self._settled()
        self.chance = readings.chance_of_each(record, self.sweeps)
        self.findings += (*about_builds(record), *about_displays(record), *about_example(record))
        self.calibration = self.bench.calibration(self.grid)
        readings.require_independent(record, self.sweeps)

    def _read(self) -> None:
        """Read everything that was connected."""
        for item in self.record.items():
            self.say(f"reading '{item.name}'")
            options = readings.read_options(self.record, item.reading, item.name, item.place)
            self.options[item.name], sweep = options, options.sweeps[0]
            self.sweeps[item.name] = sweep
            self.files += sweep.parts or (sweep,)

    def _grid(self) -> Real:
        """The frequencies [Hz] of the error terms."""
        record, line = self.record, self.record.line_check
        if record.standards or record.measurements:
            return readings.common_grid(record, self.sweeps)
        if line is None:
            return next(iter(self.ports.values()))[0].frequency
        return readings.read_options(record, Reading((line.reading,)), "line check", "").frequency

    def _settled(self) -> Undecided | None:
        """Readings of which a display shows less, as the others tell them; None without any."""
        if not any(item.reading.shows_less for item in self.record.items()):
            return None
        given = self.bench, self.options, self.known, self.grid
        found, told = displays.settle(self.record, *given, self.before)
        self.sweeps |= told
        for name, item in self.known.items():
            self.known[name] = replace(item, reading=self.sweeps[name])
        self.bench = found.likeliest()
        return found

    def results(self, *, correct: bool = True) -> Results:
        """Everything, in order; without devices and networks where they are not asked for."""
        record = self.record
        checks = tuple(map(self.check, record.checks))
        rereads = tuple(map(self.again, record.rereads))
        self._judged(checks, rereads)
        devices = self._devices()
        devices = tuple(map(self._assessed, devices)) if correct else ()
        self.say("the line's state and matching networks, where they are asked for")
        line = self.line(record.line_check, devices) if record.line_check else None
        tried = [self.match(devices, one) for one in record.matches if correct]
        matches = tuple(one for one in tried if isinstance(one, MatchResult))
        self.findings += [one for one in tried if isinstance(one, Finding)]
        self.findings += about_matches(matches)
        parts = tuple(self.part(devices, one) for one in record.components if correct)
        self.findings += [said for part in parts for said in about_part(part)]
        self.findings += about_ports(self.files)
        self.findings += (*about_unseen(record, self.findings, devices), *about_defaults(record))
        return Results(
            record=record,
            sweeps=(*self.files, *(sweep for read in self.ports.values() for sweep in read)),
            bench=self.bench,
            calibration=self.calibration,
            checks=checks,
            devices=devices,
            findings=sorted_findings(self.findings),
            line=line,
            matches=matches,
            rereads=rereads,
            parts=parts,
        )

    def _judged(self, checks: tuple[Check, ...], rereads: tuple[RereadCheck, ...]) -> None:
        """Whether standards, checks and what was read again agree, and what would explain it."""
        record, found = self.record, list[Finding]()
        self.findings += about_rereads(rereads, record.reference_ohm)
        self.bench = replace(self.bench, moved=tuple(again.moved for again in rereads))
        if self.undecided is not None:
            self.undecided = replace(self.undecided, bench=self.bench)
        still = all(again.agrees for again in rereads)
        case = Case(
            self.calibration,
            checks,
            record.reference_ohm,
            solved=bool(record.standards),
            chance=self.chance,
            stayed=[again.moved.of for again in rereads if still],
            meant=meanings(record, self.sweeps),
            read=self.sweeps,
            devices=[item.name for item in record.measurements if not item.reading.shows_less],
            mirrored=[item.name for item in record.items() if item.reading.shows_less],
        )
        if case.solved:
            self.say(f"whether {len(record.standards)} standards and the checks agree")
            case = explained(case, self.say)
            found += about_standards(case)
            if HALF_TURN.code in {finding.code for finding in found}:
                pair = exchange(self.calibration).said(1.0)
                case = replace(case, why=SEEN_ABOVE.format(pair=pair))
        self.case = replace(case, why=case.why or SEEN_MOVING * (not still))
        self.findings += (*found, *asked_khz(case, self.bench), *about_checks(self.case))

    def _devices(self) -> tuple[Device, ...]:
        """All devices, corrected and judged."""
        record, devices = self.record, self._corrected()
        apart = [f.about for f in self.findings if f.code == SAME_DISAGREES.code]
        twins = [m for m in record.measurements if m.name in apart]
        differ = {name for m in twins for name in (m.name, m.same_as)}
        for item, device in zip(record.measurements, devices, strict=True):
            self.say(f"judging '{device.name}'")
            here, z_ref = device.inputs.calibration, record.reference_ohm
            for element, step in zip(device.between, device.inputs.path, strict=True):
                self.findings += about_path(element.name, step, here, z_ref)
            if item.answer_hz is not None:
                at = device.frequency[device.answer]
                self.findings += about_answer(item.name, item.answer_hz, at)
            self.findings += left_out(record, item, device, self.sweeps, self.traces)
            case = replace(self.case, told=[*self.findings])
            others = [one for one in record.measurements if one.same_as == item.name]
            agree = None if item.name in differ else others
            self.findings += about_shown(item, device, case, agree)
        return devices

    def calibration_on(self, sweep: Sweep) -> Calibration:
        """The calibration at the frequencies of a sweep."""
        try:
            moved = self.bench.at(self.calibration, sweep.frequency)
        except CalibrationError as error:
            raise CalibrationError(f"'{sweep.label}': {error}") from error
        if self.record.standards and points_of(sweep.frequency, self.grid) is None:
            self.findings.append(INTERPOLATED(name=sweep.label))
        return moved

    def again(self, item: standard.Reread) -> RereadCheck:
        """How far an artefact has moved since it was read first."""
        with readings.refused_at(item.place):
            here = self.calibration_on(self.sweeps[item.name])
            moved = self.bench.again(here, self.sweeps[item.of], self.sweeps[item.name])
        first = next(one.reading for one in self.record.items() if one.name == item.of)
        moved = displays.least_moved(moved, first, item.reading, self.record.reference_ohm)
        return RereadCheck(moved, not far_off(moved.squared(), self.chance))

    def steps(self, bench: Bench, here: Calibration, path: Iterable[Between]) -> tuple[Step, ...]:
        """What lies between the plane and a device, as it is known."""
        steps = []
        for between in path:
            with readings.refused_at(between.place):
                steps.append(bench.step(here, self.elements[between.name]))
        return tuple(steps)

    def before(self, here: Calibration, item: Artefact) -> tuple[Step, ...]:
        """What lies before a check that was read in a device's place."""
        paths = (one.between for one in self.record.measurements if one.name == item.at)
        # without what is added to the device's answer
        removed = [between for between in next(paths, ()) if not between.embed]
        return self.steps(self.bench, here, removed)

    def line(self, wanted: LineCheck, corrected: tuple[Device, ...]) -> LineState:
        """State of the line of the line check, and what changed since its baseline."""
        frequency, now = self._at_plane(Reading((wanted.reading,)), "line check")
        others = [(Reading((wanted.baseline,)), "baseline")] if wanted.baseline else []
        others += [(read, "open" if end > 0 else "short") for end, read in wanted.far_ends]
        sweeps = []
        for read, what in others:
            grid, sweep = self._at_plane(read, f"line check, {what}")
            named = f"'{read.files[0]}'" if read.files else f"the far end's typed {what}"
            readings.require_same_grid("[line_check]", grid, frequency, named, "the reading")
            sweeps.append(sweep)
        then = None if wanted.baseline is None else sweeps.pop(0)
        with readings.refused_at("[line_check]"):
            answers = (item.answer_hz for item in self.record.measurements if item.answer_hz)
            z_ref = self.record.reference_ohm
            state = line_check.line_state(wanted, frequency, now, then, sweeps, z_ref)
            state = replace(state, answer_hz=next(answers, None))
        devices = self.record.behind_line, lambda item: self._plane_of(self.sweeps[item.name])
        seen = line_check.line_by_devices(wanted, state, *devices, z_ref)
        since = about_devices(state, seen) or about_other_line(self.record, state, corrected)
        self.findings += (*about_line(state), *since)
        return state

    def _at_plane(self, reading: Reading, label: str) -> tuple[Real, Quantity]:
        """A sweep corrected to the standards' plane."""
        sweep = readings.read_options(self.record, reading, label, label).sweeps[0]
        self.files.append(sweep)
        return self._plane_of(sweep)

    def _plane_of(self, sweep: Sweep) -> tuple[Real, Quantity]:
        """The same of one that has been read."""
        here = self.calibration_on(sweep)
        return sweep.frequency, propagate(self.bench.inputs(here, sweep))

    def part(self, devices: tuple[Device, ...], wanted: ComponentRequest) -> Part:
        """What part one measurement is of."""
        name = wanted.measurement
        if wanted.between_ports:
            worth, read = self.bench.analyzer, self.ports[name]
            return between_ports(wanted, self.record, worth, read, self.chance)
        device = next(d for d in devices if d.name == name)
        return at_port(wanted, device, self._at_plane, self.chance)

    def match(self, devices: tuple[Device, ...], wanted: MatchRequest) -> MatchResult | Finding:
        """Networks for one measurement, or why nothing is known of it."""
        device = next(d for d in devices if d.name == wanted.measurement)
        wanted = wanted.settled(float(device.frequency[device.answer]))
        built = None
        if wanted.built is not None:
            grid, built = self._at_plane(wanted.built.reading, "after building")
            place = f"{wanted.table.place} built"
            readings.require_same_grid(place, grid, device.frequency, "it", f"'{device.name}'")
        doubt = why_doubted(self.findings, device.name)
        return matched(wanted, device, built, doubt)

    def check(self, item: Artefact) -> Check:
        """One check, at the frequencies of its reading and in the place where it was connected."""
        here, known = self.calibration_on(self.sweeps[item.name]), self.known[item.name]
        at, path = item.at, self.before(here, item)
        return readings.checked(self.bench, here, known, at=at, path=path, chance=self.chance)

    def _corrected(self) -> tuple[Device, ...]:
        """All devices, and what else they may be where displays show less than R and X."""
        measurements = self.record.measurements
        makers = {item.name: self._maker(item) for item in measurements}
        if self.undecided is None:
            return tuple(make(self.bench, self.sweeps[name]) for name, (_, make) in makers.items())
        left = {
            name: displays.left_open(self.undecided.at(here), here, self.options[name], make)
            for name, (here, make) in makers.items()
        }
        devices, told = displays.agreed(self.record, left, self.chance)
        self.findings += told
        return devices

    def _maker(self, item: Measurement) -> tuple[Calibration, Callable[[Bench, Sweep], Device]]:
        """The error terms for a device, and what corrects a reading of it with a bench."""
        here = self.calibration_on(self.sweeps[item.name])
        answer = readings.answer_of(item, here.frequency)
        elements = tuple(self.elements[between.name] for between in item.between)

        def made(bench: Bench, sweep: Sweep) -> Device:
            own = bench is self.bench  # else one that a display's options make
            if own:
                self.say(f"correcting '{item.name}'")
            at = here if own else bench.at(bench.calibration(self.grid), sweep.frequency)
            steps = self.steps(bench, at, item.between)
            inputs, reflection = bench.corrected(at, sweep, steps)
            seed = self.record.seed
            return Device(item.name, sweep, inputs, reflection, bench, elements, answer, seed=seed)

        return here, made

    def _assessed(self, device: Device) -> Device:
        """The same with what its path loses and what Monte Carlo says; its other answer too."""
        seed, inputs = self.record.seed, device.inputs
        self.say(f"intervals of '{device.name}' at {device.frequency.size} points")
        loss = path_loss(inputs, device.reflection.value, np.random.default_rng(seed))
        ends = device.interval
        names = [item.name for item in self.record.measurements]
        of = f"Monte Carlo of '{device.name}', {names.index(device.name) + 1} of {len(names)}"
        how: Any = {"answer": device.answer, "say": lambda draws: self.say(f"{of}: {draws}")}
        assessed = assess(inputs, ends, device.z_ref, np.random.default_rng(seed), **how)
        other = device.other and self._assessed(device.other)
        own = device.figures  # so that they are not computed again
        return displays.having(own, device, path_loss=loss, assessed=assessed, other=other)
