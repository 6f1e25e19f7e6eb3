"""Whether what a page or results.json shows follows from the readings that it rests on."""

import json
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from decimal import Decimal
from difflib import SequenceMatcher
from html import unescape
from itertools import takewhile
from pathlib import Path
from typing import Any

from rfcal.errors import RecordError
from rfcal.readings.content import require_plain
from rfcal.record.archive import recomputed
from rfcal.record.export import results_json
from rfcal.record.json_text import MOST_DIGITS, NO_UNCERTAINTY, parsed
from rfcal.record.results import Results
from rfcal.report.page import page

_NUMBER = re.compile(r"-?\d+(?:\.\d+)?(?:[eE][+-]?\d{1,3})?")
_MADE = re.compile(r"Computed by ([\w-]+ [\w.+]+(?:, [\w-]+ [\w.+]+)*)\.\n")
_MARKUP = re.compile(r"<svg\b.*?</svg>|<(script|style)\b.*?</\1>|<!--.*?-->|<[^>]*>", re.DOTALL)
_CURVES = '<script type="application/json" id="curves">'
"""What holds the numbers that the page's script draws."""
_HASH = re.compile(r"[0-9a-f]{64}")
LEFT = Decimal("1e-15")
"""What arithmetic leaves of zero at most."""
MOST = 10
"""Differences that are told one by one."""


@dataclass(frozen=True)
class Verification:
    """What came of computing a page or results.json again."""

    numbers: int  # how many it shows
    differences: tuple[str, ...]  # each what it says and what the record gives; empty where it fits
    other_versions: str = ""  # what made it, where that is not what checked it
    drawn: bool = True  # whether pictures were compared

    def lines(self, file: str) -> Iterator[str]:
        """In words, the first one the verdict."""
        found = self.differences
        if found:
            yield f"{file} does NOT follow from the record: {len(found)} differ"
        else:
            all_of_it = f"computed again, all of its {self.numbers} numbers and every sentence"
            yield f"{file} follows from the record: {all_of_it} come out as they stand there"
        yield from (f"  {text}" for text in found[:MOST])
        if found[MOST:]:
            yield f"  and {len(found) - MOST} more"
        if self.other_versions:
            pictures = "" if self.drawn else ", and pictures were not compared"
            made = f"it was made by {self.other_versions}, which is not what checked it"
            yield f"{made}: a last digit may differ by one{pictures}"


def verify_file(file: Path, record: Path | None = None) -> Verification:
    """Compute again what a page or results.json shows.

    Of a folder, its page. A page carries its record; results.json rests on that of the page beside
    it, if none is named.
    """
    file = file / "report.html" if file.is_dir() else file
    if file.suffix.lower() == ".json":
        return _verify_json(file, record or file.parent / "report.html")
    return _verify_page(_text(file), recomputed(record or file))


def _text(file: Path) -> str:
    try:
        require_plain(file)
        return file.read_text(encoding="utf-8")
    except (OSError, ValueError) as error:
        why = getattr(error, "strerror", None) or str(error)
        raise RecordError(str(file), "", f"cannot be read ({why})") from error


def _verify_page(shown: str, results: Results) -> Verification:
    fresh, here = page(results), results.software
    made = here
    for found in [*_MADE.finditer(shown)][-1:]:  # that it was something else is no difference
        made = dict(pair.split(" ") for pair in found[1].split(", "))
        shown = shown[: found.start(1)] + _software(here) + shown[found.end(1) :]
    old, new = _Content(shown), _Content(fresh)
    close, drawn = made != here, made.get("matplotlib") == here["matplotlib"]
    differences = _of_texts(old.texts, new.texts, close=close)
    differences += [
        f"the picture '{a[0]:.60}' was changed"
        for a, b in zip(old.pictures, new.pictures, strict=False)
        if drawn and not _alike(a[1], b[1], close=close)
    ]
    if not _alike(old.curves, new.curves, close=close):
        differences.append("the curves that its slider moves were changed")
    if not differences and (old.rest != new.rest or not (close or shown == fresh)):
        differences.append("the page was changed in what is not text: its style, say")
    numbers = len(_NUMBER.findall(" ".join(old.texts)))
    return Verification(numbers, tuple(differences), _software(made) if close else "", drawn)


def _software(versions: Mapping[str, str]) -> str:
    return ", ".join(f"{name} {version}" for name, version in versions.items())


