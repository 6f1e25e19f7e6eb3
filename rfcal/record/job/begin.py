"""How a record begins: of readings typed off a display one by one, or of a folder of sweeps."""

import json
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal
from itertools import permutations
from pathlib import Path

import numpy as np

from rfcal import defaults
from rfcal.errors import ArgumentError, CalibrationError, ReadingError, RecordError
from rfcal.findings import grid_words
from rfcal.maths.bilinear import Bilinear
from rfcal.maths.reflection import from_impedance
from rfcal.models.interpolation import KNOTS, reaches, same_grid
from rfcal.readings.csv import AS_FOUND, Layout
from rfcal.readings.display import Display
from rfcal.readings.rows import Say, silent
from rfcal.readings.sweep import Sweep, read_guessed
from rfcal.record.archive import require_portable
from rfcal.record.findings.case import KHZ_HZ
from rfcal.record.format import schema
from rfcal.record.format.keys import FILE
from rfcal.record.format.reading import step_of
from rfcal.record.format.start import begun_record, item_rows
from rfcal.record.job.compute import compute, inspect
from rfcal.record.results import Results

IDEAL = {"short": -1.0, "open": 1.0, "load": 0.0}
"""What each standard reflects [1], near enough to tell them apart."""
WORDS = {
    "short": {"short", "shorted", "sc"},
    "open": {"open", "opened", "oc"},
    "load": {"load", "match", "term", "termination"},
}
"""Words in a file's name that say what it is of."""
AGAIN = {"again", "reread"}
"""Words in the name of a standard's file that say it was read once more at the end."""
NEAR = 0.05
"""Largest distance of two sweeps [1] that may be of one standard."""
_OHM = re.compile(
    r"(?<![\d.])(?P<ohm>\d+(?:\.\d+)?) ?(?:ohms?|r)(?![a-z0-9])"
    r"|(?:check|resistor) ?(?P<bare>[1-9]\d{1,2}(?:\.\d+)?)(?![a-z0-9.])",
    re.IGNORECASE,
)
"""Ohms in a file's name: with their unit, or behind what it is; a single digit there may count."""
NO_CHECK = (
    "no check was found: a resistor's sweep is taken for one by ohms in the name of its file, such "
    "as check-82-ohm.s1p"
)
LOADS_OHM = (45.0, 55.0)
"""A resistor between these is taken for the load."""
MOST = 8
"""Sweeps that are tried as standards: those nearest to the edge and to the centre of the chart."""
CLEAR = 3.0
"""How many times worse the next best reading of the looks must be, to be sure of the best."""
LARGEST = 200
"""Files of one folder."""

NO_SIGN, SIZES = "R and X without its sign", "|Z| and SWR"
SHOWS = {"R and X": ("R", "X"), NO_SIGN: ("R", "|X|"), SIZES: ("|Z|", "SWR")}
"""What a display may show of a reading, and the two numbers that are typed of it."""
TO_READ = ("short", "open", "load", "check", "device", "short again")
"""What is asked to be read, in this order."""
DIALOG_STEPS = (
    *("frequency", "shows", "short", "open", "load ohm", "load"),
    *("check ohm", "check", "name", "device", "short again"),
)
"""All that is asked for, in this order: resistances by ohmmeter, before what has them."""
ABOVE_ZERO = {"frequency": "MHz", "load ohm": "ohms", "check ohm": "ohms"}
"""Answers that are numbers, and of what."""
FAR = 0.5
"""How far from that size [1] a standard is not what it is called, or not connected."""


Said = Mapping[str, str]
"""What was answered, by its step."""


def typed_pair(cells: str, shows: str) -> tuple[str, str]:
    """The two numbers of a reading as TOML has them, each with the digits that were typed."""
    found = [_number(cell) for cell in _cells(cells, signed=shows == "R and X")]
    if len(found) != 2 or not all(found):
        raise ArgumentError(
            f"two numbers, {' and '.join(SHOWS[shows])}, are expected, found '{cells:.40}': type "
            "them with a space between; what is beyond the display is > with the largest number "
            "that it can show, such as >999 for either sign"
        )
    return found[0], found[1]


def _cells(text: str, *, signed: bool) -> list[str]:
    """The numbers of a line as texts: apart by a space, or R+jX where X has a sign."""
    said = re.sub(r"\s*ohms?\b|\s*ω", "", text.strip().casefold())
    said = re.sub(r"> +", ">", said)
    size = r"(\d[\d.,]*)"
    both = re.fullmatch(rf"([+-]?{size})\s*([+-])\s*(?:j\s*{size}|{size}\s*j)", said)
    if both and signed:
        return [both[1], both[3] + (both[4] or both[5])]
    return re.split(r"\s*(?:,\s|\s,|[;\s])\s*", said) if said else []


