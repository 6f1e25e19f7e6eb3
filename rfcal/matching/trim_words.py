"""What the hand is told about a built network, by what the re-measured sweep says of it."""

import numpy as np

from rfcal import defaults
from rfcal.matching.element import value_words
from rfcal.matching.suspect import Suspect
from rfcal.matching.trim_fit import LARGER, STRAY_F

NOT_EXPLAINED = (
    "look for a wrong or bad connection, a changed load, or readings that are worth less than "
    "stated: no values of the parts agree with what was read",
    "look at {} and its connections: {}; if they are right, look for a changed load, or readings "
    "that are worth less than stated",
)
SEVERAL = (
    "measure each part by itself: more than one is off, and this sweep cannot tell which or by how "
    "much"
)


def velocity(together: list[Suspect]) -> str:
    """What to do where all pieces of one line are off by the same share, and no part else is."""
    cut = {s: s.element.line for s in together if s.element.line is not None}
    kinds = {(line.z0, line.velocity_factor) for line in cut.values() if line}
    if len(cut) < 2 or len(kinds) > 1:
        return ""
    changes, sigmas = np.array([(s.change, s.standard_uncertainty) for s in cut]).T
    share = float(np.average(changes, weights=sigmas**-2.0))
    length = np.array([float(s.element.value) for s in cut])
    alike = np.abs(changes - share) * length < 3 * sigmas * length + defaults.CUT_M
    other = any(abs(s.change) > 3 * s.standard_uncertainty for s in together if s not in cut)
    ((_, taken),) = kinds
    found = taken / (1 + share)
    if other or not np.all(alike) or np.any(abs(share) * length < 2 * defaults.CUT_M) or found > 1:
        return ""
    names = " and ".join(s.name for s in cut)
    pieces = " and ".join(
        f"{1e3 * one / (1 + share):.0f} mm for {s.name}" for s, one in zip(cut, length, strict=True)
    )
    return (
        f"measure the velocity factor of the cable: {names} read as cut from one of {found:.2f}, "
        f"where {taken:g} was taken; of that cut {pieces}"
    )


def changed(whole: bool, times: float) -> str:
    """A change of all of the load in words, or one of what lies across it."""
    if whole:
        return f"all of it {abs(100 * LARGER * times):.2g} % {'larger' if times > 0 else 'smaller'}"
    stray = value_words(float(f"{abs(STRAY_F * times):.2g}"), "F")
    return f"{stray} {'more' if times > 0 else 'less'} across it"


def told(
    verdict: str, off: list[Suspect], detail: str, alike: str, promised: float | None, *, few: bool
) -> str:
    """What to do by the verdict, and why.

    `detail` is how little each part could be off; `alike` are changes of the load that would look
    alike; `promised` as in `Trim`.
    """
    seem = f" {'and' if verdict == 'several parts' else 'or'} ".join(
        f"{s.name} is {s.size()}" for s in off
    )
    if promised is not None and np.isnan(promised) and off:
        return f"no change of its parts would clearly lower its SWR: {seem}"
    nothing_to_do = {
        "as designed": f"every part is as designed within what the readings can tell: {detail}",
        "changed load": f"measure the load again before you touch a part: {alike} than when it was "
        "measured explains the readings, and no part does as well",
        "unexplained": NOT_EXPLAINED[1].format(off[0].name, off[0].other())
        if off
        else NOT_EXPLAINED[0],
        "undecided": "" if off else SEVERAL,
    }
    if said := nothing_to_do.get(verdict):
        return said
    again = ""
    if alike or few or verdict == "several parts":
        so = alike and f" ({alike})"
        again = (
            f"measure the load again first: a load that has changed would look alike{so}; if it "
            "is as it was, "
        )
    if verdict == "undecided":
        cures, names = "; or ".join(s.cure() for s in off), " or ".join(s.name for s in off[:2])
        return (
            f"{again}measure {names} by itself; then {cures}. Until then the readings cannot tell "
            "which, the likelier first"
        )
    do = "; ".join(s.cure() for s in off)
    if verdict == "leads":
        hands = "; ".join(s.by_hand() for s in off)
        do = f"{hands}: the parts are as designed, or off by no more than leads of that length do"
    elif verdict == "either part":
        do = f"{off[0].by_hand()}, which helps whichever it is: {seem}"
    then = f"; that should bring the worst SWR to about {promised:.2f}" if promised else ""
    return f"{again}{do}{then}"
