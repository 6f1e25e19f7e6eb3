"""A part in words, and what there is to say about its fit."""

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from rfcal.components.fit import SPARE_POINTS
from rfcal.defaults import CHOKE_OHM
from rfcal.findings import Finding, span_mhz
from rfcal.maths.reflection import Real
from rfcal.record.findings.catalogue import parts as say
from rfcal.record.results import Part
from rfcal.uncertainty.derived import Figure
from rfcal.uncertainty.words import figure_words, mhz, value_words

BLIND = 0.1
"""Of |Z|, from which reflection is called blind to it (common practice, no source)."""
VALUE_NAMES = {
    "capacitance": "capacitance",
    "inductance": "inductance",
    "resistance": "resistance",
    "radiation_resistance": "radiation resistance at resonance",
    "esr": "series resistance (ESR)",
    "esl": "series inductance (ESL)",
    "self_capacitance": "self-capacitance",
    "feed_capacitance": "capacitance across its feed",
    "q": "Q",
    "resonance": "resonance",
    "bandwidth": "bandwidth at half power",
    "self_resonance": "own resonance",
    "loss_power": "loss resistance goes with frequency to the power of",
    "z0": "impedance of the line",
    "delay": "one-way delay",
    "loss": "one-way loss",
}
"""A part's values in words."""
TOLD = {"q": "Q {}", "bandwidth": "bandwidth {}", "resonance": "resonates at {}"}
TOLD |= {name: f"{VALUE_NAMES[name]} {{}}" for name in ("delay", "loss")}
TOLD["self_resonance"] = "resonates with itself at {}"
"""How values stand in the answer that are not told by their name or, the first, by nothing."""
ANSWER = 3
"""Figures of a circuit, the first ones, of which the answer consists."""


def part_words(part: Part) -> str:
    """The answer, such as ``"2.20 µH ± 0.02, Q at least 65 at 10.1 MHz"``."""
    chosen = part.verdict.chosen
    at = mhz(float(part.verdict.sweep.frequency[part.verdict.sweep.answer]))
    if part.verdict.reason == "points":
        return f"{_two_elements(part)} in series at {at}, and no values of a circuit"
    if chosen is None:
        return "no values: none of the circuits holds"
    said: list[str] = []
    wanted = chosen.circuit.figures
    told = [name for name in [*wanted][:ANSWER] if name in part.verdict.figures]
    for name in told or part.verdict.figures:  # whatever is left of a resonator out of sight
        value = value_of(part.verdict.figures[name], lead=not said)
        words = TOLD.get(name, f"{VALUE_NAMES[name]} {{}}" if said else "{}").format(value)
        said.append(words if name != "q" or "resonance" in wanted else f"{words} at {at}")
    return ", ".join(said)


def _two_elements(part: Part) -> str:
    """Resistance and what stores beside it, at the answer's frequency."""
    at = part.verdict.sweep.answer
    coil = part.equivalents["reactance"].value[at] > 0
    stores = part.equivalents["series_inductance" if coil else "series_capacitance"]
    resistance = part.equivalents["resistance"]
    return f"{figure_words(stores, at)} and {figure_words(resistance, at)}"


def value_of(figure: Figure, *, lead: bool = False) -> str:
    """A value in words; the unit of a leading one stands beside its number."""
    value, low, high = (float(v[0]) for v in (figure.value, figure.low, figure.high))
    if figure.unit == "Hz":
        return value_words(value / 1e6, low / 1e6, high / 1e6, "MHz", least=0.0)
    if figure.unit == "s":
        return value_words(value * 1e9, low * 1e9, high * 1e9, "ns", least=0.0)
    if low <= 0 and not value > 0:  # no more than its upper end is known
        value = 0.0
    words = value_words(value, low, high, figure.unit, least=0.0)
    number, sign, rest = words.partition(" ± ")
    half, _, unit = rest.partition(" ")
    return f"{number} {unit} ± {half}" if lead and sign and unit else words