def _number(cell: str) -> str:
    """A number as TOML has it, with the digits that were typed; empty where it is none."""
    said = cell.strip().replace(",", ".").removeprefix("+")
    if re.fullmatch(r">\d+(\.\d*)?", said):
        return json.dumps(said)
    # without leading zeros, and with digits on both sides of the point
    return f"{Decimal(said):f}" if re.fullmatch(r"-?(\d+(\.\d*)?|\.\d+)", said) else ""


def toml_answer(step: str, text: str) -> str:
    """An answer, a frequency or resistance as TOML has it."""
    if step not in ABOVE_ZERO:
        return text
    said = _number(re.sub(r"\s*(ohms?|ω|mhz)$", "", text.strip().casefold()))
    if not said or said.startswith(('"', "-")) or not float(said):
        what = ABOVE_ZERO[step]
        raise ArgumentError(f"expected a number of {what} above zero, found '{text:.20}'")
    return said


def record_text(said: Said, title: str, on: date | None = None) -> str:
    """The text of a record of the readings so far, with a comment for each key."""
    tables = (_table(kind, said) for kind in TO_READ if said.get(kind))
    return begun_record(title, tables, f"date = {on}\n" if on else "")


def _table(kind: str, said: Said) -> str:
    """One reading as a table of a record."""
    first, second = typed_pair(said[kind], said["shows"])
    frequency, ohm = toml_answer("frequency", said["frequency"]), said.get(f"{kind} ohm", "")
    typed = f"typed = [[{frequency}, {first}, {second}]]\n"
    if said["shows"] == SIZES:
        typed = f"typed_z_ohm = [[{frequency}, {first}]]\ntyped_swr = [[{frequency}, {second}]]\n"
    typed += 'x_sign = "unknown"\n' * (said["shows"] == NO_SIGN)
    ohm = ohm and toml_answer(f"{kind} ohm", ohm)
    known = f"resistance_ohm = {ohm}\n" if ohm else ""
    name = f"{ohm} ohm" if kind == "check" else said.get("name") or "device"
    return item_rows("reread" if kind == "short again" else kind, known + typed, name)


def computed(said: Said) -> Results | None:
    """What they come to so far: the answer with a device, the calibration without; None before."""
    if not all(said.get(kind) for kind in IDEAL):
        return None
    # ahead of the device there is a record without one
    record = schema.parse(Path(), record_text(said, "typed").encode(), ahead=True)
    return compute(record) if said.get("device") else inspect(record)


def reflection(kind: str, said: Said) -> complex | None:
    """The raw reflection [1] of one reading; None where the display leaves more than one."""
    first, second = typed_pair(said[kind], said["shows"])
    if said["shows"] != "R and X" or '"' in first + second:
        return None
    return complex(from_impedance(complex(float(first), float(second)), defaults.REFERENCE_OHM))


def doubt(step: str, said: Said) -> str:
    """Why an answer looks wrong by itself; nothing where it looks as it should."""
    if step in TO_READ:
        return _judged(step, said)
    value = float(toml_answer(step, said[step])) if step in ABOVE_ZERO else 0.0
    low, high = defaults.CHECK_OHM
    if step == "frequency" and value * 1e6 >= KHZ_HZ:
        unit, right = ("kHz", value / 1e3) if value < 1e6 else ("Hz", value / 1e6)
        return f"{value:.10g} MHz is very high: if it was read in {unit}, it is {right:.10g} MHz"
    if step == "check ohm" and not low <= value <= high:
        return f"{value:g} ohm is not within {low:g} to {high:g}: such a check says little"
    return ""


def _judged(kind: str, said: Said) -> str:
    """What one reading says by itself: nothing where it looks like what it is called."""
    cells = typed_pair(said[kind], said["shows"])
    if said["shows"] == SIZES and '"' not in "".join(cells):  # what nothing has together is refused
        steps = step_of(cells[:1]), step_of(cells[1:], -1)
        z, swr = ([(1.0, float(cell))] for cell in cells)
        Display(kind, defaults.REFERENCE_OHM, f"the {kind}", steps).sizes(z, swr)
    seen = reflection(kind, said)
    usual = abs(IDEAL.get(kind, np.nan))  # which a raw reading comes near
    if seen is None or not abs(abs(seen) - usual) > FAR:
        return ""
    off = f"it reflects {abs(seen):.2f} of what arrives, {'an' if kind == 'open' else 'a'} {kind}"
    return f"{off} about {usual:g}: is it connected, and are the numbers right?"


