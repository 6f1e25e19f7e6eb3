"""Everything that rfcal may say of a record besides the answer: one entry for each, by subject.

Whether it is said is decided in the module of the subject, which calls the entry with the values
that its sentence has places for.
"""

from dataclasses import dataclass, replace

from rfcal.feedline.fault_kinds import EITHER, GAP, KINDS
from rfcal.findings import Finding


@dataclass(frozen=True)
class Entry:
    """One kind of finding; ``about`` and ``sentence`` have places for values in braces."""

    code: str
    severity: str
    about: str
    sentence: str

    def __call__(self, **values: object) -> Finding:
        """The finding with its values."""
        about, message = self.about.format(**values), self.sentence.format(**values)
        return Finding(self.code, self.severity, about, message)


def warning(head: str, sentence: str) -> Entry:
    """What should be looked after; the head is a code and what it is about."""
    code, about = head.split(": ")
    return Entry(code, "warning", about, sentence)


def note(head: str, sentence: str) -> Entry:
    """What is good to know; the head is a code and what it is about."""
    return replace(warning(head, sentence), severity="note")


# Readings

RAW_ABOVE_ONE = note(
    "raw-above-one: {label}",
    "The raw reading of '{label}' is up to {size:.3g} in magnitude {where}, which is "
    "much even for an uncorrected analyzer: look at the sign of R, and whether it is the reading "
    "that it should be.",
)
DISPLAY_STEP = note(
    "display-step: {name}",
    "By the digits typed for '{name}', its display was taken to step by {magnitude:g} in magnitude "
    "and {degrees:g} degrees; type every digit shown, zeros too.",
)
DISPLAY_COARSE = note(
    "display-coarse: typed",
    "By the digits typed, the display steps by {step:g} ohm, so that was taken and not "
    "resolution_ohm = {stated:g}. If it shows more digits, type them all, zeros too.",
)
STANDARD_SIGNS = note(
    "standard-signs: standards",
    "What the display does not show of {names} was worked out from what the standards are, for an "
    "uncorrected analyzer whose leads are shorter than a quarter wave; where more than one sign "
    "fits, the answer holds all.",
)
TELL_STANDARD = "A resistor of 150 to 300 ohm in its place, measured by ohmmeter, would tell more."
OVER_RANGE = note(
    "over-range: {name}",
    "The display tells of '{name}' only that it is beyond {least:g}, and the answer holds all of "
    "that. " + TELL_STANDARD,
)
SIGN_UNKNOWN = warning(
    "sign-unknown: {device}",
    "Two answers remain for '{device}' {where}, for the display does not show the sign of X and no "
    "reading tells it. {tell}",
)
TELL_FURTHER = (
    "Read standards and device at {mhz:.5g} MHz too: if X is larger in size there, it is positive; "
    "if smaller, negative."
)
TELL_SERIES = (
    "Read the device again with about {farad} in series: if X becomes smaller in size, it is "
    "positive; if larger, negative. Give it as one more [[measurement]] with same_as = "
    '"{device}", and below it [[measurement.between]] with series_capacitance_f, or with a short '
    "cable instead."
)
PLAN_SHOWS_LESS = warning(
    "plan-shows-less: {device}",
    "The display shows {less}, {so}. {remains}",
)
SO_IN_FULL = (
    "and each ± for '{device}' is that of a display that shows R and X in full: the report's may "
    "be wider"
)
SO_HELD = "and each interval for '{device}' holds that, with the standards as they were read"
PLAN_ELSEWHERE = warning(
    "plan-elsewhere: {name}",
    "A report answers at {mhz:.10g} MHz only once everything is read there: the reading of "
    "'{name}' has {grid}.",
)
REMAINS_SIGN = (
    "Two answers may remain, with X of either sign. What tells them apart if X is about {ohm:.3g} "
    "ohm: {tell}"
)
REMAINS_SIZE = (
    "R and X stay open, for many have one {size}: type {other} too, or use a display of R and X."
)
REMAINS_BEYOND = "Of '{name}' the answer holds all that is beyond the display."
REMAINS_STANDARDS = "Where more than one reading of a standard fits, the answer holds all."
SIGN_BY_POWER = note(
    "sign-by-power: {device}",
    "The sign of X of '{device}' was told {where} by this: with the other it would give power.",
)
SIGN_BY_OTHER = note(
    "sign-by-other: {device}",
    "The sign of X of '{device}' was told by '{other}', which is the same device read another way: "
    "with the other sign they would differ.",
)
SAME_DISAGREES = warning(
    "same-disagrees: {device}",
    "'{device}' and '{other}' are said to be one device, and no sign of X makes them agree: look "
    "at what lies before each, and whether the device was the same.",
)
SIGN_BY_RISING = note(
    "sign-by-rising: {device}",
    "The sign of X of '{device}' was told {where} by how X changes with frequency: where little is "
    "lost, reactance rises.",
)
EXAMPLE_LEFT = warning(
    "example-left: record",
    "The readings of {names} are those of the example that 'rfcal new' writes, and others are not: "
    "replace them by your own, or the answer is nobody's.",
)
MIXED_REFERENCES = warning(
    "mixed-references: {bare}",
    "The reading of '{bare}' is a reflection that does not say which impedance it refers to, so "
    "the record's reference_ohm of {taken_ohm:g} ohm was taken; that of '{other}' says "
    "{stated_ohm:g} ohm. If one analyzer gave both, '{bare}' is misread: give it as R and X, or as "
    "a Touchstone file that says R {stated_ohm:g}.",
)
REFERENCES_DIFFER = warning(
    "references-differ: {label}",
    "Look which is right and put it right in the file: {labels} refers to {odd_ohm:g} ohm by its "
    "header, and {others} to {usual_ohm:g} ohm, where one analyzer writes one reference impedance.",
)
SAME_READING = warning(
    "same-reading: {device}",
    "Name the right file for '{device}' or for '{standard}': both are one and the same reading.",
)
INTERFERENCE = warning(
    "interference: {label}",
    "Read '{label}' again, and give no answer {where} until then: it sticks out there by up to "
    "{size:.2g} from the points around, as by interference or a bad contact.",
)
JUMP = warning(
    "jump: {label}",
    "Fasten '{label}' and read it again: from {mhz:.6g} MHz on its sweep goes on {size:.2g} away, "
    "as of a loose connector, or one that was touched.",
)
SIGN_LOST = warning(
    "sign-lost: {label}",
    "Look whether X of '{label}' was written without its sign: it is nowhere below zero, and turns "
    "back from zero as if mirrored {where}.",
)
SIGNS_LOST = warning(
    "signs-lost: {short}",
    "Look whether X was written without its sign in all readings: it is below zero in none, though "
    "'{short}' and '{opened}' lie on opposite sides of the chart.",
)
ALL_ABOVE_ONE = warning(
    "linear-as-decibels: {label}",
    "Look whether linear magnitudes were taken for decibels: {labels} would reflect {low:.4g} to "
    "{high:.4g} of what comes, which are magnitudes of {low_db:.2g} to {high_db:.2g} written as "
    "dB.",
)
RADIANS = warning(
    "radians: {label}",
    "Look whether angles in radians were taken for degrees: all those of {labels} lie within 3.15 "
    "degrees of zero, where {why}.",
)
UNIT = warning(
    "frequency-unit: readings",
    "Look whether the unit of the frequencies is right: they go from {low:.6g} to {high:.6g} MHz, "
    "where few such analyzers read; kHz written as MHz, or MHz as kHz, would make it so.",
)
INTERPOLATED = note(
    "interpolated: {name}",
    "'{name}' was read at other frequencies than the standards; the error terms were interpolated "
    "by a cubic spline, and what that costs is in the budget. Reading the standards at the same "
    "frequencies avoids it.",
)
ANSWER_NEAREST = note(
    "answer-nearest: {device}",
    "'{device}' was not read at {wanted_mhz:.10g} MHz: the answer is that of the nearest point, "
    "{taken_mhz:.10g} MHz.",
)

