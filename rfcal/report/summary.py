"""The results in a few lines for a terminal: of a report, of a check, of a plan."""

from collections.abc import Iterable, Iterator, Mapping

import numpy as np

from rfcal.findings import FOREMOST, Finding, grid_words, grouped, listed, told_once
from rfcal.planning.plan import Option
from rfcal.record.findings.catalogue.devices import UNSEEN
from rfcal.record.findings.catalogue.readings import DEFAULTS, NEVER_NEGATIVE, TYPED_KHZ
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

WHICH_SIGN = ", which tells whether two answers remain"
"""Where displays show less."""
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
    line = [] if results.line is None else line_words.line_lines(results.line)
    answers, checks = [*_answers(results)], [*map(check_line, results.checks)]
    checks += map(reread_line, results.rereads)
    # the line's state is told above
    loud = [f for f in results.findings if f"{line_words.STATE}{f.message}" not in line]
    first = [*line, *answers, *checks] if results.record.line_first else [*answers, *checks, *line]
    title = f"{results.record.title} ({results.record.date or 'no date'})"
    foremost = [f for f in loud if f.code in FOREMOST]
    others = finding_lines(f for f in loud if f not in foremost)
    return [title, *finding_lines(foremost), *first, *others]


def _answers(results: Results) -> Iterator[str]:
    """What parts and devices are."""
    for part in results.parts:
        yield from part_lines(part)
    for device in results.devices:
        if doubt := why_wrong(results.findings, device.name):
            yield f"do not trust what follows yet: {doubt}"
        answer, *more = of_device.answer_lines(results, device)
        yield f"{device.name} at {mhz(device.frequency[device.answer])}: {answer}"
        if len(results.devices) <= of_device.MOST_SHOWN:
            yield from (f"  {line}" for line in more)


def finding_lines(findings: Iterable[Finding]) -> list[str]:
    """What was found as a terminal says it: the list of defaults is the page's."""
    return [USUAL if f.code == DEFAULTS.code else str(f) for f in told_once(findings)]


def check_lines(found: Results) -> list[str]:
    """What stands against the readings, what is good, what is still open, and what was read."""
    foremost, asked = (
        finding_lines(f for f in found.findings if f.code == question.code)
        for question in (TYPED_KHZ, NEVER_NEGATIVE)
    )
    loud = finding_lines(f for f in found.findings if f.severity != "note")
    first = "no warnings: go on to the report"
    if loud:
        first = f"warnings: {len(loud)}, look at {'them' if loud[1:] else 'it'} before you go on"
    elif foremost or asked:
        first = "no warnings, but a question: answer it before you go on"
    notes = finding_lines(f for f in found.findings if f.severity == "note")
    notes = [note for note in notes if note not in (*foremost, *asked)]
    files = ((s, s.origin.file if s.origin else "typed") for s in found.sweeps)
    read = grouped((grid_words(s.frequency), f"{s.label} ({file})") for s, file in files)
    sweeps = (f"{grid}: {listed(names, MOST_READ)}" for grid, names in read.items())
    return [first, *foremost, *loud, *asked, *good_lines(found), *notes, *sweeps]


def good_lines(found: Results) -> Iterator[str]:
    """Everything that was looked at and stands the test, in lines; what does not is a finding."""
    if found.record.standards:
        yield from _standards(found, {finding.code for finding in found.findings})
    yield from (f"good: {check_line(check)}" for check in found.checks if check.agrees)
    yield from (f"good: {reread_line(reread)}" for reread in found.rereads if reread.agrees)