class _Content:
    """What a page shows: its pieces of text in order, and all that they stand in apart."""

    def __init__(self, page: str):
        pieces = [found[0] for found in _MARKUP.finditer(page)]
        self.pictures = [(_label(p), p) for p in pieces if p.startswith("<svg")]
        self.curves = "".join(p for p in pieces if p.startswith(_CURVES))
        self.rest = [p for p in pieces if not p.startswith(("<svg", _CURVES))]
        said = _MARKUP.sub(lambda found: f"\0{_label(found[0])}\0", page).split("\0")
        self.texts = [" ".join(unescape(text).split()) for text in said if text.strip()]


def _label(piece: str) -> str:
    """The words of a picture; nothing of other markup."""
    found = re.search(r'aria-label="([^"]*)"', piece) if piece.startswith("<svg") else None
    return found[1] if found else ""


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
                why = "is not what the page was made from: its SHA-256 differs"
                files.append(f"{what} inside {why}")
            elif not _alike(a, b, close=close):
                said.append(_pair(a, b))
    return files + said


def _pair(one: str, other: str) -> str:
    """What is said and what should be, without the words that begin and end both."""
    texts = [one.split(), other.split()]
    start = _alike_first(*texts)
    end = _alike_first(*(words[start:][::-1] for words in texts))
    said = (" ".join(words[max(start - 3, 0) : len(words) - end]) for words in texts)
    told = (f"'{text:.80}'" if text else "nothing" for text in said)
    return "it says {}, and the record gives {}".format(*told)


def _alike_first(one: list[str], other: list[str]) -> int:
    """How many words are the same before the first that is not."""
    return sum(1 for _ in takewhile(lambda pair: pair[0] == pair[1], zip(one, other, strict=False)))


def _alike(one: str, other: str, *, close: bool) -> bool:
    """Whether two texts are the same; with `close` the last digits of numbers may be one off."""
    if one == other or not close or _NUMBER.sub("#", one) != _NUMBER.sub("#", other):
        return one == other
    pairs = zip(*(map(Decimal, _NUMBER.findall(text)) for text in (one, other)), strict=True)
    coarser = ((a, b, max(int(v.as_tuple().exponent) for v in (a, b))) for a, b in pairs)
    return all(abs(a - b) <= Decimal(1).scaleb(places) for a, b, places in coarser)


def _verify_json(file: Path, record: Path) -> Verification:
    if not record.exists():
        why = "it carries no readings: name the record's folder, or the page with it"
        raise RecordError(str(file), "", why)
    shown = parsed(_text(file), file, "this is no results.json", parse_float=Decimal)
    fresh = json.loads(b"".join(results_json(recomputed(record))), parse_float=Decimal)
    said, gives = dict(_leaves(shown)), dict(_leaves(fresh))
    versions = [place for place in gives if place[0] == "software"]
    if not any(place in said for place in versions):
        raise RecordError(str(file), "", "this is no results.json of rfcal")
    other = [place for place in versions if said.get(place) != gives[place]]
    differences = []
    at = {place: place if place in gives else _said_once(place, gives) for place in said}
    for place in dict.fromkeys((*said, *(gives.keys() - {*at.values()}))):
        a, b = said.get(place), gives.get(at.get(place, place))
        alike = a == b or _rounded(a, b) or _alike(str(a), str(b), close=bool(other))
        if place not in other and not alike:
            name = "".join(f".{key}" if isinstance(key, str) else f"[{key}]" for key in place)
            differences.append(f"{name[1:]} is {a!s:.60}, and the record gives {b!s:.60}")
    count = sum(isinstance(value, int | Decimal) for value in said.values())
    made = _software({str(place[1]): f"{said.get(place)!s:.30}" for place in versions})
    return Verification(count, tuple(differences), made if other else "")


_Place = tuple[str | int, ...]


def _said_once(place: _Place, gives: Mapping[_Place, Any]) -> _Place:
    """Where a value of a list stands that is said once now, as all of its values are the same."""
    shorter = (place[:k] + place[k + 1 :] for k, at in enumerate(place) if isinstance(at, int))
    return next((there for there in shorter if there in gives), place)


def _rounded(shown: Any, given: Any) -> bool:
    """Whether a number has more digits than are given, of which those say nothing else."""
    if not (isinstance(shown, Decimal) and isinstance(given, int | Decimal)):
        return False
    if not given:
        return abs(shown) < LEFT
    return any(Decimal(f"{shown:.{n}g}") == given for n in range(NO_UNCERTAINTY, MOST_DIGITS))


def _leaves(tree: Any, place: _Place = ()) -> Iterator[tuple[_Place, Any]]:
    """The single values of a tree, and what is empty in it, each with its place."""
    branches = dict(enumerate(tree)) if isinstance(tree, list) else tree
    if isinstance(branches, dict) and branches:
        for key, branch in branches.items():
            yield from _leaves(branch, (*place, key))
    else:
        yield place, tree