# Standards and calibration

STANDARDS_CLOSE = warning(
    "standards-close: standards",
    "The standards lie close together on the chart {where}: an error in one of them is up to "
    "{growth:.2g} times as large elsewhere on the chart. Use standards further apart, such as a "
    "short, an open and a load.",
)
STANDARD_COARSE = warning(
    "standard-coarse: {name}",
    "'{name}' is known no better than {size:.2g} of its reflection {where}, one standard "
    "uncertainty: so far from what it is taken for, intervals cover less than they say. Use one "
    "that is better known there, in a connector instead of on wire leads.",
)
ERROR_TERMS = warning(
    "error-terms: standards",
    "Look {look}: the standards make {terms} {where}, which no sound analyzer has.",
)
LOOK_WRONG = "at the files and the definitions of all standards"
LOOK_WHETHER = "whether {mended}, which would mend it"
ANTICLOCKWISE = warning(
    "anticlockwise: standards",
    "Look whether all files are conjugated, or the sign of X is lost in all: the reflection "
    "tracking turns anticlockwise by {degrees:.3g} degrees {where}, as no delay does.",
)
HALF_TURN = warning(
    "half-turn: standards",
    "Look whether the readings of {pair} were exchanged: the phase of the reflection "
    "tracking goes back to {degrees:.3g} degrees at zero frequency, where that of an analyzer and "
    "its leads goes back to about 0.",
)
STANDARDS_CORRECTED = warning(
    "standards-corrected: standards",
    "The standards read as what they are to within {size:.2g}, which no raw instrument makes of "
    "them: look whether its own correction was on, and switch it off for all readings.",
)
READ_ALIKE = warning(
    "read-alike: standards",
    "Look whether '{one}' and '{other}' were connected, each under its own name: they read alike "
    "to within {size:.2g}, and should be far apart.",
)
STANDARDS_DISAGREE = warning(
    "standards-disagree: standards",
    "The standards contradict each other {where}: chi-square up to {chi_square:.3g} with {freedom} "
    "degrees of freedom. {evidence}",
)
ONE_CULPRIT = (
    "All others agree with each other without {one}: look at its definition, its connection and "
    "its file."
)
ONE_PASSIVE = (
    "What explains it is {one}, for any other would have to give power: look at its definition, "
    "its connection and its file."
)
SEVERAL_CULPRITS = (
    "Any one of these explains it, and the readings do not say which: {several}. Look at the "
    "definition, the connection and the file of each, or read one more standard."
)
EXCHANGED = "They would agree with {pair}."
NO_CULPRIT = (
    "No one of them alone explains it: look at all definitions, connections and files, and whether "
    "the analyzer or a lead was moved in between."
)
WOULD_BE = "'{name}', which would have to be {ohm} at {mhz:.6g} MHz"

