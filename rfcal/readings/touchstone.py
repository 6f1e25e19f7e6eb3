"""Touchstone files of one port or two, as real instruments write them.

scikit-rf reads the format; this module stands before it, takes away what is harmless (stray
first and last lines, ``#`` lines that are no option line, line ends of any kind) and refuses
what scikit-rf would accept in silence or fail on without naming the line.
"""

import io
import math
import re

import numpy as np

from rfcal.errors import ReadingError
from rfcal.maths.reflection import Complex, Real

_DEFAULTS = {"unit": "GHZ", "parameter": "S", "form": "MA", "R": "50"}
_WORDS = {
    **dict.fromkeys(("HZ", "KHZ", "MHZ", "GHZ"), "unit"),
    **dict.fromkeys("SYZGH", "parameter"),
    **dict.fromkeys(("MA", "DB", "RI"), "form"),
}
_COUNT = {1: "three", 2: "nine"}
_KEYWORD = re.compile(r"\[([^\]]*)\]\s*(.*)")
_KEYWORDS = (
    *("version", "number of ports", "two-port data order", "number of frequencies"),
    *("number of noise frequencies", "reference", "matrix format", "mixed-mode order"),
    *("network data", "noise data", "end"),
)
"""Keywords of Touchstone 2.x (source: the Touchstone File Format Specification, version 2.1)."""


def read_touchstone(
    text: str, file: str, *, ports: int = 1
) -> tuple[Real, Complex, float, list[int]]:
    """Frequencies, scattering parameters, reference impedance and lines of a Touchstone file.

    Frequencies (F,) [Hz] in the file's order, parameters (F, ports, ports) [1] in the reference
    [ohm], and the number of the line on which each point stands.
    """
    lines = _clean(text, file)
    if not lines:
        raise ReadingError(file, "the file is empty")
    _require_one_option_line(lines, file)
    rows = _data_rows(lines, file, ports)
    _require_counts(lines, rows, file, ports)
    _require_magnitudes(lines, rows, file)
    frequency, s, z_ref = _parse(lines, file, ports)
    if len(frequency) != len(rows):
        raise ReadingError(file, f"{len(rows)} data lines but {len(frequency)} points were found")
    return frequency, s, z_ref, [number for number, _ in rows]


def _clean(text: str, file: str) -> list[tuple[int, str]]:
    """Lines that mean something, each with its number; comments and stray words are gone."""
    kept: list[tuple[int, str]] = []
    remark = False
    for number, raw in enumerate(re.split(r"\r\n|\n|\r", text.strip("\ufeff\0\x1a")), start=1):
        line = raw.split("!", 1)[0].strip()
        lower = line.lower()
        remark = lower.startswith("[begin information]") or remark
        if remark:
            remark = not lower.startswith("[end information]")
            continue
        if line.startswith("#"):
            line = _option_line(line, file, number)
        if kept and kept[-1][1].lower() == "[reference]":
            kept[-1] = (kept[-1][0], f"{kept[-1][1]} {line}")
        elif line:
            kept.append((number, line))
    first, last = 0, len(kept)
    while first < last and _is_stray(kept[first][1]):
        first += 1
    while last > first and _is_stray(kept[last - 1][1]):
        last -= 1
    return kept[first:last]


def _option_line(line: str, file: str, number: int) -> str:
    """The option line in one order and whole, or nothing where ``#`` starts something else.

    Its parts may stand in any order and case, and any may be missing; ``#`` alone means that
    all have their defaults.
    """
    found: dict[str, str] = {}
    words = iter(line[1:].upper().split())
    for word in words:
        part = "R" if word == "R" else _WORDS.get(word)
        if part is None:
            return ""
        if part in found:
            raise ReadingError(file, f"the option line says '{word}' and '{found[part]}'", number)
        found[part] = next(words, "") if part == "R" else word
    whole = _DEFAULTS | found
    if whole["parameter"] in "GH":
        raise ReadingError(file, "the option line says G or H: one port has S, Z or Y", number)
    if not _is_number(whole["R"]) or not 0 < float(whole["R"]) < float("inf"):
        raise ReadingError(
            file,
            f"the option line's reference impedance, R {whole['R']}, is no number of ohms above 0",
            number,
        )
    return f"# {whole['unit']} {whole['parameter']} {whole['form']} R {whole['R']}"


def _is_number(word: str) -> bool:
    try:
        float(word)
    except ValueError:
        return False
    return "_" not in word


def _is_stray(line: str) -> bool:
    """A single word such as BEGIN or END that some instruments put around the file."""
    return re.fullmatch(r"[A-Za-z_]+", line) is not None and line.lower() not in ("nan", "inf")


def _require_one_option_line(lines: list[tuple[int, str]], file: str) -> None:
    options = [number for number, line in lines if line.startswith("#")]
    if not options:
        raise ReadingError(
            file,
            "there is no option line, so the unit of frequency and the number format would be a "
            "guess: add a line such as '# Hz S RI R 50' before the data",
        )
    if len(options) > 1:
        raise ReadingError(
            file, "a second option line: keep the one that describes the data", options[1]
        )
    data = [number for number, line in lines if line[0] not in "#["]
    if data and data[0] < options[0]:
        raise ReadingError(file, "this stands before the option line ('# ...')", data[0])


