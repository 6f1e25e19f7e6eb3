"""Touchstone files of one port or two, as real instruments write them.

What is harmless is passed over (stray first and last lines, ``#`` lines that are no option line,
line ends of any kind); what would be a guess is refused, with its line.
"""

import math
import re
from collections.abc import Iterator, Sequence

import numpy as np

from rfcal.errors import ReadingError
from rfcal.maths.arguments import LEAST_OHM, MOST_OHM
from rfcal.maths.reflection import Complex, Real
from rfcal.readings.rows import MOST_POINTS, Say, in_form, numeric_table, silent, text_lines

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


class _Head:
    """What stands before the data: options, and keywords of version 2 in small letters."""

    def __init__(self, file: str, ports: int):
        self.file, self.ports = file, ports
        self.said: dict[str, tuple[str, int]] = {}  # each with its line

    def value(self, name: str, without: str = "") -> str:
        """What is said of something, or what stands in where nothing is."""
        return self.said.get(name, (without, 0))[0]

    @property
    def z_ref(self) -> float:
        """Reference impedance of all ports [ohm]."""
        said, line = self.said.get("reference") or self.said["R"]
        words, found = said.split(), _as_numbers(said)
        its = f"the reference impedance is '{said}' ohm; a real one"
        if several := len(set(words)) > 1:
            both = " and ".join(words)
            its = f"its ports have different reference impedances, {both} ohm; one for all"
        if several or not found or not LEAST_OHM <= found[0] <= MOST_OHM:
            wanted = f"from {LEAST_OHM:g} to {MOST_OHM:g} is wanted: convert the file"
            raise self.refused(f"{its} {wanted}", line)
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
    numbers, lines = numeric_table(_points(head, text), file, most, say)
    wanted, line = head.said.get("number of frequencies", (str(len(lines)), 0))
    if wanted != str(len(lines)):
        raise head.refused(f"{wanted} frequencies are announced and {len(lines)} are there", line)
    value = in_form(head.value("form"), numbers[:, 1:], file, lines)
    return numbers[:, 0], _scattering(head, value), head.z_ref, lines


def _points(head: _Head, text: str) -> Iterator[tuple[int, list[float]]]:
    """The numbers of each point with their line; what stands before goes into the head."""
    stray: tuple[int, str] | None = None
    ports = head.ports
    for number, line in _meaningful(text):
        if _STRAY.fullmatch(line):  # before the file and behind it
            stray = (number, line) if head.said else None
            continue
        if stray:
            _numbers(head, *stray)  # which refuses it
        if line[0] == "#":
            _take_options(head, line, number)
        elif line[0] == "[":
            _take_keyword(head, line, number)
        elif [*head.said][-1:] == ["reference"] and len(head.value("reference").split()) < ports:
            said, at = head.said["reference"]
            head.said["reference"] = f"{said} {line}", at  # the other port's
        elif "R" not in head.said:
            raise head.refused(_NO_OPTIONS, number)
        else:
            yield number, _numbers(head, number, line)
    if "R" not in head.said:
        raise head.refused(_NO_OPTIONS if head.said else "the file is empty")


def _meaningful(text: str) -> Iterator[tuple[int, str]]:
    """Lines that mean something, each with its number; comments and information are gone."""
    remark = False
    for number, raw in text_lines(text.strip("\ufeff\0\x1a")):
        line = raw.partition("!")[0].strip()
        lower = line[:20].lower()
        begins = remark or lower.startswith("[begin information]")
        remark = begins and not lower.startswith("[end information]")
        if line and not begins:
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
    if "R" in head.said:
        raise head.refused("a second option line: keep the one that describes the data", number)
    head.said |= {part: (value, number) for part, value in (_DEFAULTS | found).items()}
    if head.value("parameter") in "GH":
        raise head.refused("the option line says G or H: one port has S, Z or Y", number)
    if head.ports > 1 and head.value("parameter") != "S":
        raise head.refused("a two-port file must hold scattering parameters (S)", number)


def _take_keyword(head: _Head, line: str, number: int) -> None:
    """A keyword of version 2, held to its word."""
    match = _KEYWORD.match(" ".join(line.lower().split()))
    keyword, value = (match[1].strip(), match[2].strip()) if match else ("", "")
    head.said[keyword] = value, number
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
    values, count = _as_numbers(line), 1 + 2 * head.ports**2
    if len(values) != count or not all(map(math.isfinite, values)):
        hint = ": cut off?" if 0 < len(values) < count else ""
        if len(values) > count:
            hint = ": a file of two ports has a name that ends in .s2p, and its S11 is read"
        wanted = (
            f"expected {('three', 'nine')[head.ports - 1]} numbers, none of them NaN or infinite"
        )
        how = f"with a point for the decimals and spaces between, found '{line[:60]}'"
        raise head.refused(f"{wanted}, {how}{hint}", number)
    values[0] *= UNITS_HZ[head.value("unit")]
    return values


def _scattering(head: _Head, value: Complex) -> Complex:
    """Scattering parameters (F, ports, ports) [1] of the values of a file."""
    parameter = head.value("parameter")
    if parameter != "S":
        # version 2 says ohms and siemens; before, they were in units of the reference
        unit = head.z_ref if head.value("version", "1") >= "2" else 1.0
        with np.errstate(all="ignore"):
            # S = (z - 1) / (z + 1) = (1 - y) / (1 + y)
            value = 1 - 2 / (value / unit + 1) if parameter == "Z" else 2 / (value * unit + 1) - 1
    square = value.reshape(-1, head.ports, head.ports)
    # two ports: 11 21 12 22, unless version 2 says otherwise (one number is its own transpose)
    turned = head.value("two-port data order") == "12_21"
    return square if turned else square.transpose(0, 2, 1)


def touchstone_text(frequency: Real, reflection: Complex, z_ref: float, about: str) -> str:
    """A sweep [Hz], [1] as a one-port Touchstone file, with one line of comment."""
    rows = np.column_stack([frequency, reflection.real, reflection.imag])
    text = "%r %r %r\n" * len(rows) % tuple(rows.ravel().tolist())
    return f"! {' '.join(about.split())}\n# Hz S RI R {float(z_ref)!r}\n{text}"
