"""The state of a line."""

from rfcal.feedline.faults.kinds import FAULT_KINDS, STRETCH_OF, Z_STEP
from rfcal.record.findings.catalogue import note, warning

LINE_FAULT = warning("line-fault: line check", "{sentence}")
_FROM = "from where the standards were connected"
LINE_FROM = {"": f" {_FROM}", " on": f", counted {_FROM}"}
"""Behind the first place of a sentence."""
LINE_NEW = "new reflection{s} at {places}, {kind}{look}"
LINE_AS_SOUND, LINE_NEXT_VISIT = "as a sound connector may", "look there at the next visit"
LINE_NEW_SMALL = f"new but small reflection{{s}} at {{places}}: {LINE_NEXT_VISIT}"
LINE_PLACE = "reflection{s} at {places}, {kind}"
LINE_BEFORE = "that is before {end}"
LINE_LOOK_THERE, LINE_SWEEP_FIRST = ": look there", ": sweep in smaller steps before you look"
LINE_ONE_END = "that may be the line's end: state length_m to be sure"
LINE_OVER = (
    "by the stated loss more than all comes back from {there}, which cannot be: look at the "
    "cable's type"
)
LINE_WHICH_END = "which of these is the line's end is not known: state length_m"
LINE_GONE = "the reflection at {place}, {size}, is gone"
LINE_WHOLE = " over the whole sweep"
"""Behind the size of a line's end, which at an antenna's own frequency is another."""
LINE_MOST = "it changed most at {most_mhz:.4g} MHz, by {most:.2g} (phase counted)"
LINE_CHANGED = "has changed"
LINE_CAME = ": at {mhz:.4g} MHz what comes back to the foot is {after} and was {before}"
LINE_TURNED = (
    "reflects as much as before, but at another phase; that may be a line that was cut or made "
    "longer (ask on the ground), or is warmer or colder, or an antenna that was moved, retuned or "
    "got wet"
)
LINE_NO_OTHER = "no other place changed, and what warmth did to the line is in these figures"
LINE_LOSS_HIDDEN = (
    "whether the line itself loses more cannot be told beside that: sweep it with its far end open "
    "or short, and compare with an earlier such sweep"
)
LINE_THROUGH = "what lies beyond is seen through it and seems changed too"
LINE_NONE_BEYOND, LINE_UP_TO = "nothing is seen beyond {it}", "up to there the line is as it was"
LINE_CLOSED = "the line now ends at {place} in what reflects {after}, as {like}"
LINE_LIKE = {
    "open": "an open line does: look there for a break, or for what came off",
    "short": "a shorted line does: look there for what shorts it",
    "unknown": "an open or shorted line does, or an antenna far off its band: look there",
}
"""What reflects nearly all at the end, and did not."""
LINE_GROWN = "the reflection at {place} has {how}, {kind}{look}; it was {before} and is {after}"
LINE_CHANGED_BY = (
    "what reflects at {place} has changed by {size}, {kind}{look}; what was there before cannot be "
    "told from the line's end (resolution {near} m)"
)
LINE_GONE_FOOT = (
    "the baseline alone has a reflection at the standards' plane, {size}: it was probably read "
    "under another calibration"
)
LINE_IF_WET = (
    "{place} ({wet_m:.1f} m along the line if it is wet or other cable from {from_m:.1f} m "
    "to there)"
)
LINE_THROUGH_IT = {
    "all": ", which this alone can explain",
    "perhaps": ", which this alone may explain, or this and an antenna off by a few per cent",
    "more": ", but more changed at the line's end than this explains: look at the antenna too",
    "not known": "; whether the antenna changed too is not known",
    "not seen": ": mend this and sweep again, as the antenna cannot be judged before",
}
LINE_HIDES = "its last {near} m"
LINE_END = (
    f"what the line ends in (antenna, feed point), or something in {LINE_HIDES}, at {{place}} "
)
LINE_ANYWHERE = "what the line ends in (antenna, feed point), or something anywhere on it, "
LINE_SOMEWHERE = "anywhere up to {near} m"
LINE_UNPLACED = (
    "this band cannot tell places on the line apart (resolution {near} m): {length}sweep "
    "{needed:.3g} MHz wide or wider"
)
LINE_STATE_LENGTH = "state length_m, and "
LINE_PERHAPS = "what appears at {places}, is how the line's end answers, or a place of its own"
LINE_ABOUT = (
    "what may end the line (antenna, feed point), or something within {near} m of it, at {place} "
)
LINE_LONGER = "from {place} on{other}, the line is {size} m {more} than it was: {look}"
LINE_OR_FROM = ", or from {place:.1f} m on unless a plain joint or leak is there"
LINE_LOOK = {
    "longer": "ask on the ground whether a piece was put in (then state length_m as it is now), "
    "else look for water or a crush, which slow the wave",
    "shorter": "ask on the ground whether it was cut or a piece taken out (then state length_m as "
    "it is now), else look whether water has dried",
}
LINE_LOOK_BREAK = (
    "its end may reflect all, so look for a break there first, else whether a piece was taken "
    "out, or whether water has dried"
)
LINE_LOST = (
    "the line {loses} {more} dB {way} than {than} at {middle}, along its {length_m:.0f} m or in a "
    "part of them ({per_100m:.2g} dB per 100 m {way} if all along){look}"
)
LINE_LOST_BY_HEAT = (
    "; a much colder line does so, or one that has dried, or an end that reflects more: sweep it "
    "once more when it is as warm as it was",
    "; a much hotter line does so, or the first water or age, or an end that reflects less: sweep "
    "it once more when it is as cold as it was, its far end open too if it still loses more",
)
LINE_LOST_SINCE = "it did when its far end was swept"
LINE_LOST_LOOK = "look for old or wet cable"
LINE_LOST_TYPE = "look for old or wet cable, or a cable of another type"
LINE_LOST_PERHAPS = "a wider sweep of its far end open and short tells whether it does"
LINE_LOST_OR_END = (
    "as old or wet cable does, or what it ends in reflects less: a wider sweep, or one with the "
    "far end open or short, tells which"
)
LINE_SOUND = "the line is as it was: nothing reflects otherwise by {least:g} or more up to {end}"
LINE_WEATHER = (
    "the line is as it was but for weather: it loses {size} dB {more} at {middle}, no more "
    "than a {warmer} day makes it, and nothing else reflects otherwise by {least:g} or more up to "
    "{end}; if it was as warm in both sweeps, look at what the line ends in"
)
LINE_LOSS_MOVED = "its loss is {size} dB {more} at {middle}: "
LINE_OR_END = (
    "with a velocity factor of {fits:.2f}, not {stated:.2f}, what reflects at {place:.1f} m is the "
    "line's end"
)
LINE_TYPE_FIRST = "look at the cable's type first: {other}; else "
LINE_OR_TYPE = "; or, {other}"
LINE_BEHIND_LOSS = (
    "{kind} behind cable that loses more than the stated type (look at its print first: metres "
    "change with it)"
)
LINE_OTHER = (
    "look at the cable's type first, then at length_m: with a velocity factor of {fits}, not "
    "{stated:.2f}, what reflects at {place:.1f} m is the line's end, and metres here are by that"
)
LINE_BY_TYPE = "{place:.1f} m by the stated type"
LINE_BEYOND = (
    "look for a piece that was put in, at the cable's type, and for water, which slows the wave; "
    "the record's {length_m:g} m are too short by a piece of {piece} m if that is the same cable "
    "(its electrical length is {electrical:.1f} m), or the velocity factor is {fits:.2f} and not "
    "{stated:.2f}"
)
LINE_STRETCH = {
    STRETCH_OF.format("lower"): "if it is wet, it is so from {start:.1f} m on to between "
    "{near:.1f} and {far:.1f} m",
    STRETCH_OF.format("higher"): "if it is a piece of other cable, of some {ohm:.2g} ohm, it "
    "goes from {start:.1f} m on to {far:.1f} m as this cable counts",
}
LINE_SILENT = (
    "nothing is seen to reflect {least:g} or more up to {range_m:.0f} m, not even an end: the line "
    "ends in its own impedance, or farther off"
)
LINE_NO_FAULT = "no{other} place reflects {size} or more before {end}"
LINE_SMALL = "small reflection{s} at {places}, {kind}"
LINE_NO_MORE = "nothing else before {end} is seen to reflect {size:g} or more"
LINE_SMALLER = (
    f"nothing{{other}} before {{end}} reflects more than {{size}}, at {{place}}, {LINE_AS_SOUND}"
)
LINE_END_HIDES = f"a fault in {LINE_HIDES} would not be told from the end"
LINE_END_ITSELF = "{end}{seen} reflects {size}"
LINE_END_DIPS = " by a mean over the band, and {least} at {mhz:.4g} MHz"
LINE_END_UNSEEN = {
    True: "the line's end by the record, which this band does not tell from what is nearer",
    False: "the line's end by the record, where hardly anything reflects",
}
LINE_END_STATED = " (by the record at {length_m:.4g} m)"
LINE_END_SEEN = (
    " (seen at {seen} m, as an antenna's own delay, jumpers or another type of cable make it)"
)
LINE_END_KINDS = {
    "open": ", as an open line does (broken there, or no antenna connected: look there), or, if "
    "this is not its band, a sound antenna far below it",
    "short": ", as a shorted line does: look there for what shorts it",
}
LINE_FROM_START = (
    "from the very start the line is of about {ohm:.0f} ohm, not {z0:.3g}: look at the cable's "
    "print"
)
LINE_KINDS = {k.name: f"{k.means}, as of {k.like}" if k.like else k.means for k in FAULT_KINDS} | {
    "slow change": "a slow change over some length, as of water in the cable",
    "mismatch": "no single simple fault (a damaged length, a stub as of an arrestor, or faults "
    "close together)",
    Z_STEP: "a step of impedance, as of another cable, or of a wet or crushed one",
    "unknown": "of a kind that this sweep cannot tell",
}
"""What a kind of fault may be on a line (common practice, no source)."""
LINE_MAYBE_END = "no single simple fault (an antenna, a damaged length, or faults close together)"
"""The same of what may be the line's end."""
LINE_FITS = {k.name: k.means for k in FAULT_KINDS} | {
    Z_STEP: "a step of impedance (other or wet cable from there on)",
    STRETCH_OF.format("lower"): "a stretch of lower impedance (wet, crushed or other cable)",
    STRETCH_OF.format("higher"): "a stretch of higher impedance (chafed, kinked or other cable)",
}
"""The same in a list of those that fit."""
LINE_ANY = "of a kind that so narrow a band cannot tell (a joint, a kink, water, other cable)"
LINE_TELL_TWINS = (
    "a resistance takes up power and a step or stretch of other impedance does not: sweep once "
    "more, the line as it is now, with the far end open or short and name that sweep as reading, "
    "beside the line's type: what comes back tells by its size which of the two stands before it"
)
LINE_TELL_BAND = (
    "so narrow a band hardly tells kinds apart: a sweep from {low:.3g} to {high:.3g} MHz does"
)
LINE_TELL_RINGING = "a sweep of the line with its far end open or short tells which"
LINE_TELL_LOSS = "what the line loses would tell more: state its type, or its loss"