def _data_rows(
    lines: list[tuple[int, str]], file: str, ports: int
) -> list[tuple[int, list[float]]]:
    width, port = 1 + 2 * ports**2, "one pair" if ports == 1 else "four pairs"
    rows = []
    for number, line in lines:
        if line[0] in "#[":
            continue
        words = line.split()
        if not all(_is_number(word) for word in words):
            hint = ", with a point for the decimals and spaces between" if "," in line else ""
            raise ReadingError(
                file, f"expected {_COUNT[ports]} numbers{hint}, found '{line[:60]}'", number
            )
        values = [float(word) for word in words]
        if len(values) != width:
            why = (
                " (is this a file of two or more ports?)" if len(values) > width else " (cut off?)"
            )
            raise ReadingError(
                file,
                f"expected a frequency and {port} of numbers, found {len(values)} numbers{why}",
                number,
            )
        if not all(map(math.isfinite, values)):
            raise ReadingError(file, "a value here is not finite (NaN or infinite)", number)
        rows.append((number, values))
    if not rows:
        raise ReadingError(file, "there are no data lines: the sweep is empty")
    return rows


def _require_counts(
    lines: list[tuple[int, str]], rows: list[tuple[int, list[float]]], file: str, ports: int
) -> None:
    """Version 2 says how many ports and points there are: hold it to its word."""
    for number, line in lines:
        match = _KEYWORD.match(line)
        if match is None:
            continue
        keyword, value = match[1].strip().lower(), match[2].strip()
        if keyword not in _KEYWORDS:
            raise ReadingError(file, f"'{line[:60]}' is no keyword of a Touchstone file", number)
        if keyword == "number of ports" and value != str(ports):
            raise ReadingError(
                file, f"a file of {ports} port(s) is wanted, this has {value} ports", number
            )
        if keyword == "number of frequencies" and value != str(len(rows)):
            raise ReadingError(
                file, f"{value} frequencies are announced and {len(rows)} are there", number
            )


def _require_magnitudes(
    lines: list[tuple[int, str]], rows: list[tuple[int, list[float]]], file: str
) -> None:
    """Refuse magnitudes below zero, which are decibels."""
    option = next(line for _, line in lines if line.startswith("#"))
    if " MA " not in option:
        return
    for number, values in rows:
        if min(values[1::2]) < 0:
            raise ReadingError(
                file,
                f"a magnitude of {min(values[1::2]):.6g} is below zero: are the magnitudes in dB? "
                "Then write DB for MA in the option line",
                number,
            )


def _parse(lines: list[tuple[int, str]], file: str, ports: int) -> tuple[Real, Complex, float]:
    from skrf.io.touchstone import Touchstone

    version2 = any(line.startswith("[") for _, line in lines)
    text = "\n".join(line for _, line in lines) + "\n"
    # scikit-rf 2.2 scales version 1 admittances by R where it should divide. Normalised
    # admittance and impedance obey the same map but for the sign, so read it as impedance.
    turned = not version2 and ports == 1 and "HZ Y " in text
    if ports > 1 and "HZ S " not in text:
        raise ReadingError(file, "a two-port file must hold scattering parameters (S)")
    stream = io.StringIO(text.replace("HZ Y ", "HZ Z ") if turned else text)
    stream.name = "reading.ts" if version2 else f"reading.s{ports}p"
    try:
        with np.errstate(all="ignore"):  # what overflows is refused by its size afterwards
            parsed = Touchstone(stream)
            frequency, s = parsed.get_sparameter_arrays()
    except Exception as error:  # scikit-rf raises many kinds; each becomes one sentence
        raise ReadingError(file, f"not a Touchstone file that can be read ({error})") from error
    stated = np.unique(np.ravel(parsed.z0))
    if stated.size > 1:
        raise ReadingError(
            file,
            f"its ports have different reference impedances, {stated[0]:g} and {stated[-1]:g} ohm; "
            "one for all is wanted: convert the file",
        )
    z_ref = complex(stated[0]) if stated.size else complex("nan")
    if z_ref.imag or not 1e-3 <= z_ref.real <= 1e6:
        raise ReadingError(
            file,
            f"the reference impedance is {z_ref:g} ohm; a real one from 0.001 to 1e6 is wanted",
        )
    s = np.asarray(s, complex)
    return np.asarray(frequency, float), -s if turned else s, z_ref.real


def touchstone_text(frequency: Real, reflection: Complex, z_ref: float, about: str) -> str:
    """A sweep [Hz], [1] as a one-port Touchstone file, with one line of comment."""
    rows = np.column_stack([frequency, reflection.real, reflection.imag])
    text = "%r %r %r\n" * len(rows) % tuple(rows.ravel().tolist())
    return f"! {' '.join(about.split())}\n# Hz S RI R {float(z_ref)!r}\n{text}"