# Checks

CHECK_DISAGREES = warning(
    "check-disagrees: {check}",
    "'{check}' does not agree with what it should be {where}: do not trust the answer before you "
    "know why. {explanation}",
)
LOOK_FOR = "Look for {causes}."
CAUSES = "a sweep under another's name, a wrong sign of X or a wrong definition"
CAUSES_SMALL = (
    "a loose connector, a lead that moved or an analyzer that drifted since the standards"
)
CAUSES_STILL = "a loose connector, or a wrong definition of a standard or of the check"
CAUSES_INSIDE = (
    "a correction that the instrument did elsewhere or long ago, a wrong sign of X, a loose "
    "connector or a wrong value of the check itself"
)
CAUSES_BEHIND = (
    "what lies before '{at}', by its type, its length or its direction, or a wrong value of the "
    "check itself"
)
SUSPECTS = "All would agree if {several}.{left}"
OR_IF = "; or if "
NOTHING_TELLS = " Nothing here tells which."
LIKELIEST = " These are the likeliest of {count} slips that explain it."
SUSPECT_EXCHANGED = "'{one}' and '{other}' were exchanged"
SUSPECT_CORRECTED = "the instrument's own correction was off for '{name}', as for the standards"
SUSPECT_TWICE = "'{name}' was really '{other}', read under both names"
SUSPECT_BACKWARDS = "the points of '{name}' stood in reversed order"
SUSPECT_VALUE = "'{name}' were {ohm:.3g} ohm"
SUSPECT_SERIES = "'{name}' had {ohm:.2g} ohm in series, as of a loose contact"
SUSPECT_GAP = (
    "'{name}' had {ohm:.2g} ohm of capacitance in series, as of a contact that does not touch"
)
SUSPECT_OUT = "'{name}' lay {mm:.2g} mm {way} than is stated"
SUSPECT_TURN = (
    "the standards' plane lay {mm:.2g} mm {way} than the later one, or a lead was bent or warmed "
    "since"
)
SUSPECT_PLANE = "the standards' plane lay {mm:.2g} mm {way} than the later one"
FARTHER, NEARER = "farther out", "nearer"
SUSPECT_LENGTH = "the length of the line before '{at}' were {metres:.3g} m"
SUSPECT_VELOCITY = "the velocity factor of the line before '{at}' were {velocity:.2g}"
SUSPECT_REVERSED = "the adapter before '{at}' were the other way round"
SUSPECT_FEET = (
    "the length of the line before '{at}' were {metres:.3g} m, so that feet and metres are mixed up"
)
SUSPECT_LOSS_FEET = (
    "the loss of the line before '{at}' were {times:.2g} times as much, so that it is one per 100 "
    "feet"
)
SUSPECT_CONJUGATED = "'{name}' were read with the sign of X, or of the angle, the other way round"
SUSPECT_RADIANS = "the angles of '{name}' were in radians"
SUSPECT_LINEAR = "the magnitudes of '{name}' were linear and no decibels"
SUSPECT_LOSS = "the loss of the line before '{at}' were {times:.2g} times as much"
SUSPECT_TYPE = "the line before '{at}' were of type {kind}"
CHECK_AT_STANDARD = warning(
    "check-at-standard: {check}",
    "'{check}' sits where the standard '{standard}' does, so it says little about the rest of the "
    "chart: check with something different.",
)
CHECK_SAME_BUILD = note(
    "check-same-build: checks",
    "{checks} and the load '{load}' are built alike (build = '{build}'), so the check "
    "cannot see what both share, such as the inductance of one kind of resistor: check once with "
    "something built otherwise.",
)
CHECK_BLIND = warning(
    "check-blind: checks",
    "Every check would agree as well if {pairs} were exchanged, so none shows that they are not: "
    "check with {other} too.",
)