@dataclass(frozen=True)
class Guess:
    """What one file seems to be, and how sure that is."""

    sweep: Sweep
    kind: str  # of `IDEAL`, or "check", "device" or "reread"
    why: str  # in words
    ohm: float | None = None  # of a resistor, by the file's name
    of: str = ""  # the standard that was read again
    layout: Layout = AS_FOUND  # as what its columns were taken

    def table(self) -> str:
        """What a starting record says of it."""
        reading = f"reading = {json.dumps(f'raw/{self.sweep.label}')}  # {self.why}"
        if columns := self.layout.columns:
            pairs = (f"{k} = {json.dumps(v, ensure_ascii=False)}" for k, v in columns.items())
            reading += f"\ncolumns = {{{', '.join(pairs)}}}  # by its header's words: make sure"
        known = f"resistance_ohm = {self.ohm:g}\n" if self.kind == "check" else ""
        build = "build\n" if self.kind in IDEAL else "# build\n" * (self.kind == "check")
        said = f"{known}{build}{reading}\n"
        return item_rows(self.kind, said, Path(self.sweep.label).stem, self.of)


def sorted_out(folder: Path, say: Say = silent) -> list[Guess]:
    """What each sweep of a folder seems to be: three standards, checks, devices, rereads.

    What is left out is said.
    """
    layouts, main = _sweeps(folder, say)
    sweeps = [s for s in main if not _words(s.label) & AGAIN]
    named = {kind: [s for s in sweeps if _named(s.label) == kind] for kind in IDEAL}
    (best, score), *others = _looks(sweeps)
    by_name = tuple(
        look if look in found else found[0] if len(found) == 1 else None
        for look, found in zip(best, named.values(), strict=True)
    )
    clear = not others or others[0][1] > CLEAR * score
    chosen = tuple(n or b for n, b in zip(by_name, best, strict=True))
    if len({s.label for s in chosen}) < len(chosen):  # a name against a look: the look decides
        chosen = best
    standards = dict(zip(IDEAL, chosen, strict=True))
    found = [
        Guess(sweep, kind, _why(sweep, kind, name, look, clear, len(named[kind])))
        for (kind, sweep), name, look in zip(standards.items(), by_name, best, strict=True)
    ]
    left = [_other(sweep, standards) for sweep in layouts if sweep not in chosen]
    guesses = found + sorted(left, key=lambda guess: guess.kind)
    if all(guess.kind != "check" for guess in guesses):
        say(NO_CHECK)
    return [replace(guess, layout=layouts[guess.sweep]) for guess in guesses]


def _other(sweep: Sweep, standards: dict[str, Sweep]) -> Guess:
    """What a sweep is that is not one of the three standards."""
    named, ohm = _named(sweep.label), _resistance(sweep.label)
    if named and _words(sweep.label) & AGAIN:
        return Guess(sweep, "reread", "by its name", of=named)
    for kind in ("short", "open"):  # a device may well look like the load
        same = same_grid(sweep.frequency, standards[kind].frequency)
        if same and np.max(np.abs(sweep.reflection - standards[kind].reflection)) < NEAR:
            return Guess(sweep, "reread", f"it reads as the {kind} does (NOT SURE)", of=kind)
    if ohm is None:
        return Guess(sweep, "device", "what is left")
    return Guess(sweep, "check", "by its name", ohm)


