"""Touchstone files of one port or two, as real instruments write them.

What is harmless is passed over (stray first and last lines, ``#`` lines that are no option line,
line ends of any kind); what would be a guess is refused, with its line.
"""

import math
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

import numpy as np

from rfcal.errors import ReadingError
from rfcal.maths.arguments import LEAST_OHM, MOST_OHM
from rfcal.maths.reflection import Complex, Real
from rfcal.readings.rows import MOST_POINTS, Say, in_form, silent, table, text_lines

UNITS_HZ = {"HZ": 1.0, "KHZ": 1e3, "MHZ": 1e6, "GHZ": 1e9}
_DEFAULTS = {"unit": "GHZ", "parameter": "S", "form": "MA", "R": "50"}
_WORDS = {
    **dict.fromkeys(UNITS_HZ, "unit"),
    **dict.fromkeys("SYZGH", "parameter"),
    **dict.fromkeys(("MA", "DB", "RI"), "form"),
    "R": "R",
}
_STRAY = re.compile(r"(?!nan$|inf$)[a-z][a-z_]*", re.IGNORECASE)
"""A single word such as BEGIN or END that some instruments put around the file."""
_KEYWORD = re.compile(r"\[([^\]]*)\]\s*(.*)")
_KEYWORDS = (
    *("version", "number of ports", "two-port data order", "number of frequencies"),
    *("number of noise frequencies", "reference", "matrix format", "mixed-mode order"),
    *("network data", "noise data", "end"),
)
"""Keywords of Touchstone 2.x (source: the Touchstone File Format Specification, version 2.1)."""


_NO_OPTIONS = (
    "no option line stands before this, so the unit of frequency and the number format would be a "
    "guess: move it up, or add one such as '# Hz S RI R 50'"
)


@dataclass
class _Head:
    """What stands before the data: the option line, and the keywords of version 2."""

    file: str
    ports: int
    options: dict[str, str] = field(default_factory=dict)
    keywords: dict[str, str] = field(default_factory=dict)  # in small letters
    lines: dict[str, int] = field(default_factory=dict)  # on which each of them stands

    @property
    def references(self) -> list[str]:
        """Reference impedance of each port, as far as it is there."""
        return self.keywords.get("reference", self.options.get("R", "")).split()

    @property
    def z_ref(self) -> float:
        """Reference impedance of all ports [ohm]."""
        words, line = self.references, self.lines.get("reference", self.lines["#"])
        if len(set(words)) > 1:
            raise self.refused(
                f"its ports have different reference impedances, {' and '.join(words)} ohm; one "
                "for all is wanted: convert the file",
                line,
            )
        found = _as_numbers("".join(words[:1]))
        if not found or not LEAST_OHM <= found[0] <= MOST_OHM:
            raise self.refused(
                f"the reference impedance is '{''.join(words)}' ohm; a real one from "
                f"{LEAST_OHM:g} to {MOST_OHM:g} is wanted",
                line,
            )
        return found[0]

    def refused(self, why: str, line: int | None = None) -> ReadingError:
        """The error for what stands on a line."""
        return ReadingError(self.file, why, line)


def read_touchstone(
    text: str, file: str, *, ports: int = 1, most: int = MOST_POINTS, say: Say = silent
) -> tuple[Real, Complex, float, Sequence[int]]:
    """Frequencies, scattering parameters, reference impedance and lines of a Touchstone file.

    Frequencies (F,) [Hz], parameters (F, ports, ports) [1] in the reference [ohm], and the number
    of the line on which each point stands.
    """
    head = _Head(file, ports)
    numbers, lines = table(_points(head, text), file, most, say)
    wanted = head.keywords.get("number of frequencies", str(len(lines)))
    if wanted != str(len(lines)):
        why = f"{wanted} frequencies are announced and {len(lines)} are there"
        raise head.refused(why, head.lines["number of frequencies"])
    return numbers[:, 0], _scattering(head, numbers[:, 1:]), head.z_ref, lines


def _points(head: _Head, text: str) -> Iterator[tuple[int, list[float]]]:
    """The numbers of each point with their line; what stands before goes into the head."""
    stray: tuple[int, str] | None = None
    for number, line in _meaningful(text):
        if _STRAY.fullmatch(line):  # before the file and behind it
            stray = (number, line) if head.lines else None
            continue
        if stray:
            _numbers(head, *stray)  # which refuses it
        if line[0] == "#":
            _take_options(head, line, number)
        elif line[0] == "[":
            _take_keyword(head, line, number)
        elif list(head.keywords)[-1:] == ["reference"] and len(head.references) < head.ports:
            head.keywords["reference"] += f" {line}"  # the other port's
        elif not head.options:
            raise head.refused(_NO_OPTIONS, number)
        else:
            yield number, _numbers(head, number, line)
    if not head.lines:
        raise head.refused("the file is empty")
    if not head.options:
        raise head.refused(_NO_OPTIONS)


