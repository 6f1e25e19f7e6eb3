"""A corrected measurement in words: the answer, how it reads in other ways, how sure it is."""

import math
from collections.abc import Iterator, Mapping

import numpy as np

from rfcal import defaults
from rfcal.maths.reflection import Complex, Real
from rfcal.record.findings.catalogue.readings import SAME_DISAGREES
from rfcal.record.findings.devices import why_wrong
from rfcal.record.format.schema import Artefact
from rfcal.record.job.displays import UNDISPLAYED
from rfcal.record.results import Check, Device, RereadCheck, Results
from rfcal.uncertainty.derived import Figure
from rfcal.uncertainty.words import (
    WHOLE,
    Answer,
    complex_ohm,
    figure_words,
    plus_minus,
    value_words,
)

TWO_ELEMENTS = {
    "series_inductance": "L in series with R",
    "series_capacitance": "C in series with R",
    "parallel_resistance": "R in parallel",
    "parallel_inductance": "L in parallel with it",
    "parallel_capacitance": "C in parallel with it",
}
FIGURE_NAMES = {
    **{"impedance_magnitude": "|Z|", "swr": "SWR", "return_loss": "return loss"},
    **{name: f"as {words}" for name, words in TWO_ELEMENTS.items()},
    "q": "Q",
}
"""Figures on the page, in this order; a coil is not named a negative capacitor, nor the reverse."""
MOST_SHOWN = 50
"""Devices of a record that are told of at length; where there are more, each has a line."""
TOLD_SHARE = 0.005
"""Of a variance, from which a source has a line."""
SOUND = 0.85
"""Share of a check's points inside the 95 % region from which it agrees without a remark."""
R_X_UNKNOWN = "R and X are unknown"


def answers(device: Device) -> list[Answer]:
    """The answer at the frequency asked for, and where nothing tells which, what it may be too."""
    both = [device, device.other if device.two_answers[device.answer] else None]
    return [one.at(device.frequency[device.answer]) for one in both if one is not None]


def answer_lines(results: Results, device: Device) -> list[str]:
    """R and X at the frequency asked for, and what belongs to them, in lines."""
    told, at, again = answers(device), device.answer, read_again(results).items()
    ohms = [f"R {one.resistance}, X {one.reactance}" for one in told]
    ohm = R_X_UNKNOWN if ohms == ["R unknown, X unknown"] else ", or ".join(ohms)
    swr = f"SWR {', or '.join(dict.fromkeys(str(one.swr) for one in told))}"
    each = "" if ohm == R_X_UNKNOWN else ", each to 95 %"
    raw = _raw_words(device)
    sources = "; ".join(f"{part}: {source}" for part, source in largest(device.budget, at))
    lines = (
        ohm,
        f"{swr}{each}{f'; the raw reading was {raw}' if raw else ''}",
        "nothing that was read tells which" if len(told) > 1 else "",
        *(f"'{name}' is another reading of it" for name, of in again if of == device.name),
        path_words(device),
        f"largest source of uncertainty of {sources}",
    )
    return [line for line in lines if line]


def untrusted(results: Results, device: Device) -> str:
    """Why what is drawn or saved of a device is not to be trusted; empty where it is."""
    unknown = answer_lines(results, device)[0] == R_X_UNKNOWN
    return why_wrong(results.findings, device.name) or R_X_UNKNOWN * unknown


def read_again(results: Results) -> dict[str, str]:
    """Second readings of a device, by their names, and of which measurement each is one."""
    other = {f.about for f in results.findings if f.code == SAME_DISAGREES.code}
    found: dict[str, str] = {}
    for item in results.record.measurements:
        if item.same_as and item.name not in other and item.same_as not in found:
            found[item.name] = item.same_as
    return found


def largest(budget: Mapping[str, Real], at: int) -> Iterator[tuple[str, str]]:
    """The source of most of the variance of R, and of X, at one point, with its share."""
    for axis, part in enumerate("RX"):
        source = max(budget, key=lambda name: budget[name][at, axis], default="")
        share = budget[source][at, axis] if source else 0.0
        yield part, f"{source} ({share:.0%})" if share > 0 else "none is stated"


def _raw_words(device: Device) -> str:
    """What was read, to three digits; nothing where a display left some of it open."""
    if any(e.source == UNDISPLAYED for e in device.raw.effects):
        return ""
    raw = device.raw.quantity(device.z_ref).value[device.answer]
    ohm = (1 + raw) / (1 - raw) * device.z_ref if raw != 1 else complex(math.inf)
    return complex_ohm(ohm, np.full(2, abs(ohm) / 10))


UNSEEN_DB = 0.0005
"""A loss below this [dB] is none that a sentence is needed for."""


def path_words(device: Device) -> str:
    """What the path that was removed does to power, or nothing."""
    if device.path_loss is None:
        return ""
    loss = float(device.path_loss.loss_db[device.answer])
    half = float(device.path_loss.expanded_uncertainty_db[device.answer])
    if not (math.isfinite(loss) and math.isfinite(half)):
        return "the path's loss cannot be told"
    if loss + half < UNSEEN_DB:
        return ""
    if loss < half:
        return f"the path loses less than {loss + half:.1g} dB"
    arrives = f"{10 ** (-loss / 10):.0%} of the power arrives"
    return f"the path loses {plus_minus(loss, half)} dB: {arrives}"


