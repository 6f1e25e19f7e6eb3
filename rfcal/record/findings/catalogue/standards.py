"""Standards, the analyzer that they make, and checks."""

from rfcal.defaults import CHECK_WORDS
from rfcal.record.findings.catalogue import note, warning

# Standards and calibration

STANDARDS_CLOSE = warning(
    "standards-close: standards",
    "Use standards further apart on the chart, such as a short, an open and a load: an error in "
    "one of these is up to {growth:.2g} times as large elsewhere on it {where}.",
)
ERROR_TERMS = warning(
    "error-terms: standards",
    "Look {look}: the standards make {terms} {where}, which no sound analyzer has.",
)
LOOK_CHECKS = "first at what is said of the checks"
LOOK_WRONG = "at the files and the definitions of all standards"
LOOK_WHETHER = "whether {mended}, which would mend it"
ANTICLOCKWISE = warning(
    "anticlockwise: standards",
    "Look whether all files are conjugated, or the sign of X is lost in all: the reflection "
    "tracking turns anticlockwise by {degrees:.3g} degrees {where}, as no delay does.",
)
UNIT_BY_DELAY = warning(
    "unit-by-delay: standards",
    "Look whether the unit of the frequencies is right, or kHz were read as Hz: the reflection "
    "tracking turns {where} as behind {metres:.2g} m of cable before the standards.",
)
HALF_TURN = warning(
    "half-turn: standards",
    "Look whether {pair}: {why}.",
)
AT_ZERO = (
    "the phase of the reflection tracking goes back to {degrees:.3g} degrees at zero frequency, "
    "where that of an analyzer and its leads goes back to about 0"
)
OR_LEAD = (
    "as they are named, about {metres:.2g} m of cable would lie between the analyzer and the place "
    "of the standards"
)
SEEN_ABOVE = "It may be that, as is said of the standards, {pair}."
STANDARDS_CORRECTED = warning(
    "standards-corrected: standards",
    "Look whether the instrument's own correction was on, and switch it off for all readings: the "
    "standards read as what they are to within {size:.2g}, and few raw instruments are as good.",
)
READ_ALIKE = warning(
    "read-alike: standards",
    "Look whether '{one}' and '{other}' were connected, each under its own name: they read alike "
    "to within {size:.2g}, and should be far apart.",
)
STANDARDS_DISAGREE = warning(
    "standards-disagree: standards",
    "Find out why the standards contradict each other {where}, with a chi-square of up to "
    "{chi_square:.3g} at {freedom} degrees of freedom. {evidence}",
)
NO_CULPRIT = (
    "No one of them alone explains it: look at all definitions, connections and files, and whether "
    "the analyzer or a lead was moved in between."
)

# Checks

CHECK_DISAGREES = warning(
    "check-disagrees: {check}",
    "Find out why '{check}' does not agree with what it should be {where}. {explanation}",
)
CHECK_BLUNT = note(
    "check-blunt: {check}",
    "That '{check}' agrees says little: it would have shown only what is off by {some}full "
    "reflection or more. State more closely what is said of {sources}, or measure that.",
)
SOME = "some {most:.0%} of "
LOOK_FOR = "Look for {causes}."
ONE_ROW = "Read it and the standards again there first, for it agrees at all other frequencies. "
SEEN_MOVING = "What moved since the standards were read may be all of it."
CAUSES_SMALL = (
    "a loose connector, a lead that moved or an analyzer that drifted since the standards"
)
CAUSES = "a loose connector, or a wrong definition of a standard or of the check"
CAUSES_INSIDE = (
    "a correction that the instrument did elsewhere or long ago, a wrong sign of X, a loose "
    "connector or a wrong value of the check itself"
)
CAUSES_BEHIND = (
    "a wrong length or type of what is removed before '{at}', or an adapter that is not stated"
)
CAUSE_SIGN = "X of a standard that was taken with the other sign, which its display hides, "
CHECK_SAME_BUILD = note(
    "check-same-build: checks",
    "Check once with something built otherwise: {checks} and the load '{load}' are built alike "
    "(build = '{build}'), so that what both share does not show, such as the inductance of one "
    "kind of resistor.",
)
CHECK_FAR = note(
    "check-far: {check}",
    f"Check with a resistor {CHECK_WORDS} too: the {{ohm:g}} ohm of '{{check}}' "
    "reflect nearly as a short or an open does, and a wrong value of the load hardly moves them.",
)
CHECK_BLIND = warning(
    "check-blind: checks",
    "Check with {other} too: every check would agree as well if {pairs} were exchanged, so none "
    "shows that they are not.",
)

NO_RESISTOR = "something that is no resistor, such as an open behind an eighth of a wave of line,"
