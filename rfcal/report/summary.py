"""The results in a few lines for a terminal: of a report, of a check, of a plan."""

from collections.abc import Iterable, Mapping

import numpy as np

from rfcal.findings import Finding, grid_words, listed, told_once
from rfcal.planning.plan import Option
from rfcal.record.findings.catalogue.devices import UNSEEN
from rfcal.record.findings.catalogue.readings import DEFAULTS, NEVER_NEGATIVE
from rfcal.record.findings.catalogue.standards import ERROR_TERMS, HALF_TURN
from rfcal.record.findings.devices import why_wrong
from rfcal.record.findings.standards import growth
from rfcal.record.job.plan import Outlook, Planned
from rfcal.record.results import Results, error_terms
from rfcal.report.text import device as of_device
from rfcal.report.text import line as line_words
from rfcal.report.text.components import part_lines
from rfcal.report.text.device import check_line, largest, reread_line
from rfcal.uncertainty.derived import Figure
from rfcal.uncertainty.words import figure_words, mhz

WORTH = 0.05
"""Part by which the intervals must shrink for a change to be proposed [1]."""
NO_WIDER = 1.005
"""Of an interval so much may be left: 100 % as it is printed [1]."""
TOLD = 3
"""Changes that are proposed."""
MOST_READ = 12
"""Readings of one grid that are listed."""
USUAL = (
    "note: Usual values stand where the record states none; the page of the report lists them. "
    "State what you know of yours."
)


def summary_lines(results: Results) -> list[str]:
    """The answers, the checks and all that is to be said, in this order."""
    said = [f"{results.record.title} ({results.record.date or 'no date'})"]
    line = [] if results.line is None else line_words.line_lines(results.line)
    if results.record.line_first:
        said += line
    said += [line for part in results.parts for line in part_lines(part)]
    for device in results.devices:
        if doubt := why_wrong(results.findings, device.name):
            said.append(f"do not trust what follows yet: {doubt}")
        answer, *more = of_device.answer_lines(results, device)
        said.append(f"{device.name} at {mhz(device.frequency[device.answer])}: {answer}")
        if len(results.devices) <= of_device.MOST_SHOWN:
            said += [f"  {line}" for line in more]
    said += [*map(check_line, results.checks), *map(reread_line, results.rereads)]
    if not results.record.line_first:
        said += line
    # the line's state is told above
    loud = [f for f in results.findings if f"{line_words.STATE}{f.message}" not in line]
    return said + finding_lines(loud)


def finding_lines(findings: Iterable[Finding]) -> list[str]:
    """What was found as a terminal says it: the list of defaults is the page's."""
    return [USUAL if f.code == DEFAULTS.code else str(f) for f in told_once(findings)]


def check_lines(found: Results) -> list[str]:
    """What stands against the readings, what is good, what is still open, and what was read."""
    loud = finding_lines(f for f in found.findings if f.severity != "note")
    asked = finding_lines(f for f in found.findings if f.code == NEVER_NEGATIVE.code)
    first = "no warnings: go on to the report"
    if loud:
        first = f"warnings: {len(loud)}, look at {'them' if loud[1:] else 'it'} before you go on"
    elif asked:
        first = "no warnings, but a question: answer it before you go on"
    notes = finding_lines(f for f in found.findings if f.severity == "note")
    notes = [note for note in notes if note not in asked]
    read: dict[str, list[str]] = {}
    for s in found.sweeps:
        one = f"{s.label} ({s.origin.file if s.origin else 'typed'})"
        read.setdefault(grid_words(s.frequency), []).append(one)
    sweeps = (f"{grid}: {listed(names, MOST_READ)}" for grid, names in read.items())
    return [first, *loud, *asked, *good_lines(found), *notes, *sweeps]


def good_lines(found: Results) -> list[str]:
    """Everything that was looked at and stands the test, in lines; what does not is a finding."""
    codes = {finding.code for finding in found.findings}
    said = _standards(found, codes) if found.record.standards else []
    said += [f"good: {check_line(check)}" for check in found.checks if check.agrees]
    return said + [f"good: {reread_line(reread)}" for reread in found.rereads if reread.agrees]