NO_RESISTOR = "something that is no resistor, such as an open behind an eighth of a wave of line,"

# What could not have been noticed, and the reading that would

NO_CHECK = note(
    "no-check: checks",
    "Read a resistor that {kind}, of another make and measured by itself, such as 33 or 75 ohm, as "
    "a [[check]]: without one {invisible} would not show.",
)
NO_REREAD = note(
    "no-reread: rereads",
    "Read '{artefact}' once more after {devices}, as a [[reread]]: without it a lead that was "
    "moved, a connector that came loose, drift, or the instrument's own correction switched in "
    "between would not show.",
)
NO_CHECK_BEHIND = note(
    "no-check-behind: checks",
    "Read a resistor of about {ohm:g} ohm in the place of {devices}, as a [[check]] with at = "
    "'{at}': without it {invisible} would not show.",
)
OTHER_SETTING = note(
    "other-setting: rereads",
    "Read '{check}' once more right after {devices} with nothing switched, as a [[reread]]: "
    "without it a device read in another setting than the standards, with the instrument's own "
    "correction on or in another session, would not show.",
)
UNSEEN = (NO_CHECK.code, NO_REREAD.code, NO_CHECK_BEHIND.code, OTHER_SETTING.code)
"""Codes of what is said under a head of its own."""
INVISIBLE = (
    "a wrong value of the load, exchanged sweeps, a loose standard or X without its sign",
    "a correction that was done elsewhere or long ago, or X without its sign",
)
"""With standards, and of an instrument that corrects itself."""
INVISIBLE_PATH = {
    "cable": "a line of another type, length or velocity factor",
    "measured": "far-end sweeps that are exchanged or of another line",
    "adapter": "an adapter's file that is another's or turned round",
    "fixture": "a fixture's sweeps that are exchanged or of another one",
    "part": "a part in series of another value",
}
"""By what lies between plane and device."""

# What was read again

MOVED = warning(
    "moved: {of}",
    "Between its two readings '{of}' has {how} {where}, {times:.2g} times as far as what was "
    "stated explains: look for {look}. Then read standards and devices anew; so far the "
    "uncertainty of every device is widened by it.",
)
TURNED = "turned {way} by {degrees:.2g} degrees"
SHRUNK = "{verb} by {part:.2g} of its size"
JUMPED = "jumped at {mhz:.6g} MHz"
SHIFTED = "moved by up to {size:.2g} of reflection"
EXCHANGED_WITH = "come to read as '{other}' did"
EXCHANGE = "an exchange of '{of}' and '{other}', there or here"
CORRECTED = "come to read as what it is, as if the instrument corrected it itself,"
LOOSE, BENT = "a loose connector", "a lead that was bent"
DRIFTED = "an analyzer that drifted"
SWITCHED = "the instrument's own correction switched in between"

# Devices

