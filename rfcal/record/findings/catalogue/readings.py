"""Readings, once and once more, and what stood in where nothing was stated."""

from rfcal.record.findings.catalogue import note, warning

# Readings

RAW_ABOVE_ONE = note(
    "raw-above-one: {labels}",
    "What was read of {names} is up to {size:.3g} in magnitude {where}, which is much even for an "
    "uncorrected analyzer: look at the sign of R, at the order of R and X, and whether it is the "
    "reading that it should be.",
)
OF_TWO_PORTS = (
    "'{file}', which holds two ports, S11 was read: {s11} as it stands at {mhz:.6g} MHz, where S21 "
    "would read {s21} and S22 {s22}."
)
TWO_PORTS = note("two-ports: {label}", f"Of {OF_TWO_PORTS}")
PORTS_JOINED = warning(
    "ports-joined: {label}",
    "Look whether '{label}' was connected to port 1 and nothing to port 2, for something passes "
    f"between them: of {OF_TWO_PORTS}",
)
DISPLAY_STEP = note(
    "display-step: typed",
    "Type every digit that the display shows, zeros too: by those typed it was taken to step by "
    "{steps}.",
)
STEPS_OF = "{magnitude:g} in magnitude and {degrees:g} degrees for {labels}"
COARSER = "{step:g} ohm, and not by resolution_ohm = {stated:g}"
STANDARD_SIGNS = note(
    "standard-signs: standards",
    "What the display does not show of {names} was worked out from what the standards are, for an "
    "uncorrected analyzer whose leads are shorter than a quarter wave; where more than one sign "
    "fits, the answer holds all.",
)
TELL_STANDARD = (
    " Read a resistor of 150 to 300 ohm, measured by ohmmeter, as one more [[standard]]: it tells "
    "more."
)
OVER_RANGE = note(
    "over-range: {name}",
    "The display tells of {names} only that it is beyond {least:g}, and the answer holds all of "
    "that.{tell}",
)
SIGN_UNKNOWN = warning(
    "sign-unknown: {device}",
    "Two answers remain for '{device}' {where}, for the display does not show the sign of X and no "
    "reading tells it. {tell}",
)
TELL_FURTHER = (
    "Read standards, check, device and what is read again at {mhz:.5g} MHz too, one more row each: "
    "where little is lost X rises with frequency, and by that the report tells its sign."
)
TELL_SERIES = (
    "Read the device again with about {farad} in series, at the same frequencies, and give that as "
    'one more [[measurement]] with same_as = "{device}" and, below it, {too}'
    "[[measurement.between]] with series_capacitance_f: the report then tells which is true. A "
    "short cable in place of the capacitor does too."
)
TELL_TRIED = (
    "What was read as {names} did not tell it: with X of either sign the display shows nearly the "
    "same. "
)
TELL_SAME = "What tells the sign of '{device}', the same device, tells this too."
TELL_TOO = "every [[measurement.between]] of '{device}' once more and then a "
TELL_FIRST = "Put right first why it does not agree with the other reading of the same device."
SIGN_SMALL = note(
    "sign-small: {device}",
    "R and SWR of '{device}' stand as they are given {where}: only the sign of X is not known, "
    "which is small, from {low:.2g} to {high:.2g} ohm. {tell}",
)
DISPLAY_LIMIT = warning(
    "display-limit: {name}",
    'Look whether {cell} is the most that the display shows; if so type ">{cell}" for it in what '
    "was read of {names}, and the answer holds all that may lie beyond.",
)
ONE_SIZE = warning(
    "one-size: {device}",
    "Type {too} of '{device}' too, or use a display of R and X: many R and X have one {alone}.",
)
DEVICE_BEYOND = warning(
    "device-beyond: {device}",
    "Read '{device}' through about {metres:.2g} m of known cable as well, as one more "
    "[[measurement]] with that cable below it as [[measurement.between]]: the display tells of "
    "{names} only that it is beyond {least:g} at {mhz:.6g} MHz.",
)
PLAN_SHOWS_LESS = warning(
    "plan-shows-less: {device}",
    "The display shows less than R and X of {names}, {so}.{remains}",
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
    " Two answers may remain, with X of either sign. What tells them apart if X is about {ohm:.3g} "
    "ohm: {tell}"
)
SIGN_TOLD = note("sign-told: {device}", "The sign of X of '{device}' was told {how}.")
BY_POWER = "{where} by this: with the other it would give power"
BY_RISING = "{where} by how X changes with frequency: where little is lost, reactance rises with it"
BY_COURSE = "{where} by how R and X change with frequency: with the other nothing passive does so"
BY_OTHER = "by '{other}', the same device read another way, and the two agree: X is {ends}"
SAME_DISAGREES = warning(
    "same-disagrees: {device}",
    "'{device}' and '{other}' are said to be one device, and no sign of X makes them agree: look "
    "at what lies before each, and whether the device was the same.",
)
EXAMPLE_LEFT = warning(
    "example-left: record",
    "Replace the readings of {names} by your own, or the answer is nobody's: they are those of the "
    "example that 'rfcal new' writes, and others are not.",
)
REFERENCES_DIFFER = warning(
    "references-differ: {label}",
    "Look which is right and put it right in the file: {labels} refers to {odd_ohm:g} ohm, and "
    "{others} to {usual_ohm:g} ohm, where one analyzer writes one reference impedance.{bare}",
)
BARE = (
    " {labels} is a reflection that does not say to which, so the record's reference_ohm was taken."
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
MISTYPED = warning(
    "mistyped: {label}",
    "Look for a slip of the decimal point, of digits or of a sign in the row of {mhz:.6g} MHz of "
    "'{label}': {part} = {written} does not fit the rows beside it, and {meant:.4g} would.",
)
NEVER_NEGATIVE = note(
    "never-negative: {label}",
    "Does the display show the sign of {what}, and was no minus left out? That of '{label}' is "
    "below zero nowhere {where}.{hint}",
)
X_TYPED = {
    "what": "X",
    "hint": " Type a minus that was left out; if none is shown, say x_sign = 'unknown' beside what "
    "was typed.",
}
ANGLE_TYPED = {
    "what": "the angle",
    "hint": " Type a minus that was left out; if none is shown, type R and the size of X instead, "
    "with x_sign = 'unknown'.",
}
SIGNS_LOST = warning(
    "signs-lost: {short}",
    "Look whether X was written without its sign in all readings: it is below zero in none, though "
    "'{short}' and '{opened}' lie on opposite sides of the chart.",
)
ALL_ABOVE_ONE = warning(
    "linear-as-decibels: {label}",
    "Look whether linear magnitudes were taken for decibels: {labels} would reflect up to "
    "{high:.4g} of what comes, which is a magnitude of {high_db:.2g} written as dB.",
)
RADIANS = warning(
    "radians: {label}",
    "Look whether angles in radians were taken for degrees: all those of {labels} lie within 3.15 "
    "degrees of zero, where {why}.",
)
RADIANS_SHORT = "a raw short reads about 180"
RADIANS_STILL = "they scatter far less than its magnitudes, and noise does not"
UNIT = warning(
    "frequency-unit: readings",
    "Look whether the unit of the frequencies is right: they go from {low:.6g} to {high:.6g} MHz, "
    "where few such analyzers read; kHz written as MHz, or MHz as kHz, would make it so.",
)
TYPED_KHZ = note(
    "typed-khz: readings",
    "Is this {meant} MHz? The frequencies say {written}, in MHz, where few read a display, and no "
    "reading speaks against kHz. If they are kHz, write them in MHz; if {written} MHz is right, "
    "leave them.",
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

# What was read again

MOVED = warning(
    "moved: {of}",
    "Look for {look}, then read standards and devices anew: between its two readings '{of}' has "
    "{how} {where}, {far} times as far as what was stated explains{too}. So far it widens the "
    "uncertainty of every device.",
)
LEAD_LEFT = warning(
    "lead-left: {of}",
    "Take off the lead or adapter, of about {cm:.2g} cm if it is cable, that was left before "
    "'{of}' when it was read again, or state it as [[measurement.between]] if it lies before "
    "the device: '{of}' has turned clockwise as behind it {where}{too}. So far it widens the "
    "uncertainty of every device.",
)
MOVED_TOO = ", and {others} less far"
TURNED = "turned {way} by {degrees:g} degrees"
JUMPED = "jumped"
SHIFTED = "moved by up to {size:.2g} of reflection"
SHIFTED_LEAST = "moved by {size:.2g} of reflection or more"
EXCHANGED_WITH = "come to read as '{other}' did"
EXCHANGE = "an exchange of '{of}' and '{other}', there or here"
CORRECTED = "come to read as what it is, as if the instrument corrected it itself,"
ADAPTED = "a change of adapter"
STRETCHED = "warmth or cold that made the line before the standards {share:.2%} {longer}"
MIRRORED = "come to read with X of the other sign, {first_ohm:+.3g} and then {later_ohm:+.3g} ohm,"
LOST_SIGN = "a sign of X that was lost, first of all"
LEFT = "a lead or adapter that was left before it"
LOOSE, BENT = "a loose connector", "a lead that was bent"
DRIFTED = "an analyzer that drifted"
SWITCHED = "the instrument's own correction switched in between"

# Defaults that stood in for what the record does not say

DEFAULTS = note(
    "defaults: record",
    "The record does not say, so this was taken: {values}. State what you know of yours.",
)
BY_OHMMETER = " (measure it with an ohmmeter)"
