"""What part a device is."""

from rfcal.record.findings.catalogue import note, warning

PART_POINTS = warning(
    "part-points: {name}",
    "Read '{name}' at {needed} frequencies or more: {points} are too few for the fit of a circuit, "
    "so no values of the part are given.",
)
PART_MISFIT = warning(
    "part-misfit: {name}",
    "Look for leads and fixture at '{name}', sweep it less widely, or take R and X at each "
    "frequency: no circuit that was tried describes it, so no values of it are given. The nearest, "
    "{model}, leaves {size:.2g} of reflection where {expected:.1g} is expected.",
)
PART_NEGATIVE = warning(
    "part-negative: {name}",
    "Look at the standards, and at what lies between them and '{name}': it comes out with a "
    "negative {parameter}, which no such part has, so no values of it are given.",
)
PART_FIXTURE = warning(
    "part-fixture: {name}",
    "Use shorter leads for '{name}', or a fixture made for such a part: at {mhz:.6g} MHz the "
    "fixture adds {percent:.0f} % of the part's own |Z|, so no values of it are given.",
)
PART_HEAT = note(
    "part-heat: {name}",
    "Feel '{name}' after minutes of transmitting: its impedance is mostly resistance, which warms "
    "it, and a choke that holds back well at milliwatts may fail at power, as its core grows hot "
    "(common practice, no source).",
)
PART_OUTSIDE = warning(
    "part-outside: {name}",
    "Sweep '{name}' more widely, or state `model`: it resonates outside its sweep from "
    "{first_mhz:.6g} to {last_mhz:.6g} MHz or is none of the parts that rfcal knows, so no values "
    "of it are given.",
)
PART_RESONANCE = note(
    "part-resonance: {name}",
    "Sweep more widely to know where '{name}' resonates with itself: it is not seen from "
    "{first_mhz:.6g} to {last_mhz:.6g} MHz.",
)
PART_RIVALS = note(
    "part-rivals: {name}",
    "Sweep '{name}' more widely, or state `model`: its sweep does not tell {model} from {rivals}, "
    "so the values are those of the first, as the plainest.",
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
