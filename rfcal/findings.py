"""What rfcal has to say about a record besides the answer: data that every face shows."""

import math
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Any, TypeVar

Key = TypeVar("Key")
SEVERITIES = ("error", "warning", "note")
FOREMOST = ("frequency-unit", "typed-khz", "standards-corrected")
"""Codes of what may leave every answer idle: told before all answers."""
FOLLOWS = ("active",)
"""Codes of what other warnings may explain: told behind them."""
MOST_ALIKE = 3
"""Findings that differ in names and numbers alone, of more of which one is told for all."""
_VARIES = re.compile(r"'[^']*'|[-+]?\d[\d,.]*(e[-+]?\d+)?")


@dataclass(frozen=True)
class Finding:
    """One remark about a record."""

    code: str  # short name of the kind of remark, stable across versions
    severity: str  # one of SEVERITIES
    about: str  # the standard, check, measurement or table it is about
    message: str  # what was seen and what to do

    def __str__(self) -> str:
        return f"{self.severity}: {self.message}"


def sorted_findings(findings: Iterable[Finding]) -> tuple[Finding, ...]:
    """Warnings before notes, what may explain others first, each once, else in the same order."""

    def place(f: Finding) -> tuple[int, bool, bool]:
        return SEVERITIES.index(f.severity), f.code not in FOREMOST, f.code in FOLLOWS

    return tuple(sorted(dict.fromkeys(findings), key=place))


def told_once(findings: Iterable[Finding]) -> list[Finding]:
    """Findings as a reader meets them: what is alike of very many things once, with their names."""
    told = []
    for first, *others in grouped((_alike(finding), finding) for finding in findings).values():
        if len(others) < MOST_ALIKE:
            told += [first, *others]
        else:
            names = [*dict.fromkeys(finding.about for finding in others)]
            whom = quoted(names) if len(names) > 1 else f"{len(others):,} more"
            more = f"The same holds for {whom}, with other numbers."
            told.append(replace(first, message=f"{first.message} {more}"))
    return told


def _alike(finding: Finding) -> tuple[str, str]:
    """The same of findings that differ in names and numbers alone."""
    return finding.code, _VARIES.sub("", finding.message.replace(finding.about, ""))


def grouped(pairs: Iterable[tuple[Key, Any]]) -> dict[Key, list[Any]]:
    """What belongs to each key, in order."""
    found: dict[Key, list[Any]] = {}
    for key, one in pairs:
        found.setdefault(key, []).append(one)
    return found


def span_mhz(frequency, where) -> str:
    """Words for the points [Hz] where something holds: ``"at 12 of 201 points from 69 to 70 MHz"``.

    At least one point of the mask must be true.
    """
    chosen = frequency[where]
    if chosen.size == 1:
        return f"at {chosen[0] / 1e6:.6g} MHz"
    span = f"from {chosen[0] / 1e6:.6g} to {chosen[-1] / 1e6:.6g} MHz"
    at = f"at {chosen.size} of {frequency.size} points "
    return f"{at if chosen.size < frequency.size else ''}{span}"


def grid_words(frequency) -> str:
    """A grid of frequencies [Hz] in words, such as ``"201 points from 69 to 72 MHz"``."""
    if frequency.size == 1:
        return f"one point at {frequency[0] / 1e6:.10g} MHz"
    first, last = frequency[0] / 1e6, frequency[-1] / 1e6
    return f"{frequency.size} points from {first:.10g} to {last:.10g} MHz"


def swr_words(ratio: float) -> str:
    """A SWR in words, with three digits, and none above 100."""
    return f"{ratio:#.3g}" if ratio < 99.95 else "above 100"


def size_words(reflection: float) -> str:
    """A reflection [1] with its return loss, as in ``0.034 (29 dB return loss)``."""
    if reflection <= 0:
        return "0"
    db = max(0.0, -20 * math.log10(reflection))  # more than all is of the loss made good
    return f"{min(reflection, 1.0):.2g} ({db:.0f} dB return loss)"


def listed(texts: Sequence[str], most: int = 4, last: str = "and") -> str:
    """Texts in words; of more than so many the first ones, empty of none."""
    told = list(texts if len(texts) <= most else texts[: most - 1])
    told += [f"{len(texts) - most + 1:,} more"] if len(texts) > most else []
    return f" {last} ".join(filter(None, (", ".join(told[:-1]), *told[-1:])))


def quoted(names: Iterable[str]) -> str:
    """Names in words, as `listed`, each once."""
    return listed([f"'{name}'" for name in dict.fromkeys(names)])
