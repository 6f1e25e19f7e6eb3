"""Slips that would make standards and checks agree, and what would tell of each."""

from collections.abc import Sequence
from dataclasses import dataclass

from rfcal.findings import quoted


@dataclass(frozen=True)
class SlipKind:
    """One kind of slip: what is said of it, and what would tell."""

    sentence: str
    tells: str = "read one more standard of another value"
    seldom: float = 0.0  # how much more seldom it is met than exchanged files and wrong values

    def said(self, names: Sequence[str], **words: object) -> str:
        """What is said of artefacts, or of the line before one."""
        first = dict(zip(("name", "other"), names, strict=False))
        return self.sentence.format(**first, names=quoted(names), **words)


SUSPECTS = "All would agree if {several}.{left}"
OR_IF = "; or if "
NOTHING_TELLS = " Nothing here tells which."
DECIDE = " To tell, {how}."
BY_OHMMETER = "measure {names} with an ohmmeter"
BY_READING = "read {names} once more, connected with care"
BY_BUILD = "read one of another build in place of {names}"
BY_WRITING = "look first at the minus signs and columns of what was written of {names}"
BY_UNIT = "look at what is stated of {names} and its unit, F or H"
BY_TAPE = "measure the line before {names} and read its type off it"
BY_SETTINGS = "look at the settings that the files were written with"
BY_PLACE = "look what was connected where"
LIKELIEST = " Nothing here tells which. These are the likeliest of {count} that explain it."
EXCHANGED = SlipKind("'{name}' and '{other}' were exchanged", BY_READING)
OTHER = SlipKind("'{name}' were really {ohm} at {mhz:.6g} MHz, as the others make it")
CORRECTED = SlipKind("'{name}' was read with the instrument's own correction on", BY_READING)
TWICE = SlipKind("'{other}' was really '{name}', read under both names", BY_READING)
VALUE = SlipKind("'{name}' were {size:.3g} ohm", BY_OHMMETER)
TENFOLD = SlipKind("'{name}' were {size:.3g} ohm, with its decimal point elsewhere", BY_OHMMETER)
THOUSANDTH = SlipKind(
    "'{name}' had a thousandth of its stated capacitance or inductance, as of a wrong unit", BY_UNIT
)
SERIES = SlipKind("'{name}' had {size:.2g} ohm in series, as of a loose contact", BY_READING, 1)
COIL = SlipKind("'{name}' had {about} ohm of inductance in series, as of its leads", BY_BUILD, 1)
ACROSS = SlipKind(
    "'{name}' had {about} ohm of capacitance across it, as of its fitting", BY_BUILD, 1
)
GAP = SlipKind(
    "'{name}' had {about} ohm of capacitance in series, as of a contact that does not touch",
    BY_READING,
    2,
)
PLANE = SlipKind("the standards' plane lay {size:.0f} mm {way} than the later one", seldom=1)
TURN = SlipKind(f"{PLANE.sentence}, or a lead or line before it was bent or warmed since", seldom=1)
ADAPTED = SlipKind(
    "{size:.0f} mm {than} of line lay before '{at}' than is removed, as of an adapter{or_line}"
)
OR_WARMED = (
    " or, up to {most_mm:.0f} mm, of a line that was warmer or colder when its far end was swept"
)
FARTHER, NEARER = ("farther out", "less"), ("nearer", "more")
"""Where the standards' plane lay, and what lies before a check that is off by as much."""
LENGTH = SlipKind("the length of the line before '{name}' were {size:.3g} m", BY_TAPE)
FEET = SlipKind(f"{LENGTH.sentence}, so that feet and metres are mixed up", BY_TAPE)
VELOCITY = SlipKind("the velocity factor of the line before '{name}' were {size:.2g}", BY_TAPE)
LOSS = SlipKind("the loss of the line before '{name}' were {size:.2g} times as much", BY_TAPE)
TYPE = SlipKind("the line before '{name}' were of type {kind}", BY_TAPE, 0.5)
REVERSED = SlipKind("the adapter before '{name}' were the other way round")
CONJUGATED = SlipKind("the sign of X of '{name}' was wrong", BY_WRITING)
BACKWARDS = SlipKind("the points of '{name}' stood in reversed order", BY_WRITING)
ORDER = SlipKind("R and X of '{name}' were exchanged", BY_WRITING)
ALL_ORDER = SlipKind("R and X of all readings were exchanged", BY_READING)
RADIANS = SlipKind("the angles of '{name}' were in radians", BY_WRITING)
LINEAR = SlipKind("the magnitudes of '{name}' were linear instead of in decibels", BY_WRITING)
REFERENCE = SlipKind("the files of {names} were in {size:g} ohm, not {own:g}", BY_SETTINGS)
UNIT = SlipKind(
    "the frequencies were really {low:.6g} to {high:.6g} MHz, {than}, as of a wrong unit",
    BY_SETTINGS,
    1,
)
HIGHER, LOWER = "1000 times as high", "a thousandth"
ABSENT = SlipKind(
    "nothing of what is removed before '{at}' was there when '{name}' was read", BY_PLACE
)