LINE_RINGS = "what appears at {places} m rings at or behind {end} and is no place"
LINE_NO_PLACE = "which is no place if the line ends at {length_m:.4g} m"
LINE_LENGTH = warning(
    "line-length: line check",
    "The record says that the line is {length_m:g} m long, and more reflects from {beyond_m:.1f} m "
    "than from there: look whether a piece of line was forgotten, and correct length_m or the "
    "velocity factor.",
)
LINE_NARROW = note(
    "line-narrow: line check",
    "This sweep is {width_mhz:.3g} MHz wide, so places within {near_m} m of each other or of "
    "the line's end appear as one: a sweep {needed_mhz:g} MHz wide or wider tells them apart from "
    "{aim_m:.2g} m on.",
)
LINE_LOSS_UNSEEN = note(
    "line-loss-unseen: line check",
    "Sweep the line as it is now with its far end open, and name that as reading, or open and "
    "short, as far_end_open and far_end_short: unless that was done today, what water or age made "
    "it lose does not show behind what it ends in.",
)
LINE_FIGURES = (
    "its velocity factor is {seen:.3f}, where its type has {type:.3g}",
    "its impedance is {seen:.0f} ohm, where its type has {type:.3g}",
    "it loses {seen:.1f} dB at {at:.4g} MHz, where its type does {type:.1f}",
)
LINE_NOT_TYPE = note(
    "line-not-type: line check",
    "By the line's own sweeps {figures}: this is no cable of the stated type, or length_m is "
    "wrong. Look at the cable's print, and state what it is.",
)
LINE_FOLDED = warning(
    "line-folded: line check",
    "Sweep in steps below {least_mhz:.2g} MHz{state_it}: in these of {step_mhz:.3g} MHz what lies "
    "beyond {range_m:.0f} m appears nearer by that, so what seems to be at {place_m:.1f} m may as "
    "well be at {beyond_m:.1f} m.",
)
LINE_OR_STATE = ", or state length_m"
LINE_STEPS = warning(
    "line-steps: line check",
    "Sweep in steps below {least_mhz:.3g} MHz ({points} points): those of {step_mhz:.3g} MHz show "
    "{range_m:.0f} m of this line's {length_m:.4g} m{beyond}.",
)
LINE_FOLDS_BACK = (
    ", and what lies beyond appears nearer by that: a place may lie {range_m:.0f} m farther than "
    "said, or a multiple of that, and then reflects more than said"
)
LINE_RINGS_BACK = (
    " and hardly more: what an antenna answers later appears in the first {tail_m:.2g} m, so that "
    "what seems to be there may be such ringing"
)
LINE_STEPS_FIRST = "Sweep first in steps below {least_mhz:.3g} MHz ({points} points). "
LINE_UNFOLLOWED = warning(
    "line-unfollowed: line check",
    "Distances may be folded, as these steps leave open whether the line is {length_m:.4g} m long "
    "or {range_m:.0f} m more: state length_m in place of velocity_factor, or halve the steps.",
)
LINE_SINCE = warning(
    "line-since: line check",
    "The line has changed since its far end was swept. Mend it, or sweep its far end as it is now, "
    "before you trust R and X of {devices}: they are of {what} too.",
)
LINE_SINCE_PLACE = "what reflects at {place_m:.1f} m"
LINE_SINCE_LOSS = "the loss that the line has gained"
LINE_MISFIT = warning(
    "line-misfit: line check",
    "The far end's sweeps are off those of a uniform line by {residual:.2g} (root mean square of "
    "the reflection), where {expected:.2g} was to be expected, so its properties are doubtful: "
    "look whether the far end was really open or short, whether one calibration served both, "
    "whether the line was damaged or in several pieces, and whether it is longer than the steps "
    "show (state length_m, or sweep in smaller steps).",
)
