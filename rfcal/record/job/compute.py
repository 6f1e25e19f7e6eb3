"""From a record to its results: the only place that knows the order of the job."""

from collections.abc import Callable
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np

from rfcal.errors import CalibrationError, RecordError
from rfcal.feedline.power import path_loss
from rfcal.findings import Finding, grid_words, sorted_findings
from rfcal.maths.reflection import Real
from rfcal.measurement.bench import Analyzer, Bench, Known, PathElement
from rfcal.measurement.deembedding import Step
from rfcal.measurement.error_terms import Calibration
from rfcal.measurement.model import propagate
from rfcal.measurement.monte_carlo import assess
from rfcal.measurement.undecided import Undecided
from rfcal.models.interpolation import points_of, same_grid
from rfcal.models.standards import Standard, Tabulated
from rfcal.models.usual import missing_uncertainty
from rfcal.readings.display import Options
from rfcal.readings.sweep import Sweep, TwoPortSweep, read_sweep
from rfcal.record.findings.assumed import (
    about_defaults,
    assumed_of_analyzer,
    assumed_of_artefact,
    assumed_of_element,
)
from rfcal.record.findings.catalogue.readings import INTERPOLATED
from rfcal.record.findings.checks import about_builds, about_checks
from rfcal.record.findings.components import about_part
from rfcal.record.findings.devices import about_device, soundness
from rfcal.record.findings.displays import about_displays, about_example, about_signs
from rfcal.record.findings.line import about_line
from rfcal.record.findings.match import about_match, why_doubted
from rfcal.record.findings.misread import meanings
from rfcal.record.findings.path import about_path
from rfcal.record.findings.readings import about_answer, about_reading, about_references
from rfcal.record.findings.rereads import about_rereads, as_stated
from rfcal.record.findings.standards import about_correction, about_standards
from rfcal.record.findings.suspects import explained
from rfcal.record.findings.traces import about_traces
from rfcal.record.findings.unseen import about_unseen
from rfcal.record.format import reread, schema
from rfcal.record.format.match import MatchRequest
from rfcal.record.format.schema import Artefact, Measurement, Reading, Record
from rfcal.record.job import displays, readings
from rfcal.record.job import line as line_check
from rfcal.record.job.checks import checked
from rfcal.record.job.components import Parts
from rfcal.record.job.match import matched
from rfcal.record.results import Check, Device, LineState, MatchResult, Reread, Results
from rfcal.uncertainty.quantity import Quantity
from rfcal.uncertainty.significance import shared


def compute(
    record: Record | str | Path, *, say: Callable[[str], object] = lambda said: None
) -> Results:
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
    if not isinstance(record, Record):
        record = schema.load(record)
    return _Job(record, say).results()


def inspect(record: Record | str | Path) -> Results:
    """Read and judge the raw readings of a record; no device is corrected, none matched."""
    if not isinstance(record, Record):
        record = schema.load(record)
    return _Job(record).results(correct=False)


