"""Devices, the path to them, and what no reading could have shown."""

from rfcal.defaults import CHECK_WORDS
from rfcal.record.findings.catalogue import line, note, warning

# What could not have been noticed, and the reading that would

NO_CHECK = note(
    "no-check: checks",
    "Read a resistor that {kind}, of another make and measured by itself, "
    f"{CHECK_WORDS}, as a [[check]]: "
    "without one {invisible} would not show.",
)
NO_REREAD = note(
    "no-reread: rereads",
    "Read '{artefact}' once more right after {devices}{place}, as a [[reread]]: without it {lead}a "
    "lead that was moved, a connector that came loose, drift, or the instrument's own correction "
    "switched in between may not show.{warmer}",
)
NO_CHECK_BEHIND = note(
    "no-check-behind: checks",
    "Read a resistor of about {ohm:g} ohm in the place of {devices}, as a [[check]] with at = "
    "'{at}': without it what is removed before them may be another, exchanged or turned round, and "
    "would not show.{warmer}",
)
CHECK_BEFORE = note(
    "check-before: checks",
    "Read the check in the place of {devices} again right beside its sweep: one that was read "
    "before does not show what moved since.{warmer}",
)
IF_WARMER = (
    " Nor would it show that the line is longer or shorter than when {since}: each {share:.1%}, as "
    "of some {kelvin:g} K, moves {moves} of '{device}'{still}."
)
SINCE_SWEPT, SINCE_STANDARDS = "its far end was swept", "the standards were read behind it"
SINCE_CHECK = "the check was read"
SWR_STILL = ", but hardly the SWR"
TYPED_UNSEEN = note(
    "typed-unseen: record",
    "Compare what was typed of {devices} with the display once more, or read a few frequencies "
    "more close beside: as it stands, a digit typed wrong there may not show.",
)
DIRECT = {
    "place": ", in its place with nothing taken off",
    "lead": "a lead or adapter that was left before the device, ",
}
BEHIND = {"place": "", "lead": ""}
_CHECKS = NO_CHECK, NO_CHECK_BEHIND, CHECK_BEFORE
_NOTES = line.LINE_LOSS_UNSEEN, *_CHECKS, NO_REREAD, TYPED_UNSEEN
UNSEEN = tuple(said.code for said in _NOTES)
"""Codes of what is said under a head of its own."""
INVISIBLE = (
    (
        "is no standard",
        "a wrong value of the load, exchanged sweeps, a loose standard or X without its sign",
    ),
    ("you know", "a correction that was done elsewhere or long ago, or X without its sign"),
)
"""With standards, and of an instrument that corrects itself."""

# Devices

ACTIVE = warning(
    "active: {device}",
    "Look {causes}: what '{device}' reflects {where} is {how}, beyond its uncertainty, which "
    "nothing passive does.",
)
ABOVE_ONE, OFF_PASSIVE = "above 1", "{size:.2g} off the nearest that anything passive does"
CAUSE_FIRST = "first at the other warnings"
CAUSE_LINE = (
    "whether the line that is removed before it was given too much length, too much loss or too "
    "low a velocity factor, for at the standards' plane it is possible"
)
CAUSE_REMOVED = (
    "whether the file or the sweeps of what is removed before it are wrong, for at the standards' "
    "plane it is possible"
)
CAUSES_OPEN = (
    "'{name}' was read in another session",
    "a lead has moved since",
    "a standard is wrong",
)
CAUSES_STILL = (
    "'{name}' was read in another session",
    "with the instrument's own correction on",
    "as S21",
)
CAUSES_AGAIN = (CAUSES_STILL[0], "at other frequencies than its file says", CAUSES_STILL[2])
CAUSES_INSIDE = (
    "R of '{name}' has the wrong sign",
    "the instrument was corrected elsewhere or long ago",
)
"""Of what nothing passive does: where nothing checks, where all checks agree, where what was read
again does too, and of an instrument that corrects itself."""
DEVICE_HIDDEN = warning(
    "device-hidden: {device}",
    "R and X of '{device}' are hardly known {where}: the 95 % region of its reflection has a "
    "radius of up to {radius:.2g}. Most of that comes from {sources}{advice}.",
)
BY_SWEEPS = (
    "; a line that is removed is known best by sweeps of its far end open and short "
    '(line = "measured")'
)
LOPSIDED = note(
    "lopsided: {device}",
    "Read the ends of the intervals of R and X of '{device}' {where}, not a value and a ±: they "
    "are lopsided there, near an open or where little is known. Most of that comes from {sources}.",
)

# Path between plane and device

PATH_MISFIT = warning(
    "path-misfit: {element}",
    "Look at the sweeps of '{element}', or give an adapter's file for it if it is not the same "
    "from both ends: {why}.",
)
OTHER_LINE = warning(
    "other-line: {device}",
    "Sweep the far end of the line before '{device}' as it is now, and name these sweeps in its "
    "[[measurement.between]], not in [line_check]: the line is {changed} than in the baseline. If "
    "its far end was swept on the baseline's day, it is not as told but {answer}.",
)
LONGER, LOSSIER = ("longer", "shorter"), ("lossier", "less lossy")
"""How a line has changed since its baseline."""