ACTIVE = warning(
    "active: {device}",
    "The corrected reflection of '{device}' is above 1 beyond its uncertainty {where}, which no "
    "passive device does: look for {causes}.",
)
ACTIVE_CAUSES = "a {reading} of another session, a lead that moved since, or a wrong standard"
ACTIVE_BEHIND = (
    "too much length, too much loss or a wrong type in the line that is removed before it: at the "
    "standards' plane it is below 1"
)
ACTIVE_REMOVED = (
    "a wrong file or wrong sweeps of what is removed before it: at the standards' plane it is "
    "below 1"
)
ACTIVE_LINEAR = "linear magnitudes that were taken for decibels: none of its raw ones is below 1"
ACTIVE_FIRST = "the cause in what is said of standards and checks, which comes first"
ACTIVE_STILL = (
    "a wrong file or format of its own reading, the instrument's own correction switched on for "
    "it, or an analyzer that changed before it, for standards and checks agree"
)
ACTIVE_INSIDE = "a wrong sign of R, or an instrument that was corrected elsewhere or long ago"
REACTANCE_FALLS = warning(
    "reactance-falls: {device}",
    "Look whether {causes}: '{device}' reflects nearly all {where}, and its reflection turns "
    "anticlockwise by {degrees:.2g} degrees there, where the reactance of anything with so little "
    "loss rises with frequency.",
)
FALLS_BEHIND = "too much length, or too slow a line, is removed before it"
FALLS_OWN = "the sign of X was lost or reversed"
BENDS = warning(
    "bends-backwards: {device}",
    "Look whether the file of '{device}' is conjugated, or its points stand in reversed order: its "
    "curve on the chart bends anticlockwise by {degrees:.3g} degrees over the sweep, and those of "
    "passive things bend clockwise.",
)
DEVICE_HIDDEN = warning(
    "device-hidden: {device}",
    "Hardly anything is known of '{device}' {where}: the 95 % region of its reflection has a "
    "radius of up to {radius:.2g}. Most of that comes from {sources}.{length}",
)
HIDDEN_LENGTH = " Look first whether the {metres:g} m of line that are removed before it are right."
NEAR_OPEN = note(
    "near-open: {device}",
    "'{device}' reads so near an open {where} that the intervals of R and X are lopsided there: "
    "read their ends, not a value and a ±.",
)
LOPSIDED = note(
    "lopsided: {device}",
    "So little is known of '{device}' {where} that the intervals of R and X are lopsided there: "
    "read their ends, not a value and a ±. Most of the uncertainty comes from {sources}.",
)

# Path between plane and device

PATH_MISFIT = warning(
    "path-misfit: {element}",
    "'{element}' was removed as it was read, but {why}. What is removed must be the same from both "
    "ends: look at the sweeps, or give an adapter's file for what is not.",
)

# Parts

PART_POINTS = warning(
    "part-points: {name}",
    "'{name}' was read at {points} frequencies, too few for the fit of a circuit, which needs "
    "{needed}: no values of the part are given.",
)
PART_MISFIT = warning(
    "part-misfit: {name}",
    "No circuit that was tried describes '{name}', so no values of it are given; the nearest, "
    "{model}, leaves {size:.2g} of reflection where {expected:.1g} is expected. Look for leads and "
    "fixture, sweep less widely, or take R and X at each frequency.",
)
PART_NEGATIVE = warning(
    "part-negative: {name}",
    "'{name}' comes out with a negative {parameter}, which no such part has, so no values of it "
    "are given: look at the standards, and at what lies between them and the part.",
)
PART_FIXTURE = warning(
    "part-fixture: {name}",
    "'{name}' is mostly fixture at {mhz:.6g} MHz, which adds {percent:.0f} % of the part's own "
    "|Z|, so no values of it are given: use shorter leads, or a fixture made for such a part.",
)
PART_HEAT = note(
    "part-heat: {name}",
    "The impedance of '{name}' is mostly resistance, which warms it: a choke that holds back well "
    "at milliwatts may fail at power, as its core grows hot. Feel it after minutes of "
    "transmitting (common practice, no source).",
)
PART_OUTSIDE = warning(
    "part-outside: {name}",
    "'{name}' resonates outside its sweep from {first_mhz:.6g} to {last_mhz:.6g} MHz or is none of "
    "the parts that rfcal knows, so no values of it are given: sweep more widely, or state "
    "`model`.",
)
PART_RESONANCE = note(
    "part-resonance: {name}",
    "Where '{name}' resonates with itself is not seen from {first_mhz:.6g} to {last_mhz:.6g} MHz: "
    "sweep more widely to know.",
)
PART_RIVALS = note(
    "part-rivals: {name}",
    "The sweep of '{name}' does not tell {model} from {rivals}: the values are those of the first, "
    "as the plainest. A wider sweep tells, or state `model`.",
)
PART_SCATTER = note(
    "part-scatter: {name}",
    "The points of '{name}' scatter {times:.2g} times as much as was stated of their noise; its "
    "values are as uncertain as the scatter makes them.",
)
PART_BLIND = note(
    "part-blind: {name}",
    "'{name}' is known no better than {percent:.0f} % of its |Z| {where}: {cure}.",
)
BLIND_CURES = (
    "too near a short for its reflection to tell; a shunt-through fixture with two ports sees low "
    "impedance",
    "too near an open for its reflection to tell; a series-through fixture with two ports sees "
    "high impedance",
    "the match of the ports is in it; attenuators of 6 dB or more beside the part make that small, "
    "and `residual_source_match` states it",
)