def definition(item: Artefact) -> str:
    """What a standard or check artefact is said to be: every value that is not the ideal's."""
    if item.model is None:
        return f"known, from {item.definition}"
    model = item.model
    said = [
        f"{model.resistance:g} ohm" if model.kind == "load" else "",
        _coefficients(model.inductance, "H"),
        _coefficients(model.capacitance, "F"),
        f"offset {model.offset_delay * 1e12:g} ps" if model.offset_delay else "",
        f"{model.offset_loss / 1e9:g} Gohm/s" if model.offset_loss else "",
        f"{model.offset_z0:g} ohm line" if model.offset_z0 != defaults.LOAD_OHM else "",
    ]
    return ", ".join([model.kind, *filter(None, said)])


def _coefficients(values, unit: str) -> str:
    """A constant with its unit, and a word where it changes with frequency."""
    if not any(values):
        return ""
    first = value_words(values[0], values[0], values[0], unit)
    return first + (" (polynomial)" if any(values[1:]) else "")


def off_by(off: Complex, said: str = "up to {}") -> str:
    """The largest difference of reflections [1] in words."""
    size = float(np.max(np.abs(off)))
    share = said.format(f"{100 * size:.2g} % of full reflection")
    return f"off by {share if size < WHOLE else 'full reflection or more'}"


def check_line(check: Check) -> str:
    """One sentence about a check artefact."""
    off = check.measured.value - check.expected.value
    share, verdict = check.inside.mean(), "agrees" if check.agrees else "DOES NOT AGREE"
    where, counted, more = "inside" if share else "outside", share or 1, ""
    if check.agrees and share < SOUND:
        verdict, where, counted = "agrees only just", "outside", 1 - share
        more = ", as one sound check in twenty or so is"
    elif not check.agrees and share == 1:
        more = ", but turned over its band as no one length is"
    at = f" at {counted:.0%} of its points" if check.frequency.size > 1 else ""
    how_far = f"{off_by(off)}, {where} the 95 % region{at}{more}"
    return f"check '{check.name}' {verdict}: {how_far}"


def reread_line(reread: RereadCheck) -> str:
    """One sentence about what was read again."""
    off = reread.moved.change.value
    verdict = "stayed where it was" if reread.agrees else "HAS MOVED"
    how_far = off_by(off) if np.any(off) else "the same to the last digit"
    if reread.moved.at_least:
        how_far = off_by(off, "{} or more") if np.any(off) else "the display shows the same"
    return f"'{reread.moved.of}', read again, {verdict}: {how_far}"


def figure_rows(device: Device) -> list[tuple[str, str]]:
    """What is read off the reflection at the answer's frequency, with 95 % intervals.

    Where two answers remain it is read off both.
    """
    at, other = device.answer, device.other
    both = [device, other] if other is not None and device.two_answers[at] else [device]
    told = [(one, dict(rows_of(one.figures, FIGURE_NAMES, at))) for one in both]
    rows = []
    for name in FIGURE_NAMES.values():
        if having := [(one, said[name]) for one, said in told if name in said]:
            words = ", or ".join(dict.fromkeys(said for _, said in having))
            side = "above" if having[0][0].impedance.value[at].imag > 0 else "below"
            rows.append((name, words + f", if X is {side} zero" * (len(having) < len(both))))
    return rows


def rows_of(
    figures: Mapping[str, Figure], names: Mapping[str, str], at: int
) -> Iterator[tuple[str, str]]:
    """Some figures at one point, by their names in words."""
    for key, name in names.items():
        figure, reactive = figures[key], key.endswith(("inductance", "capacitance"))
        if reactive and np.isinf([figure.low[at], figure.high[at]]).all():
            yield name, "unknown: it may be a coil or a capacitor, or neither"
        elif figure.value[at] > 0 or not reactive:
            yield name, figure_words(figure, at)


def budget_rows(device: Device) -> list[tuple[str, str, str]]:
    """Shares of the sources in the variances of R and of X, the largest first."""
    shares = ((source, *share[device.answer]) for source, share in device.budget.items())
    ranked = sorted(shares, key=lambda row: -max(row[1:]))
    return [(name, f"{r:.1%}", f"{x:.1%}") for name, r, x in ranked if max(r, x) >= TOLD_SHARE]


def method_words(device: Device) -> str:
    """Whether Monte Carlo upholds the linear answer."""
    assessed, points = device.assessed, device.frequency.size
    if assessed is None:
        return "Monte Carlo was not asked."
    asked, upheld = assessed.index.size, int(assessed.linear.all(axis=1).sum())
    bent = f"{asked} of the {points} points, that of the answer and those where most is bent"
    where, at, restless = "every point" if asked == points else bent, "all of them", ""
    if upheld < asked:
        at = f"{upheld or 'none'} of them; believe the intervals, which hold everywhere"
    if not assessed.settled.all():
        restless = f" At {1 - float(assessed.settled.mean()):.0%} of the points they did not come "
        restless += "to rest, so the verdict there may go either way."
    draws = "to".join(f" {n} " for n in sorted({assessed.draws.min(), assessed.draws.max()}))
    asked_at = f"Monte Carlo was asked at {where}, and upholds linear propagation at {at}"
    return f"{asked_at}, by{draws}draws.{restless}"
