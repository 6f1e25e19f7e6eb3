"""A part in words: its answer, and the table of its values."""

from collections.abc import Iterator

from rfcal.defaults import CHOKE_OHM
from rfcal.record.findings.components import VALUE_NAMES as VALUES
from rfcal.record.findings.components import article, choke_band, part_words, value_of
from rfcal.record.results import Part
from rfcal.report.text.device import FIGURE_NAMES, TWO_ELEMENTS, rows_of
from rfcal.uncertainty.words import figure_words, mhz

EQUIVALENTS = {
    "resistance": "R in series (ESR)",
    **TWO_ELEMENTS,
    "q": FIGURE_NAMES["q"],
    "dissipation_factor": "dissipation factor",
}
"""Equivalents at one frequency, in this order."""


def part_lines(part: Part) -> list[str]:
    """A part in lines for a terminal."""
    first = f"{part.request.measurement}{part_kind(part)}: {part_words(part)}"
    return [first, *(f"  {said}" for said in besides(part))]


def besides(part: Part) -> Iterator[str]:
    """How it was measured, what its fixture had added, and where it holds back as a choke."""
    at = part.verdict.sweep.answer
    where = mhz(float(part.verdict.sweep.frequency[at]))
    if part.request.between_ports:
        names = ("impedance_magnitude", "resistance")
        size, resistance = (figure_words(part.equivalents[name], at) for name in names)
        how = f"measured {part.request.method} between two ports"
        yield f"|Z| {size} and R {resistance} at {where}, {how}"
    if part.fixture is not None:
        had = f"the fixture had added {100 * part.fixture.share[at]:.2g} % of |Z| at {where}"
        nanohenry, picofarad = 1e9 * part.fixture.series_h, 1e12 * part.fixture.across_f
        yield f"{had}: it has {nanohenry:.2g} nH in series and {picofarad:.2g} pF across"
    if band := choke_band(part):
        low, high = (f"{f / 1e6:.3g}" for f in band)
        enough = f"|Z| is surely above {CHOKE_OHM:g} ohm, as a common-mode choke wants"
        yield f"{enough}, from {low} to {high} MHz"


def part_kind(part: Part) -> str:
    """What part it is, and at which temperature, in words that follow its name."""
    chosen, warm = part.verdict.chosen, part.request.temperature_c
    # a coil named coil needs no second word
    told = chosen and chosen.name not in part.request.measurement.lower()
    kind = f", {article(chosen.name)}" if chosen and told else ""
    return kind + ("" if warm is None else f", at {warm:g} °C")


def value_rows(part: Part) -> list[tuple[str, str]]:
    """All values of the fitted circuit."""
    return [(VALUES[name], value_of(figure)) for name, figure in part.verdict.figures.items()]


def equivalent_rows(part: Part) -> tuple[str, list[tuple[str, str]]]:
    """Equivalents at the answer's frequency, and that frequency."""
    sweep = part.verdict.sweep
    rows = [*rows_of(part.equivalents, EQUIVALENTS, sweep.answer)]
    return mhz(float(sweep.frequency[sweep.answer])), rows
