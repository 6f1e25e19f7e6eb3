"""Whether what a page or results.json shows follows from the readings that it rests on."""

import json
import re
from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal
from difflib import SequenceMatcher
from html.parser import HTMLParser
from itertools import takewhile
from pathlib import Path
from typing import Any

from rfcal.errors import RecordError
from rfcal.readings.content import require_plain
from rfcal.record.archive import recomputed
from rfcal.record.export import results_json
from rfcal.record.job.compute import compute
from rfcal.record.results import Results
from rfcal.report.page import page

_NUMBER = re.compile(r"-?\d+(?:\.\d+)?(?:e[+-]?\d+)?")
_VERSION = re.compile(r"Computed by (.*?)\.\s*This page carries", re.DOTALL)
_Number = int | Decimal
_HASH = re.compile(r"[0-9a-f]{64}")


@dataclass(frozen=True)
class Verdict:
    """What came of computing a page or results.json again."""

    numbers: int  # how many it shows
    differences: tuple[str, ...]  # each what it says and what the record gives; empty where it fits
    other_versions: str = ""  # what made it, where that is not what checked it

    def lines(self, file: str, most: int = 10) -> list[str]:
        """In words, the first one the verdict."""
        said = [
            f"{file} follows from the record: computed again, all of its {self.numbers} numbers "
            "and every sentence come out as they stand there"
        ]
        if self.differences:
            said = [f"{file} does NOT follow from the record: {len(self.differences)} differ"]
            said += [f"  {text}" for text in self.differences[:most]]
            left = len(self.differences) - most
            said += [f"  and {left} more"] if left > 0 else []
        if self.other_versions:
            said.append(
                f"it was made by {self.other_versions}, which is not what checked it: a last digit "
                "may differ by one, and pictures were not compared"
            )
        return said


def verify(file: Path, record: Path | None = None) -> Verdict:
    """Compute again what a page or results.json shows.

    A page carries its record; results.json rests on that of the page beside it, if none is named.
    """
    if file.suffix.lower() == ".json":
        return _verify_json(file, record or file.parent / "report.html")
    return _verify_page(_text(file), _results(record or file))


def _results(record: Path) -> Results:
    """A record's folder, or the record that a page carries, computed."""
    return compute(record) if record.is_dir() else recomputed(record, compare=False)


def _text(file: Path) -> str:
    try:
        require_plain(file)
        return file.read_text(encoding="utf-8")
    except (OSError, ValueError) as error:
        why = getattr(error, "strerror", None) or str(error)
        raise RecordError(str(file), "", f"cannot be read ({why})") from error


def _verify_page(shown: str, results: Results) -> Verdict:
    fresh = page(results)
    versions = [
        " ".join(found[1].split()) for found in map(_VERSION.search, (shown, fresh)) if found
    ]
    other = versions[0] if len(versions) == 2 and versions[0] != versions[1] else ""
    old, new = _Shown(shown), _Shown(fresh)
    differences = _of_texts(old.texts, new.texts, close=bool(other))
    if not other:
        pairs = zip(old.pictures, new.pictures, strict=False)
        differences += [f"the picture '{a[0]:.60}' was changed" for a, b in pairs if a != b]
        drawn = [re.search(r'id="curves">.*', text) for text in (shown, fresh)]
        if drawn[0] and drawn[1] and drawn[0][0] != drawn[1][0]:
            differences.append("the curves that its slider moves were changed")
        elif not differences and shown != fresh:
            differences.append("the page was changed in what is not text: its style, say")
    numbers = sum(len(_NUMBER.findall(text)) for text in old.texts)
    return Verdict(numbers, tuple(differences), other)


class _Shown(HTMLParser):
    """What a page shows: its pieces of text in order, and its pictures apart."""

    def __init__(self, text: str):
        super().__init__()
        self.texts: list[str] = []
        self.pictures: list[tuple[str, str]] = []
        self.hidden = 0
        source = re.sub(r"<svg\b.*?</svg>", self._picture, text, flags=re.DOTALL)
        self.feed(source)

    def _picture(self, found: re.Match[str]) -> str:
        label = re.search(r'aria-label="([^"]*)"', found[0])
        self.pictures.append((label[1] if label else "", found[0]))
        return ""

    def handle_starttag(self, tag: str, attrs: Any) -> None:
        self.hidden += tag in ("script", "style")

    def handle_endtag(self, tag: str) -> None:
        self.hidden -= tag in ("script", "style")

    def handle_data(self, data: str) -> None:
        said = " ".join(data.split())
        if said and not self.hidden:
            self.texts.append(said)


