"""A session held against its truth and its honest twin: whether harmful, found and named."""

import re
import sys
import tempfile
import warnings
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from unittest.mock import patch

import numpy as np

from rfcal.errors import RfcalError
from rfcal.findings import Finding
from rfcal.record.job.compute import compute
from tests.benchmarks.campaign.folder import write
from tests.benchmarks.campaign.mistakes import Wrong
from tests.benchmarks.campaign.sessions import Session, truth

MONTE_CARLO = "rfcal.record.job.compute.assess"
SHARE = 0.05
"""Share of the points concerned from which a sweep is harmful that is right where it is quoted."""
MOST_CANDIDATES = 3
"""So many causes or artefacts may be named together."""
SETUP = {
    *("check-blind", "device-hidden", "standards-close"),
    *("line-folded", "line-steps", "line-fault", "match-voltage"),
}
"""Warnings that tell what a sound session cannot say: no alarm, so none is false."""
WORDS = {
    "cable flexed": r"\bcable|\blead\b|flex",
    "drift": r"drift|warming up|has changed since",
    "other plane": r"plane|adapter|offset|delay|\bmm\b",
    "not tight": r"tight|loose|contact",
    "no load": r"not connected|nothing connected|no load|open end|'load'",
    "wrong load value": r"value of the load|resistance_ohm",
    "exchanged: short and open": r"'short' and 'open'|'open' and 'short'",
    "exchanged: load and open": r"'load' and 'open'|'open' and 'load'",
    "same standard twice": r"saved twice|one sweep is no evidence twice|read alike|same standard",
    "device as standard": r"'device'.*'\w| '\w.*'device'",
    "load as check": r"'load'",
    "stale device": r"another session|other error terms|long ago|analyzer that changed",
    "self-corrected": r"own correction|correct(ed|s) itself|correction .*(on|off)",
    "frequency unit": r"\bunit\b|kHz|\bHz as\b|is it [\d.]+ [kM]?Hz",
    "grid shifted": r"same frequencies|shifted|outside|by \d+ steps|at other frequencies than its",
    "sweep order": r"ascend|descend|order|reversed|backwards",
    "reference 75": r"75 ohm|reference impedance",
    "sign lost": r"sign of X|signs? of the reactance|without its sign|\|X\|",
    "conjugated": r"conjugat|sign of X|anticlockwise|sign of the angle",
    "number format": r"decibel|\bdB\b|radian|\blinear\b|format",
    "S21": r"S21|two ports|two or more ports|one-port|S11",
    "interference": r"interfer|stick out|\bpoints? (at|near)|at \d+ of \d+ points|at [\d.]+ MHz",
    "cable type": r"velocity|type of (the )?(cable|line)|of type|another type|wrong type",
    "feet": r"feet|length|m long",
    "loss too high": r"\bloss\b|\blost\b",
    "too much removed": r"length|too much|longer than|m long",
    "few points": r"steps (of|below)|smaller steps|more points",
}
"""Words that tell each mistake; the artefact at fault may be named instead."""
_LIST = re.compile(r"(?:look (?:for|at|whether)|causes?:)(.*?)(?=look (?:for|at|whether)|$)", re.I)


@dataclass
class Outcome:
    """What rfcal made of one session."""

    refused: str = ""
    crashed: str = ""
    findings: tuple[Finding, ...] = ()
    inside: np.ndarray | None = None  # (F, 2): whether the intervals of R and X hold the truth
    frequency: np.ndarray | None = None
    answer: int = 0
    places: tuple[np.ndarray, np.ndarray] | None = None  # of a line: distances [m], reflections
    misplaced: bool = False  # whether one of these is wrong

    def warned(self) -> list[Finding]:
        return [f for f in self.findings if f.severity != "note"]

    def alarms(self) -> list[str]:
        """What an honest session should not raise."""
        if self.refused or self.crashed:
            return ["refused" if self.refused else "crashed"]
        return [f.code for f in self.warned() if f.code not in SETUP]


