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
SEEN_ABOVE = "What is said of the standards would explain it."
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
WOULD_BE = "'{name}' were really {ohm} at {mhz:.6g} MHz, as the others make it"

# Checks

CHECK_DISAGREES = warning(
    "check-disagrees: {check}",
    "Find out why '{check}' does not agree with what it should be {where}. {explanation}",
)
CHECK_BLUNT = note(
    "check-blunt: {check}",
    "That '{check}' agrees says little: {what} so doubtful that it would have shown only what is "
    "off by some {most:.0%} of full reflection or more. {cure}.",
)
BLUNT_BEHIND = (
    "what it was read through is",
    "State that more closely (its length, its type), or measure it by its far end open and short",
)
BLUNT_BARE = "the standards are", "State more closely what is said of {sources}"
LOOK_FOR = "Look for {causes}."
ONE_ROW = "Read {what} again at {mhz:.6g} MHz first, for it agrees at all other frequencies. "
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
SUSPECTS = "All would agree if {several}.{left}"
OR_IF = "; or if "
NOTHING_TELLS = " Nothing here tells which."
DECIDE = " To tell, {how}."
BY_OHMMETER = "measure {names} with an ohmmeter"
BY_READING = "read {names} once more, connected with care"
BY_BUILD = "read one of another build in place of {names}"
BY_WRITING = "look first at the minus signs and columns of what was written of {names}"
BY_TAPE = "measure the line before {names} and read its type off it"
BY_SETTINGS = "look at the settings that the files were written with"
BY_PLACE = "look what was connected where"
BY_ANOTHER = "read one more standard of another value"
LIKELIEST = " Nothing here tells which. These are the likeliest of {count} that explain it."
SUSPECT_EXCHANGED = "'{name}' and '{other}' were exchanged"
SUSPECT_CORRECTED = "'{name}' was read with the instrument's own correction on"
SUSPECT_TWICE = "'{other}' was really '{name}', read under both names"
SUSPECT_BACKWARDS = "the points of '{name}' stood in reversed order"
SUSPECT_VALUE = "'{name}' were {size:.3g} ohm"
SUSPECT_TENFOLD = f"{SUSPECT_VALUE}, with its decimal point elsewhere"
SUSPECT_SERIES = "'{name}' had {size:.2g} ohm in series, as of a loose contact"
SUSPECT_COIL = "'{name}' had {size} ohm of inductance in series, as of its leads", BY_BUILD
SUSPECT_ACROSS = "'{name}' had {size} ohm of capacitance across it, as of its fitting", BY_BUILD
SUSPECT_GAP = (
    "'{name}' had {size} ohm of capacitance in series, as of a contact that does not touch",
    BY_READING,
)
"""What is said of a reactance that an artefact has besides, and what would tell of it."""
SUSPECT_PLANE = "the standards' plane lay {size:.0f} mm {way} than the later one"
SUSPECT_TURN = f"{SUSPECT_PLANE}, or a lead or line before it was bent or warmed since"
SUSPECT_ADAPTED = (
    "{size:.0f} mm {than} of line lay before '{at}' than is removed, as of an adapter{or_line}"
)
OR_WARMED = " or of a line that was warmer or colder when its far end was swept"
FARTHER, NEARER = ("farther out", "less"), ("nearer", "more")
"""Where the standards' plane lay, and what lies before a check that is off by as much."""
SUSPECT_LENGTH = "the length of the line before '{at}' were {size:.3g} m"
SUSPECT_VELOCITY = "the velocity factor of the line before '{at}' were {size:.2g}"
SUSPECT_REVERSED = "the adapter before '{at}' were the other way round"
SUSPECT_FEET = f"{SUSPECT_LENGTH}, so that feet and metres are mixed up"
SUSPECT_CONJUGATED = "the sign of X of '{name}' was wrong"
SUSPECT_ORDER = "R and X of '{name}' were exchanged"
SUSPECT_ALL_ORDER = "R and X of all readings were exchanged"
SUSPECT_RADIANS = "the angles of '{name}' were in radians"
SUSPECT_LINEAR = "the magnitudes of '{name}' were linear instead of in decibels"
SUSPECT_REFERENCE = "the files of {names} were in {meant:g} ohm, not {own:g}"
SUSPECT_UNIT = "the frequencies were really {low:.6g} to {high:.6g} MHz, {than}, as of a wrong unit"
HIGHER, LOWER = "1000 times as high", "a thousandth"
SUSPECT_ABSENT = "nothing of what is removed before '{at}' was there when '{name}' was read"
SUSPECT_LOSS = "the loss of the line before '{at}' were {size:.2g} times as much"
SUSPECT_LOSS_FEET = f"{SUSPECT_LOSS}, so that it is one per 100 feet"
SUSPECT_TYPE = "the line before '{at}' were of type {kind}"
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