def _standards(found: Results, codes: set[str]) -> list[str]:
    """Standards and error terms, as far as nothing stands against them."""
    calibration, said = found.calibration, []
    if not codes & {"standards-close", "error-terms"}:
        said.append(
            "good: the standards lie well apart: an error in one of them is at most "
            f"{np.max(growth(calibration)):.2g} times as large elsewhere on the chart"
        )
    if not codes & {ERROR_TERMS.code, HALF_TURN.code}:
        terms = error_terms(calibration).items()
        sizes = (f"{name.replace('_', ' ')} up to {np.max(np.abs(t)):.2g}" for name, t in terms)
        sound = "good: the error terms are those of a sound analyzer"
        said.append(f"{sound}: {', '.join(sizes)} (1 is full reflection)")
    chi_square, freedom = calibration.chi_square()
    if not freedom:
        said.append("three standards fix the error terms exactly: only a check can contradict them")
    elif "standards-disagree" not in codes:
        said.append(
            f"good: the {len(calibration.names)} standards agree with each other: chi-square up to "
            f"{np.max(chi_square):.2g} with {freedom} degrees of freedom"
        )
    return said


def plan_lines(outlook: Outlook) -> list[str]:
    """The plan of a record in a few lines for a terminal."""
    useful = [option.change for planned in outlook.planned for option in _useful(planned)]
    first = f"before it is, {useful[0]}: that helps most" if useful else "no change helps much"
    said = [f"{outlook.record.title}: nothing is measured yet; {first}"]
    for planned in outlook.planned:
        said += map(str, (*planned.elsewhere, *planned.unshown))
    said += [str(f) for f in outlook.findings if f.code not in UNSEEN]
    unseen = [f.message for f in outlook.findings if f.code in UNSEEN]
    if unseen:
        said += ["what could not be noticed, and the reading that would:", *map(_item, unseen)]
    elif not any(planned.unshown for planned in outlook.planned):
        said.append("no reading is missing; notebook 02-calibrate tells what none can show")
    return said + [line for planned in outlook.planned for line in _device(planned)]


def _useful(planned: Planned) -> list[Option]:
    """Changes that are worth their trouble, and make neither interval wider, the best first."""
    options = next(iter(planned.plans.values())).options
    wider = (max(float(o.resistance[0]), float(o.reactance[0])) >= NO_WIDER for o in options)
    return [o for o, no in zip(options, wider, strict=True) if o.gain > WORTH and not no]


def _device(planned: Planned) -> list[str]:
    """What to expect of one device."""
    full = ", if all were shown," if planned.unshown else ""
    head = full if full and not planned.shown else ","
    said = [f"{planned.name} at {mhz(planned.frequency_hz)}{head} with 95 % intervals:"]
    for ohm, found in planned.plans.items():
        answers = planned.shown.get(ohm, (found.figures,))
        said.append(f"  if it is {_ohm(ohm)}: {', or '.join(map(_answer, answers))}")
        if ohm in planned.shown:
            said.append(f"    if all were shown: {_answer(found.figures)}")
    for name, why in planned.unknown.items():
        said.append(f"  '{name}' was taken as short and without loss: {why}")
    ohm, first = next(iter(planned.plans.items()))
    sources = ", of ".join(f"{part} is {source}" for part, source in largest(first.shares, 0))
    said.append(f"  at {_ohm(ohm)}{full} the largest source of uncertainty of {sources}")
    useful = _useful(planned)[:TOLD]
    more = [f"  what would help most at {_ohm(ohm)}{full.rstrip(',')}:"] if useful else []
    return [*said, *more, *(f"  {_item(_option(option))}" for option in useful)]


def _answer(figures: Mapping[str, Figure]) -> str:
    r, x, swr = (figure_words(figures[name], 0) for name in ("resistance", "reactance", "swr"))
    return f"R {r}, X {x}, SWR {swr}"


def _ohm(ohm: complex) -> str:
    reactance = f" {'-' if ohm.imag < 0 else '+'} j{abs(ohm.imag):g}" if ohm.imag else ""
    return f"{ohm.real:g}{reactance} ohm"


def _option(option: Option) -> str:
    r, x = (float(part[0]) for part in (option.resistance, option.reactance))
    return f"{option.change}: leaves {r:.0%} of R's interval and {x:.0%} of X's"


def _item(text: str) -> str:
    return f"  - {text}"