class _Job:
    """One pass over a record; sweeps are read once, findings gathered on the way."""

    def __init__(self, record: Record, say: Callable[[str], object] = lambda said: None):
        self.record, self.say = record, say
        self.findings: list[Finding] = []
        self.assumed = [assumed_of_analyzer(record)]
        self.sweeps: dict[str, Sweep] = {}
        self.options: dict[str, Options] = {}
        self.files: list[Sweep | TwoPortSweep] = []
        self.known: dict[str, Known] = {}
        self.ends: dict[str, tuple[Sweep | TwoPortSweep, ...]] = {}
        for item in record.items():
            say(f"reading '{item.name}'")
            options = readings.read(record, item.reading, item.name, item.place)
            self.options[item.name], sweep = options, options.sweeps[0]
            self.sweeps[item.name] = sweep
            self.files += sweep.parts or (sweep,)
            self.findings += about_reading(item, sweep, solved=bool(record.standards))
        readings.require_one_unit(record, self.sweeps)
        self.findings += about_references(list(self.sweeps.values()), record.reference_ohm)
        self.findings += about_traces(record, self.sweeps)
        self.meant = meanings(record, self.sweeps)
        for item in (*record.standards, *record.checks):
            self.known[item.name] = Known(item.name, self._model(item), self.sweeps[item.name])
        self.parts = Parts(record)
        self.grid = self._grid()
        worth = record.analyzer
        self.bench = Bench(
            Analyzer(worth["noise"], worth["connection"], worth["drift"], record.residual),
            tuple(self.known[item.name] for item in record.standards),
            record.reference_ohm,
        )
        self.undecided = self._settled()
        readings.require_independent(record, self.sweeps)
        self.chance = shared(readings.tests_by_chance(record))
        self.findings += about_builds(record)
        self.findings += (*about_displays(record), *about_example(record))

    def _grid(self) -> Real:
        """The frequencies [Hz] of the error terms."""
        record, line = self.record, self.record.line_check
        if record.standards or record.measurements:
            return readings.common_grid(record, self.sweeps)
        if line is None:
            return self.parts.first_grid()
        z_ref = record.reference_ohm
        return read_sweep(record.folder, line.reading, label="line check", z_ref=z_ref).frequency

    def _settled(self) -> Undecided | None:
        """Readings of which a display shows less, as the others tell them; None without any."""
        if not any(item.reading.shows_less for item in self.record.items()):
            return None
        found, told = displays.settle(self.record, self.bench, self.options, self.known, self.grid)
        self.sweeps.update(told)
        for name in self.known.keys() & told.keys():
            self.known[name] = replace(self.known[name], reading=told[name])
        self.bench = found.likeliest()
        return found

    def results(self, *, correct: bool = True) -> Results:
        """Everything, in order; without devices and networks where they are not asked for."""
        record, z_ref, solved = self.record, self.record.reference_ohm, bool(self.record.standards)
        calibration = self.calibration()
        checks = tuple(self.check(calibration, item) for item in record.checks)
        rereads = tuple(self.again(calibration, item) for item in record.rereads)
        self.findings += about_rereads(rereads)
        self.bench = replace(self.bench, moved=tuple(again.moved for again in rereads))
        still = bool(rereads) and all(again.agrees for again in rereads)
        why = ""
        if solved:
            judged: Any = {"chance": self.chance, "z_ref": z_ref, "meant": self.meant}
            why = explained(calibration, checks, still=still, **judged)
            self.findings += about_standards(calibration, why=why, **judged)
            self.findings += about_correction(calibration)
        self.findings += about_checks(
            checks, calibration, solved=solved, z_ref=z_ref, why=why, still=still
        )
        devices = self._devices(calibration, bool(checks)) if correct else ()
        for item in () if correct else record.measurements:
            self.path(self.calibration_at(calibration, item), item)
        self.say("the line's state and matching networks, where they are asked for")
        line = self.line(calibration) if record.line_check else None
        wanted = record.matches if correct else ()
        matches = tuple(self.match(calibration, devices, one) for one in wanted)
        at_plane, worth = partial(self._at_plane, calibration), self.bench.analyzer
        parts = self.parts.computed(devices, worth, at_plane) if correct else ()
        self.findings += [said for part in parts for said in about_part(part)]
        return Results(
            record=record,
            sweeps=(*self.files, *self.parts.files),
            bench=self.bench,
            calibration=calibration,
            checks=checks,
            devices=devices,
            findings=sorted_findings(
                (
                    *self.findings,
                    *about_defaults(self.assumed),
                    *about_unseen(record, self.findings),
                )
            ),
            line=line,
            matches=matches,
            rereads=rereads,
            parts=parts,
        )

    def _devices(self, calibration: Calibration, checked: bool) -> tuple[Device, ...]:
        """All devices, corrected and judged."""
        devices = tuple(self._device(calibration, item) for item in self.record.measurements)
        devices, told = displays.agreed(self.record, devices)
        self.findings += told
        solved, sound = bool(self.record.standards), soundness(self.findings, checked)
        for device in devices:
            meant = self.meant[device.name]
            self.findings += about_device(
                device, solved=solved, chance=self.chance, sound=sound, meant=meant
            )
        return devices

    def calibration(self) -> Calibration:
        """The error terms on the standards' grid."""
        solved = self.bench.calibration(self.grid)
        if self.record.standards:
            readings.require_distinct(self.record, self.sweeps)
        return solved

    def _model(self, item: Artefact) -> Standard | Tabulated:
        model, table = readings.model_of(self.record, item)
        self.files += table
        self.assumed.append(assumed_of_artefact(item, missing_uncertainty(model)))
        return model

    def calibration_at(
        self, calibration: Calibration, item: Artefact | Measurement | reread.Reread
    ) -> Calibration:
        """The calibration at the frequencies of one item's reading."""
        return self._calibration_on(calibration, self.sweeps[item.name].frequency, item.name)

    def _calibration_on(self, calibration: Calibration, frequency: Real, name: str) -> Calibration:
        try:
            moved = self.bench.at(calibration, frequency)
        except CalibrationError as error:
            raise CalibrationError(f"'{name}': {error}") from error
        if self.record.standards and points_of(frequency, self.grid) is None:
            self.findings.append(INTERPOLATED(name=name))
        return moved

    def again(self, calibration: Calibration, item: reread.Reread) -> Reread:
        """How far an artefact has moved since it was read first."""
        try:
            here = self.calibration_at(calibration, item)
            moved = self.bench.again(here, self.sweeps[item.of], self.sweeps[item.name])
        except CalibrationError as error:
            raise RecordError(schema.FILE, item.place, str(error)) from error
        return Reread(moved, as_stated(moved, self.chance))

    def path(
        self, here: Calibration, item: Measurement
    ) -> tuple[tuple[PathElement, ...], tuple[Step, ...]]:
        """What lies between the plane and a device, as it is known, and its steps."""
        elements, steps = [], []
        for between in item.between:
            if between.name not in self.ends:  # a check may have come the same way
                self.ends[between.name] = readings.path_sweeps(self.record, between)
                self.files += self.ends[between.name]
            sweeps = self.ends[between.name]
            of_element = assumed_of_element(between.name, between.doubt, between.assumed)
            self.assumed.append(of_element)
            elements.append(readings.element(between, sweeps))
            try:
                steps.append(self.bench.step(here, elements[-1]))
            except CalibrationError as error:
                raise RecordError(schema.FILE, between.place, str(error)) from error
            z_ref = self.record.reference_ohm
            self.findings += about_path(between.name, steps[-1], here, z_ref)
        return tuple(elements), tuple(steps)

    def line(self, calibration: Calibration) -> LineState:
        """State of the line of the line check, and what changed since its baseline."""
        wanted = self.record.line_check
        assert wanted is not None
        self.assumed.append(assumed_of_element("line check", wanted.doubt, wanted.assumed))
        frequency, now = self._at_plane(calibration, Reading((wanted.reading,)), "line check")
        others = [(Reading((wanted.baseline,)), "baseline")] if wanted.baseline else []
        others += [(read, "open" if end > 0 else "short") for end, read in wanted.far_ends]
        sweeps = []
        for read, what in others:
            grid, sweep = self._at_plane(calibration, read, f"line check, {what}")
            if not same_grid(frequency, grid):
                raise RecordError(
                    schema.FILE,
                    "[line_check]",
                    f"{displays.named(read, what)} has {grid_words(grid)}, the reading "
                    f"{grid_words(frequency)}: only sweeps at the same frequencies can be "
                    "compared",
                )
            sweeps.append(sweep)
        then = None if wanted.baseline is None else sweeps.pop(0)
        z_ref = self.record.reference_ohm
        try:
            state = line_check.line_state(wanted, frequency, now, then, sweeps, z_ref)
        except CalibrationError as error:
            raise RecordError(schema.FILE, "[line_check]", str(error)) from error
        self.findings += about_line(state)
        return state

    def _at_plane(
        self, calibration: Calibration, reading: Reading, label: str
    ) -> tuple[Real, Quantity]:
        """A sweep corrected to the standards' plane."""
        sweep = readings.read(self.record, reading, label, label).sweeps[0]
        self.files.append(sweep)
        here = self._calibration_on(calibration, sweep.frequency, label)
        return sweep.frequency, propagate(self.bench.inputs(here, sweep))

    def match(
        self, calibration: Calibration, devices: tuple[Device, ...], wanted: MatchRequest
    ) -> MatchResult:
        """Networks for one measurement."""
        device = next(d for d in devices if d.name == wanted.measurement)
        wanted = wanted.settled(float(device.frequency[device.answer]))
        built = None
        if wanted.built is not None:
            grid, built = self._at_plane(
                calibration, Reading((wanted.built.reading,)), "after building"
            )
            if not same_grid(grid, device.frequency):
                raise RecordError(
                    schema.FILE,
                    f"{wanted.place_in_record} built",
                    f"it has {grid_words(grid)}, '{device.name}' "
                    f"{grid_words(device.frequency)}: read both at the same frequencies",
                )
        doubt = why_doubted(self.findings, device.name)
        result = replace(matched(wanted, device, built), doubt=doubt)
        self.findings += about_match(result)
        return result

    def check(self, calibration: Calibration, item: Artefact) -> Check:
        here, known = self.calibration_at(calibration, item), self.known[item.name]
        steps = self._steps_to(here, item)
        if item.at is not None:
            known = displays.behind(known, self.options[item.name], here, steps)
        return checked(self.bench, here, known, at=item.at, path=steps, chance=self.chance)

    def _steps_to(self, here: Calibration, check: Artefact) -> tuple[Step, ...]:
        """The path to where a check was connected, without what is added to a device's answer."""
        for item in self.record.measurements:
            if item.name == check.at:
                removed = tuple(between for between in item.between if not between.embed)
                return self.path(here, replace(item, between=removed))[1]
        return ()

    def _device(self, calibration: Calibration, item: Measurement) -> Device:
        sweep = self.sweeps[item.name]
        here = self.calibration_at(calibration, item)
        elements, _ = self.path(here, item)
        answer = self._answer(item, sweep)

        def made(bench: Bench, sweep: Sweep) -> Device:
            own = bench is self.bench  # else one that a display's options make
            at = here if own else bench.at(bench.calibration(self.grid), sweep.frequency)
            inputs, reflection = bench.corrected(at, sweep, bench.steps(at, elements))
            seed = self.record.seed
            return Device(item.name, sweep, inputs, reflection, bench, elements, answer, seed=seed)

        self.say(f"intervals of '{item.name}' at {sweep.frequency.size} points")
        if self.undecided is None:
            return self._assessed(made(self.bench, sweep))
        bench = self.undecided.at(here)
        found = displays.answers(bench, here, self.options[item.name], made)
        self.findings += about_signs(found.device, found.by_rising, found.by_power)
        other = found.other and self._assessed(found.other)
        return self._assessed(found.device, other)

    def _assessed(self, device: Device, other: Device | None = None) -> Device:
        """The same with what its path loses, what Monte Carlo says, and another answer."""
        seed, inputs = self.record.seed, device.inputs
        loss = path_loss(inputs, device.reflection.value, np.random.default_rng(seed))
        ends = device.interval
        names = [item.name for item in self.record.measurements]
        self.say(f"Monte Carlo of '{device.name}', {names.index(device.name) + 1} of {len(names)}")
        rng = np.random.default_rng(seed)
        assessed = assess(inputs, ends, device.z_ref, rng, answer=device.answer)
        found = replace(device, path_loss=loss, assessed=assessed, other=other)
        vars(found)["figures"] = device.figures  # so that they are not computed again
        return found

    def _answer(self, item: Measurement, sweep: Sweep) -> int:
        """Index of the frequency at which the answer in words is quoted."""
        answer = readings.answer_of(item, sweep.frequency)
        if item.answer_hz is not None:
            self.findings += about_answer(item.name, item.answer_hz, sweep.frequency[answer])
        return answer