def _standards(found: Results, codes: set[str]) -> Iterator[str]:
    """Standards and error terms, as far as nothing stands against them."""
    calibration = found.calibration
    if not codes & {"standards-close", "error-terms"}:
        most = f"at most {np.max(growth(calibration)):.2g} times as large elsewhere on the chart"
        yield f"good: the standards lie well apart: an error in one of them is {most}"
    if not codes & {ERROR_TERMS.code, HALF_TURN.code}:
        terms = error_terms(calibration).items()
        sizes = (f"{name.replace('_', ' ')} up to {np.max(np.abs(t)):.2g}" for name, t in terms)
        sound = "good: the error terms are those of a sound analyzer"
        yield f"{sound}: {', '.join(sizes)} (1 is full reflection)"
    chi_square, freedom = calibration.chi_square()
    if not freedom:
        yield "three standards fix the error terms exactly: only a check can contradict them"
    elif "standards-disagree" not in codes:
        yield (
            f"good: the {len(calibration.names)} standards agree with each other: chi-square up to "
            f"{np.max(chi_square):.2g} with {freedom} degrees of freedom"
        )


def plan_lines(outlook: Outlook) -> Iterator[str]:
    """The plan of a record in a few lines for a terminal."""
    useful = [option.change for planned in outlook.planned for option in _useful(planned)]
    unread = f"'{outlook.unread}' is not read yet; before it is"
    unshown = any(planned.unshown for planned in outlook.planned)
    read = f"all is read, go on to the report{WHICH_SIGN * unshown}; for another time"
    when = unread if outlook.unread else read
    first = f"{useful[0]}: that helps most" if useful else "no change helps much"
    yield f"{outlook.record.title}: {when}, {first}"
    for planned in outlook.planned:
        yield from map(str, (*planned.elsewhere, *planned.unshown))
    yield from (str(f) for f in outlook.findings if f.code not in UNSEEN)
    if unseen := [f"  - {f.message}" for f in outlook.findings if f.code in UNSEEN]:
        yield from ("what could not be noticed, and the reading that would:", *unseen)
    elif not any(planned.unshown for planned in outlook.planned):
        yield "no reading is missing; notebook 02-calibrate tells what none can show"
    for planned in outlook.planned:
        yield from _device(planned)


def _useful(planned: Planned) -> list[Option]:
    """Changes that are worth their trouble, and make neither interval wider, the best first."""
    options = next(iter(planned.plans.values())).options
    wider = (max(float(o.resistance[0]), float(o.reactance[0])) >= NO_WIDER for o in options)
    return [o for o, no in zip(options, wider, strict=True) if o.gain > WORTH and not no]


def _device(planned: Planned) -> Iterator[str]:
    """What to expect of one device."""
    full = ", if all were shown," if planned.unshown else ""
    head = full if full and not planned.shown else ","
    yield f"{planned.name} at {mhz(planned.frequency_hz)}{head} with 95 % intervals:"
    for ohm, found in planned.plans.items():
        answers = planned.shown.get(ohm, (found.figures,))
        yield f"  if it is {_ohm(ohm)}: {', or '.join(map(_answer, answers))}"
        if ohm in planned.shown:
            yield f"    if all were shown: {_answer(found.figures)}"
    for name, why in planned.unknown.items():
        yield f"  '{name}' was taken as short and without loss: {why}"
    ohm, first = next(iter(planned.plans.items()))
    sources = ", of ".join(f"{part} is {source}" for part, source in largest(first.shares, 0))
    yield f"  at {_ohm(ohm)}{full} the largest source of uncertainty of {sources}"
    if useful := _useful(planned)[:TOLD]:
        yield f"  what would help most at {_ohm(ohm)}{full.rstrip(',')}:"
    for option in useful:
        r, x = (float(part[0]) for part in (option.resistance, option.reactance))
        yield f"    - {option.change}: leaves {r:.0%} of R's interval and {x:.0%} of X's"


def _answer(figures: Mapping[str, Figure]) -> str:
    r, x, swr = (figure_words(figures[name], 0) for name in ("resistance", "reactance", "swr"))
    return f"R {r}, X {x}, SWR {swr}"


def _ohm(ohm: complex) -> str:
    reactance = f" {'-' if ohm.imag < 0 else '+'} j{abs(ohm.imag):g}" if ohm.imag else ""
    return f"{ohm.real:g}{reactance} ohm"