# Line check

LINE_FAULT = warning("line-fault: line check", "{sentence}")
LINE_NEW = "new reflection{s} at {places}, {kind}"
LINE_PLACE = "reflection{s} at {places}, {kind}"
LINE_ONE_END = "that is the line's end if it is so long: state length_m to be sure"
LINE_WHICH_END = "which of these is the line's end is not known: state length_m"
LINE_GONE = "the reflection at {place}, {size}, is gone"
LINE_CHANGED = "{what} at {place} has changed from {before} to {after}"
LINE_END = "what the line ends in, or something in its last {near} m,"
LINE_LONGER = "from {place} on, the line is {size} m {more} than it was: {look}"
LINE_LOOK = {
    "longer": "look for another piece of line, or for water or a crush, which slow the wave",
    "shorter": "look whether a piece was taken out, or whether water has dried",
}
LINE_LOST = (
    "the line loses {more} dB more than {than} at {middle}, all along its {length_m:.0f} m "
    "({per_100m:.2g} dB per 100 m more){look}"
)
LINE_LOST_LOOK = "look for old or wet cable"
LINE_LOST_TYPE = "look for old or wet cable, or a cable of another type"
LINE_LOST_OR_END = (
    "as old or wet cable does, or what it ends in reflects less: a wider sweep, or one with the "
    "far end open or short, tells which"
)
LINE_EITHER = (
    "the line's delay is {size:.2%} {more} than it was, from {place} on, or all along it as "
    "{weather} makes it: no other place tells which"
)
LINE_SLOWS = (
    "from there on the line seems longer than it was, by some {size:.1g} m, as that slows the wave"
)
LINE_SOUND = "nothing reflects otherwise than it did by {least:g} or more, as far as {end}"
LINE_OR_END = (
    "or {place:.1f} m is that end, if the velocity factor is {fits:.2f} and not {stated:.2f}: look "
    "at the cable's type first"
)
LINE_BEYOND = (
    "the record's {length_m:g} m are too short, or the velocity factor is {fits:.2f} and not "
    "{stated:.2f}: look at the cable's type"
)
LINE_SILENT = "nothing is seen to reflect up to {range_m:.0f} m, not even an end"
LINE_NO_FAULT = (
    "no place reflects {size} or more before {end}; a fault in its last {near} m would not be told "
    "from the end"
)
LINE_END_ITSELF = "the end itself reflects {size}"
LINE_END_KINDS = {
    "open": ", as an open line does, or an antenna far below its band",
    "short": ", as a shorted line does",
}
LINE_KINDS = {kind.name: kind.means for kind in KINDS} | {
    "slow change": "a slow change over some length, as of water in the cable",
    "mismatch": "no single simple fault (an antenna, a damaged length, or faults close together)",
    "unknown": "of a kind that this sweep cannot tell",
    GAP: "capacitance in series, as of a broken conductor or an open joint",
    EITHER: (
        "capacitance in series, as of an open joint, or across the line, as of a crushed or wet "
        "place (a wider sweep tells which)"
    ),
}
"""What a kind of fault may be on a line (common practice, no source)."""
LINE_TWINS = {
    "series resistance": "a series resistance, or a step to a higher impedance",
    "shunt resistance": "a shunt resistance, or a step to a lower impedance",
}
"""What only its loss tells apart."""
LINE_TELL_TWINS = (
    "a resistance takes up power and a step of impedance does not: sweep once more with the far "
    "end open or short, whose reflection tells by its size which of the two stands before it"
)