def _of_texts(old: list[str], new: list[str], *, close: bool) -> list[str]:
    """Where two pages say other things; with `close` a last digit may differ by one."""
    files, said = [], []
    for kind, i, i_end, j, j_end in SequenceMatcher(None, old, new, autojunk=False).get_opcodes():
        if kind == "equal":
            continue
        if i_end - i != j_end - j:
            said.append(_pair(" ".join(old[i:i_end]), " ".join(new[j:j_end])))
            continue
        for at, (a, b) in enumerate(zip(old[i:i_end], new[j:j_end], strict=True), start=i):
            if _HASH.fullmatch(a) and _HASH.fullmatch(b):
                what = old[at - 2] if old[at - 1].isdigit() else "the record"
                files.append(
                    f"{what} inside is not what the page was made from: its SHA-256 differs"
                )
            elif not (a == b or "Computed by" in a or (close and _alike(a, b))):
                said.append(_pair(a, b))
    return files + said


def _pair(one: str, other: str) -> str:
    """What is said and what should be, without the words that begin and end both."""
    words, others = one.split(), other.split()
    start = _alike_first(words, others)
    end = _alike_first(words[start:][::-1], others[start:][::-1])
    context = max(start - 3, 0)
    said = (" ".join(text[context : max(len(text) - end, start)]) for text in (words, others))
    return "it says {}, and the record gives {}".format(
        *(f"'{text:.80}'" if text else "nothing" for text in said)
    )


def _alike_first(one: list[str], other: list[str]) -> int:
    """How many words are the same before the first that is not."""
    return sum(1 for _ in takewhile(lambda pair: pair[0] == pair[1], zip(one, other, strict=False)))


def _alike(one: str, other: str) -> bool:
    """Whether two texts differ in the last digits of their numbers at most."""
    if _NUMBER.sub("#", one) != _NUMBER.sub("#", other):
        return False
    pairs = zip(_NUMBER.findall(one), _NUMBER.findall(other), strict=True)
    return all(_near(Decimal(a), Decimal(b)) for a, b in pairs)


def _near(a: Decimal, b: Decimal) -> bool:
    """Whether two numbers are the same to the digits of both, or one off in the last."""
    last = max(int(v.as_tuple().exponent) for v in (a, b))
    return abs(a - b) <= Decimal(1).scaleb(last)


def _verify_json(file: Path, record: Path) -> Verdict:
    if not record.exists():
        raise RecordError(
            str(file), "", "it carries no readings: name the record's folder, or the page with it"
        )
    try:
        shown = json.loads(_text(file), parse_float=Decimal)
    except (ValueError, RecursionError) as error:
        raise RecordError(str(file), "", "this is no results.json") from error
    fresh = json.loads(b"".join(results_json(_results(record))), parse_float=Decimal)
    if not isinstance(shown, dict) or "software" not in shown:
        raise RecordError(str(file), "", "this is no results.json of rfcal")
    made, here = shown.pop("software"), fresh.pop("software")
    other = "" if made == here else ", ".join(f"{name} {made[name]}" for name in made)
    said, gives = dict(_leaves(shown)), dict(_leaves(fresh))
    differences = []
    for place in said | gives:
        a, b = said.get(place), gives.get(place)
        numbers = [Decimal(value) for value in (a, b) if isinstance(value, _Number)]
        if a != b and not (other and len(numbers) == 2 and _near(*numbers)):
            differences.append(f"{place} is {a!s:.60}, and the record gives {b!s:.60}")
    count = sum(isinstance(value, _Number) for value in said.values())
    return Verdict(count, tuple(differences), other)


def _leaves(tree: Any, place: str = "") -> Iterator[tuple[str, Any]]:
    """The single values of a tree, each with its place."""
    if isinstance(tree, dict):
        for key, branch in tree.items():
            yield from _leaves(branch, f"{place}.{key}".lstrip("."))
    elif isinstance(tree, list):
        for i, branch in enumerate(tree):
            yield from _leaves(branch, f"{place}[{i}]")
    else:
        yield place, tree
