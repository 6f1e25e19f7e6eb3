"""What part a device is."""

from rfcal.record.findings.catalogue.entry import note, warning

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