LINE_NO_PLACE = "which is no place if the line ends at {length_m:.4g} m"
LINE_LENGTH = warning(
    "line-length: line check",
    "The record says that the line is {length_m:g} m long, and more reflects from {beyond_m:.1f} m "
    "than from there: look whether a piece of line was forgotten, and correct length_m or the "
    "velocity factor.",
)
LINE_NARROW = note(
    "line-narrow: line check",
    "This sweep is {width_mhz:.3g} MHz wide, so places within {near_m:.2g} m of each other or of "
    "the line's end appear as one: sweep {needed_mhz:g} MHz or more to tell them apart from "
    "{aim_m:.2g} m on.",
)
LINE_FOLDED = warning(
    "line-folded: line check",
    "In steps of {step_mhz:.3g} MHz what lies beyond {range_m:.0f} m appears nearer by that: if "
    "the line may be longer, {place_m:.1f} m may as well be {beyond_m:.1f} m. State length_m, or "
    "sweep in smaller steps.",
)
LINE_STEPS = warning(
    "line-steps: line check",
    "Steps of {step_mhz:.3g} MHz show {range_m:.0f} m and this line is {length_m:.4g} m long, so "
    "what lies beyond appears nearer by that: a place may be where it is said to be or "
    "{range_m:.0f} m farther, and what reflects there is more than said. Sweep in steps below "
    "{least_mhz:.3g} MHz.",
)
LINE_UNFOLLOWED = warning(
    "line-unfollowed: line check",
    "Distances may be folded: in steps as wide as these the line may be {length_m:.4g} m long or, "
    "by its phase from point to point, {range_m:.0f} m longer. If it may be, state length_m in "
    "place of velocity_factor, or sweep in half these steps.",
)
LINE_MISFIT = warning(
    "line-misfit: line check",
    "The far end's sweeps are off those of a uniform line by {residual:.2g} (root mean square of "
    "the reflection), where {expected:.2g} was to be expected, so its properties are doubtful: "
    "look whether the far end was really open or short, whether the line was damaged or in several "
    "pieces, and whether one calibration served both.",
)

# Match

MATCH_VOLTAGE = warning(
    "match-voltage: {device}",
    "At {power_w:g} W these networks carry up to {volt:.0f} V and {ampere:.1f} A peak: {advice}, "
    "switch the transmitter off and make sure before you touch, and keep to your regulator's "
    "exposure limits and local codes.",
)
HIGH_VOLTAGE = "use parts that stand it, enclose them"
LOW_VOLTAGE = "currents heat coils and capacitors and burn fingers"
MATCH_NONE = warning(
    "match-none: {device}",
    "There is no network of these topologies and parts; what stands in the way of each is said "
    "with the match. Ask for other topologies, parts, or another place.",
)
MATCH_TARGET = warning(
    "match-target: {device}",
    "No network of these parts holds SWR {target:g} {over}; the best comes to {best}. Ask for "
    "{remedy}.",
)
MATCH_LOAD = warning(
    "match-load: {device}",
    "Measure '{device}' better before you build: R = {r} ohm and X = {x} ohm at {mhz:.6g} MHz "
    "leave so much open that the first network, however exact its parts, holds the target for "
    "{share:.0%} of what the device may be. Most of that doubt comes from {sources}.",
)
MATCH_STEP = warning(
    "match-step: {device}",
    "The load moves so far {where} from one point of the sweep to the next that its SWR between "
    "them is a guess, and so is which network is best. Measure it in steps of "
    "{step_mhz:.2g} MHz or less before you build.",
)
MATCH_PLANE = warning(
    "match-plane: {device}",
    "With the first network in its place the SWR at the standards' plane comes to {swr} in "
    "{z_ref:g} ohm: what lies between has another impedance than the target of {target_ohm:g} ohm. "
    "Match at the calibration plane, or take the line's own impedance for target_ohm and match "
    "once more there.",
)

# Defaults that stood in for what the record does not say

DEFAULTS = note(
    "defaults: record",
    "The record does not say, so this was taken: {values}. State what you know of yours.",
)
BY_OHMMETER = " (measure it with an ohmmeter)"
