"""Networks for a match."""

from rfcal.record.findings.catalogue import warning

MATCH_VOLTAGE = warning(
    "match-voltage: {devices}",
    "At {power_w:g} W there are up to {volt:.0f} V and {ampere:.1f} A peak in {networks}, and "
    "across a coil or capacitor in the device its reactance times the current there (100 ohm at "
    "{inside:.2g} A peak make {across} V): {advice}, switch the transmitter off and make sure "
    "before you touch, and keep to your regulator's exposure limits and local codes.",
)
ADVICE = (
    "currents heat coils and capacitors and burn fingers",
    "use parts that stand it, enclose them",
)
MATCH_NONE = warning(
    "match-none: {device}",
    "There is no network of these topologies and parts; what stands in the way of each is said "
    "with the match. Ask for other topologies, parts, or another place.",
)
MATCH_TARGET = warning(
    "match-target: {device}",
    "No network of these parts{bought} holds SWR {target:g} {over}; the lowest that one comes to "
    "is {best}{far}. {remedy}.",
)
MATCH_UNKNOWN = warning(
    "match-unknown: {device}",
    "Build nothing yet to match '{device}': its R may as well be zero or below it {where}. To know "
    "it, {first}.",
)
MATCH_LOAD = warning(
    "match-load: {device}",
    "{act}: its R and X leave so much open that even a network that fits them exactly holds the "
    "target for {share} of what the device may be. Most of that doubt comes from {sources}{first}.",
)
MEASURE_MORE = "Measure '{device}' better{before}"
SET_LAST = "Set {parts} of network 1 last when you match '{device}'"
MORE_HOLD = "Measure '{device}' better if more of such networks are to hold"
MATCH_STEP = warning(
    "match-step: {device}",
    "Measure the load in steps of {step_mhz:.2g} MHz or less{before}: it moves so far "
    "{where} from one point of the sweep to the next that its SWR between them is a guess, and "
    "so is which network is best.",
)
MATCH_PLANE = warning(
    "match-plane: {device}",
    "The SWR at the standards' plane comes to {swr} in {z_ref:g} ohm, {matched}: what lies between "
    "has another impedance than the target of {target_ohm:g} ohm. Match at the calibration plane, "
    "or take the line's own impedance for target_ohm and match once more there.",
)
