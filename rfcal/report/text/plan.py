"""A plan in words: what to expect of a device, and what would help most."""

from rfcal.planning.plan import Option
from rfcal.record.findings.catalogue.devices import UNSEEN
from rfcal.record.job.plan import Outlook, Planned
from rfcal.report.text.device import largest
from rfcal.uncertainty.derived import Figure
from rfcal.uncertainty.words import mhz, swr_interval, value_words

WORTH = 0.05
"""Part by which the intervals must shrink for a change to be proposed [1]."""
NO_WIDER = 1.005
"""Of an interval so much may be left: 100 % as it is printed [1]."""
TOLD = 3
"""Changes that are proposed."""


def plan_lines(outlook: Outlook) -> list[str]:
    """The plan of a record in a few lines for a terminal."""
    said = [f"{outlook.record.title}: a plan, so nothing below is measured"]
    for planned in outlook.planned:
        said += _device(planned)
    seen = [f for f in outlook.findings if f.code not in UNSEEN]
    said += map(str, seen)
    unseen = [f.message for f in outlook.findings if f.code in UNSEEN]
    if not unseen and any(planned.unshown for planned in outlook.planned):
        return said
    if not unseen:
        return [*said, "no reading is missing; what stays invisible all the same: 02-calibrate"]
    return [*said, "what could not be noticed, and the reading that would:", *map(_item, unseen)]


def _device(planned: Planned) -> list[str]:
    """What to expect of one device."""
    said = [str(finding) for finding in (*planned.elsewhere, *planned.unshown)]
    full = ", if all were shown," if planned.unshown else ""
    head = full if full and not planned.shown else ","
    said.append(f"{planned.name} at {mhz(planned.frequency_hz)}{head} with 95 % intervals:")
    for ohm, found in planned.plans.items():
        answers = planned.shown.get(ohm, (found.figures,))
        said.append(f"  if it is {_ohm(ohm)}: {', or '.join(map(_answer, answers))}")
        if ohm in planned.shown:
            said.append(f"    if all were shown: {_answer(found.figures)}")
    said += [
        f"  '{name}' was taken as short and without loss: {why}"
        for name, why in planned.unknown.items()
    ]
    ohm, first = next(iter(planned.plans.items()))
    sources = ", of ".join(f"{part} is {source}" for part, source in largest(first.shares, 0))
    said.append(f"  at {_ohm(ohm)}{full} the largest source of uncertainty of {sources}")
    useful = [option for option in first.options if _helps(option)][:TOLD]
    more = [f"  what would help most at {_ohm(ohm)}{full.rstrip(',')}:"] if useful else []
    return [*said, *more, *(f"  {_item(_option(option))}" for option in useful)]


def _answer(figures: dict[str, Figure]) -> str:
    r, x, swr = (_ends(figures[name]) for name in ("resistance", "reactance", "swr"))
    return f"R {value_words(*r, least=0.0)} ohm, X {value_words(*x)} ohm, SWR {swr_interval(*swr)}"


def _helps(option: Option) -> bool:
    """Whether a change is worth its trouble, and makes neither interval wider."""
    left = max(float(option.resistance[0]), float(option.reactance[0]))
    return option.gain > WORTH and left < NO_WIDER


def _ohm(ohm: complex) -> str:
    reactance = f" {'-' if ohm.imag < 0 else '+'} j{abs(ohm.imag):g}" if ohm.imag else ""
    return f"{ohm.real:g}{reactance} ohm"


def _ends(figure: Figure) -> tuple[float, float, float]:
    return float(figure.value[0]), float(figure.low[0]), float(figure.high[0])


def _option(option: Option) -> str:
    return (
        f"{option.change}: leaves {float(option.resistance[0]):.0%} of R's interval and "
        f"{float(option.reactance[0]):.0%} of X's"
    )


def _item(text: str) -> str:
    return f"  - {text}"
