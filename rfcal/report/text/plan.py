"""A plan in words: what to expect of a device, and what would help most."""

from rfcal.planning.plan import Option
from rfcal.record.findings.catalogue.devices import UNSEEN
from rfcal.record.job.plan import Outlook, Planned
from rfcal.report.text.device import largest
from rfcal.uncertainty.derived import Figure
from rfcal.uncertainty.words import figure_words, mhz

WORTH = 0.05
"""Part by which the intervals must shrink for a change to be proposed [1]."""
NO_WIDER = 1.005
"""Of an interval so much may be left: 100 % as it is printed [1]."""
TOLD = 3
"""Changes that are proposed."""


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
    return [
        option
        for option in next(iter(planned.plans.values())).options
        if option.gain > WORTH
        and max(float(option.resistance[0]), float(option.reactance[0])) < NO_WIDER
    ]


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


def _answer(figures: dict[str, Figure]) -> str:
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