def _sweeps(folder: Path, say: Say) -> tuple[dict[Sweep, Layout], list[Sweep]]:
    """The sweeps with their columns where these were guessed, and those of the grid of most files.

    One at other frequencies counts where they lie within those of most.
    """
    if not folder.is_dir():
        raise RecordError(str(folder), "", "there is no such folder to read sweeps from")
    files = sorted(p.name for p in folder.iterdir() if p.suffix.lower() in (".s1p", ".csv"))
    if len(files) > LARGEST:
        why = f"it holds {len(files)} sweeps, more than {LARGEST}: leave those of one job in it"
        raise RecordError(str(folder), "", why)
    layouts: dict[Sweep, Layout] = {}
    left_out = []
    for name in files:
        try:
            layouts.update([read_guessed(folder, name, label=name)])
        except ReadingError as error:
            left_out.append(f"left out: {error}")
    alike = ([s for s in layouts if same_grid(s.frequency, one.frequency)] for one in layouts)
    largest = max(alike, key=len, default=[])
    grid = largest[0].frequency if largest else np.zeros(0)
    taken = {
        sweep: layout
        for sweep, layout in layouts.items()
        if sweep in largest
        or (grid.size >= KNOTS and all(reaches(grid, end) for end in sweep.frequency[[0, -1]]))
    }
    if len(largest) < 3 or len(taken) < 4:
        at = f" ({len(largest)} have {grid_words(grid)})" if largest else ""
        found = f"it holds {len(files)} sweep{'s' * (len(files) != 1)} (.s1p or .csv){at}"
        needed = "short, open, load and a device, read at the same frequencies, are needed"
        raise RecordError(str(folder), "", "; ".join([found, needed, *left_out[:1]]))
    for sweep in layouts.keys() - taken.keys():
        found, wanted = grid_words(sweep.frequency), grid_words(grid)
        left_out.append(f"left out: {sweep.label}, which has {found}, not within {wanted}")
    for said in sorted(left_out):
        say(said)
    return taken, largest


def _named(file: str) -> str:
    """The standard that a file's name speaks of, if one."""
    kinds = [kind for kind, own in WORDS.items() if _words(file) & own]
    like_load = LOADS_OHM[0] <= (_resistance(file) or 0.0) <= LOADS_OHM[1]
    told = kinds or ["load"] * like_load
    return told[0] if len(told) == 1 else ""


def _words(file: str) -> set[str]:
    return set(re.split(r"[^a-z0-9]+", Path(file).stem.lower()))


def _resistance(file: str) -> float | None:
    found = _OHM.search(Path(file).stem.replace("_", " ").replace("-", " "))
    return float(found["ohm"] or found["bare"]) if found else None


def _looks(sweeps: Sequence[Sweep]) -> list[tuple[tuple[Sweep, ...], float]]:
    """Triples as short, open and load, that of the likeliest analyzer first."""
    size = [float(np.median(np.abs(s.reflection))) for s in sweeps]
    order = sorted(range(len(sweeps)), key=lambda i: abs(size[i] - 0.5), reverse=True)[:MOST]
    tried = []
    for triple in permutations([sweeps[i] for i in order], 3):
        try:
            box = Bilinear.fit(list(IDEAL.values()), [s.reflection for s in triple])
        except CalibrationError:
            continue
        tried.append((triple, _unlikely(box, triple[0].frequency)))
    if not tried:
        raise CalibrationError("no three of the sweeps differ at every frequency: none can be told")
    return sorted(tried, key=lambda item: item[1])


def _unlikely(box: Bilinear, frequency: np.ndarray) -> float:
    """How far an analyzer is from an ideal one with a cable in front of it."""
    tracking = box.reflection_tracking
    terms = [box.directivity, box.source_match, np.maximum(np.abs(tracking) - 1, 0)]
    far = float(np.sqrt(sum(np.mean(np.abs(term) ** 2) for term in terms)))
    # open and short exchanged turn the tracking's sign: its phase, led back to zero frequency
    phase = np.unwrap(np.angle(tracking))
    at_zero = np.polynomial.Polynomial.fit(frequency, phase, min(1, frequency.size - 1))(0.0)
    turned = abs(np.angle(np.exp(1j * at_zero))) / np.pi
    return far + turned + 0.01


def _why(sweep: Sweep, kind: str, name: Sweep | None, look: Sweep, clear: bool, alike: int) -> str:
    """How sure a standard is."""
    if name is sweep and look is sweep:
        several = f"; {alike} are named so: make sure" if alike > 1 else ""
        return f"by its name and by how it reflects{several}"
    if name is sweep:
        return f"by its name only: by how it reflects, '{look.label}' looks more like the {kind}"
    against = f", though '{name.label}' is named so" if name else ""
    sure = "clearly" if clear else "NOT SURE"
    return f"by how it reflects ({sure}){against}"


def record_of(guesses: Sequence[Guess], title: str) -> dict[str, bytes]:
    """A starting record of them, by relative path: its text, and the readings as they are."""
    text = begun_record(title, (guess.table() for guess in guesses))
    readings = {f"raw/{g.sweep.label}": g.sweep.origin for g in guesses}
    require_portable(readings, FILE, ": rename it first")
    return {FILE: text.encode()} | {name: one.content for name, one in readings.items() if one}