@dataclass
class Row:
    """One session with a mistake, judged."""

    kind: str
    seed: tuple[int, ...]
    redundancy: str
    how: str
    harmful: bool
    refused: bool
    found: bool
    named: bool
    traceless: bool
    said: list[str] = field(default_factory=list)


def outcome(session: Session) -> Outcome:
    """The session's record, written and computed as a report would.

    Monte Carlo is left out, which is half of the time: no finding and no interval rests on it.
    """
    with tempfile.TemporaryDirectory() as name:
        write(session, Path(name))
        try:
            with warnings.catch_warnings(), patch(MONTE_CARLO, lambda *args, **words: None):
                warnings.simplefilter("error")
                results = compute(name)
        except RfcalError as error:
            return Outcome(refused=str(error))
        except Exception as error:  # a fault of the program, to be mended: counted and shown
            return Outcome(crashed=f"{type(error).__name__}: {error}")
        found = Outcome(findings=results.findings)
        for device in results.devices:
            z = truth(session, device.frequency)
            true, ends = np.stack([z.real, z.imag], -1), device.interval
            found.inside = (ends[..., 0] <= true) & (true <= ends[..., 1])
            found.frequency, found.answer = device.frequency, device.answer
        if results.line is not None:
            found.places = (results.line.now.distance_m, results.line.now.reflection)
        return found


def judge(kind: str, session: Session, wrong: Wrong, mine: Outcome, twin: Outcome) -> Row:
    """A mistake beside its honest twin."""
    before = {(f.code, f.about) for f in twin.findings}
    new = [f for f in mine.findings if (f.code, f.about) not in before]
    if mine.crashed or twin.crashed:
        print(f"crashed at {session.seed}, {kind}: {mine.crashed or twin.crashed}", file=sys.stderr)
    found = bool(mine.refused) or any(f.severity != "note" for f in new)
    texts = [mine.refused] if mine.refused else [f.message for f in new]
    return Row(
        kind=kind,
        seed=session.seed,
        redundancy=session.redundancy,
        how=wrong.how,
        harmful=bool(mine.refused) or harmful(wrong, mine, twin),
        refused=bool(mine.refused),
        found=found,
        named=found and named(kind, wrong.fault, texts),
        traceless=wrong.traceless,
        said=texts,
    )


def harmful(wrong: Wrong, mine: Outcome, twin: Outcome) -> bool:
    """Whether the answer leaves out a truth that the twin's holds, or is of another frequency."""
    if wrong.misplaced or mine.misplaced or mine.crashed:
        return True
    if mine.inside is None or twin.inside is None:
        return False
    lost = np.any(twin.inside & ~mine.inside, axis=1)
    concerned = np.ones(lost.size, bool)
    if wrong.points is not None:
        distance = np.abs(mine.frequency[:, None] - wrong.points).min(axis=1)
        concerned = distance <= 1e-6 * mine.frequency
    return bool(lost[mine.answer]) or bool(np.any(concerned) and lost[concerned].mean() >= SHARE)


def named(kind: str, fault: str, texts: Sequence[str]) -> bool:
    """Whether one sentence names the mistake, or the artefact at fault, beside two more at most."""
    words = re.compile(WORDS[kind], re.IGNORECASE)
    for text in texts:
        for sentence in re.split(r"(?<=[.?!])\s+(?=[A-Z'])", text):
            told = words.search(sentence) or (
                fault not in ("", "device") and f"'{fault}'" in sentence
            )
            if told and candidates(sentence) <= MOST_CANDIDATES:
                return True
    return False


def candidates(sentence: str) -> int:
    """How many causes a sentence lists."""
    count = sentence.count(";") + 1
    for listed in _LIST.findall(sentence):
        causes = re.split(r": |, then |, for |, and [a-z]+ it ", listed)[0]
        count = max(count, len([c for c in re.split(r", | or |; | and ", causes) if c.strip()]))
    return count