def _meaningful(text: str) -> Iterator[tuple[int, str]]:
    """Lines that mean something, each with its number; comments and information are gone."""
    remark = False
    for number, raw in text_lines(text.strip("\ufeff\0\x1a")):
        line = raw.partition("!")[0].strip()
        if line.startswith("[") or remark:
            lower = line.lower()
            remark = remark or lower.startswith("[begin information]")
            if remark:
                remark = not lower.startswith("[end information]")
                continue
        if line:
            yield number, line


def _take_options(head: _Head, line: str, number: int) -> None:
    """The option line, if this is one: its parts in any order and case, any of them missing."""
    words = iter(line[1:].upper().split())
    said = [(_WORDS.get(word, ""), next(words, "") if word == "R" else word) for word in words]
    if not all(part for part, _ in said):
        return
    found: dict[str, str] = {}
    for part, value in said:
        if part in found:
            raise head.refused(f"the option line says '{found[part]}' and '{value}'", number)
        found[part] = value
    if head.options:
        raise head.refused("a second option line: keep the one that describes the data", number)
    head.options = _DEFAULTS | found
    head.lines["#"] = number
    parameter = head.options["parameter"]
    if parameter in "GH":
        raise head.refused("the option line says G or H: one port has S, Z or Y", number)
    if head.ports > 1 and parameter != "S":
        raise head.refused("a two-port file must hold scattering parameters (S)", number)


def _take_keyword(head: _Head, line: str, number: int) -> None:
    """A keyword of version 2, held to its word."""
    match = _KEYWORD.match(" ".join(line.split()))
    keyword, value = (match[1].strip().lower(), match[2].strip().lower()) if match else ("", "")
    head.keywords[keyword], head.lines[keyword] = value, number
    wrong = ""
    if keyword not in _KEYWORDS:
        wrong = f"'{line[:60]}' is no keyword of a Touchstone file"
    elif keyword == "number of ports" and value != str(head.ports):
        wrong = f"a file of {head.ports} port(s) is wanted, this has '{value}' ports"
    elif keyword == "mixed-mode order":
        wrong = "its parameters are of mixed modes, and those of plain ports are wanted: convert it"
    elif keyword == "matrix format" and head.ports > 1 and value != "full":
        wrong = f"the matrix is '{value}', and a full one is wanted: convert the file"
    elif keyword == "two-port data order" and value not in ("12_21", "21_12"):
        wrong = f"the data order is '{value}', neither 12_21 nor 21_12"
    if wrong:
        raise head.refused(wrong, number)


def _as_numbers(text: str) -> list[float]:
    """The numbers of a line; none where it holds something else."""
    try:
        return [] if "_" in text else [float(word) for word in text.split()]
    except ValueError:
        return []


def _numbers(head: _Head, number: int, line: str) -> list[float]:
    """The frequency [Hz] and the numbers of one point."""
    values = _as_numbers(line)
    if not values:
        hint = ", with a point for the decimals and spaces between" if "," in line else ""
        count = {1: "three", 2: "nine"}[head.ports]
        raise head.refused(f"expected {count} numbers{hint}, found '{line[:60]}'", number)
    if len(values) != 1 + 2 * head.ports**2:
        port = "one pair" if head.ports == 1 else "four pairs"
        why = "cut off?"
        if len(values) > 1 + 2 * head.ports**2:
            why = "a file of two ports has a name that ends in .s2p, and its S11 is read"
        raise head.refused(
            f"expected a frequency and {port} of numbers, found {len(values)} numbers ({why})",
            number,
        )
    if not all(map(math.isfinite, values)):
        raise head.refused("a value here is not finite (NaN or infinite)", number)
    if head.options["form"] == "MA" and min(values[1::2]) < 0:
        raise head.refused(
            f"a magnitude of {min(values[1::2]):.6g} is below zero: are the magnitudes in dB? "
            "Then write DB for MA in the option line",
            number,
        )
    values[0] *= UNITS_HZ[head.options["unit"]]
    return values


def _scattering(head: _Head, numbers: Real) -> Complex:
    """Scattering parameters (F, ports, ports) [1] of the columns of a file."""
    value, parameter = in_form(head.options["form"], numbers), head.options["parameter"]
    if parameter != "S":
        # version 2 says ohms and siemens; before, they were in units of the reference
        unit = head.z_ref if head.keywords.get("version", "1") >= "2" else 1.0
        with np.errstate(all="ignore"):
            # S = (z - 1) / (z + 1) = (1 - y) / (1 + y)
            value = 1 - 2 / (value / unit + 1) if parameter == "Z" else 2 / (value * unit + 1) - 1
    square = value.reshape(-1, head.ports, head.ports)
    # two ports: 11 21 12 22, unless version 2 says otherwise (one number is its own transpose)
    turned = head.keywords.get("two-port data order") == "12_21"
    return square if turned else square.transpose(0, 2, 1)


def touchstone_text(frequency: Real, reflection: Complex, z_ref: float, about: str) -> str:
    """A sweep [Hz], [1] as a one-port Touchstone file, with one line of comment."""
    rows = np.column_stack([frequency, reflection.real, reflection.imag])
    text = "%r %r %r\n" * len(rows) % tuple(rows.ravel().tolist())
    return f"! {' '.join(about.split())}\n# Hz S RI R {float(z_ref)!r}\n{text}"