def about_part(part: Part) -> Iterator[Finding]:
    """What there is to say about one part."""
    verdict, name = part.verdict, part.request.measurement
    first, last = (float(f) / 1e6 for f in verdict.sweep.frequency[[0, -1]])
    span = {"name": name, "first_mhz": first, "last_mhz": last}
    if verdict.chosen is None:
        yield _refused(part, span)
    else:
        if verdict.unseen_resonance:
            yield say.PART_RESONANCE(**span)
        if verdict.rivals:
            rivals = " or ".join(map(article, verdict.rivals))
            yield say.PART_RIVALS(name=name, model=article(verdict.chosen.name), rivals=rivals)
        if verdict.scatter > 1:
            yield say.PART_SCATTER(name=name, times=verdict.scatter)
    if choke_band(part) is not None:
        yield say.PART_HEAT(name=name)
    yield from _blind(part)


def choke_band(part: Part) -> tuple[float, float] | None:
    """The band [Hz] in which a part in series between ports holds back as a choke should."""
    if part.request.method != "series-through" or part.verdict.reason == "fixture":
        return None
    surely = part.equivalents["impedance_magnitude"].low >= CHOKE_OHM
    return widest(part.verdict.sweep.frequency, surely)


def widest(frequency: Real, where: NDArray[np.bool_]) -> tuple[float, float] | None:
    """The widest band [Hz] without a gap, by the ratio of its ends; None without any."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], where, [False]]).astype(int)))
    bands = [(float(frequency[a]), float(frequency[b - 1])) for a, b in edges.reshape(-1, 2)]
    return max(bands, key=lambda band: band[1] / band[0], default=None)


def article(model: str) -> str:
    """A circuit's name with its article."""
    return f"{'an' if model[0] in 'aeiou' else 'a'} {model}"


def _refused(part: Part, span: dict[str, object]) -> Finding:
    verdict, name = part.verdict, span["name"]
    if verdict.reason == "points":
        points = verdict.sweep.frequency.size
        return say.PART_POINTS(name=name, points=points, needed=3 + SPARE_POINTS)
    if verdict.reason == "fixture":
        assert part.fixture is not None
        at = verdict.sweep.answer
        megahertz = float(verdict.sweep.frequency[at]) / 1e6
        return say.PART_FIXTURE(name=name, mhz=megahertz, percent=100 * part.fixture.share[at])
    if verdict.reason == "outside":
        return say.PART_OUTSIDE(**span)
    nearest = min(verdict.fits, key=lambda f: f.chi_square)
    if verdict.reason == "negative":
        nearest = min((f for f in verdict.fits if f.describes), key=lambda f: f.criterion)
        least = int(np.argmin(nearest.lowest()))
        return say.PART_NEGATIVE(name=name, parameter=nearest.circuit.parameters[least])
    return say.PART_MISFIT(
        name=name,
        model=article(nearest.name),
        size=float(np.sqrt(np.mean(np.abs(nearest.left) ** 2))),
        expected=float(np.sqrt(np.mean(2 * verdict.sweep.reflection.variance()))),
    )


def _blind(part: Part) -> Iterator[Finding]:
    """Where |Z| is too large or too small for how it was measured."""
    size, sweep = part.equivalents["impedance_magnitude"], part.verdict.sweep
    half = np.maximum(size.high - size.value, size.value - size.low)
    with np.errstate(invalid="ignore"):
        blind, low = ~(half <= BLIND * size.value), size.value < sweep.z_ref
    both = part.request.between_ports
    cases = (blind & low & (not both), blind & ~low & (not both), blind & both)
    of: dict[str, object] = {"name": part.request.measurement, "percent": 100 * BLIND}
    for points, cure in zip(cases, say.BLIND_CURES, strict=True):
        if np.any(points):
            yield say.PART_BLIND(**of, where=span_mhz(sweep.frequency, points), cure=cure)
