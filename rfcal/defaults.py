"""Every number that stands in where a record or a call states nothing, with its unit and reason.

All uncertainties are standard uncertainties (k = 1). "Common practice" marks a fact of the trade
that has no source.
"""

import math
from collections.abc import Mapping

REFERENCE_OHM = 50.0
"""Reference impedance of results [ohm]: what coaxial instruments are made for (common practice,
no source)."""

LOAD_OHM = 50.0
"""Resistance of a load, and impedance of an offset line [ohm]: kits are made for lines of 50 ohm
(common practice, no source)."""

VELOCITY_FACTOR = 0.66
"""Of a line [1]: solid polyethylene, 1 / sqrt(2.26), rounded (common practice, no source)."""

SEED = 1
"""Of random draws, so that a report repeats to the byte."""

DRIFT = 0.0005
"""Each error term's drift between calibration and measurement [1] (common practice, no source).

As large as the noise of one reading of a small analyzer: what warms up for half an hour and is
used within the hour is seldom worse; after a day, or out of doors, ten times as much is.
"""

ANALYZER: Mapping[str, float] = {
    "noise": 0.0005,
    "connection": 0.001,
    "resolution_ohm": 0.1,
    "drift": DRIFT,
}
"""What one raw reading is worth: noise and connection of each axis [1], step of the display [ohm],
drift of each error term [1] (common practice, no source)."""

RESIDUAL: Mapping[str, float] = {"directivity": 0.01, "source_match": 0.02, "tracking": 0.01}
"""Residual errors [1] of an instrument that says nothing of its own (common practice, no source).

40 dB of residual directivity is what a plain load standard leaves, source match is usually some
6 dB worse, and 0.01 of tracking is 0.09 dB.
"""

BUILD = "connector"
"""How a standard is built that does not say: a plug with a soldered short, an empty plug, a
resistor soldered into a plug, are what people have (common practice, no source)."""

BUILT: Mapping[str, Mapping[str, Mapping[str, float]]] = {
    "machined": {
        "short": {"reflection": 0.002, "inductance": 0.02e-9},
        "open": {"reflection": 0.002, "capacitance": 5e-15},
        "load": {"reflection": 0.002, "inductance": 0.05e-9, "capacitance": 20e-15},
    },
    "connector": {
        "short": {"reflection": 0.002, "inductance": 0.1e-9},
        "open": {"reflection": 0.002, "capacitance": 25e-15},
        "load": {"reflection": 0.002, "inductance": 0.7e-9, "capacitance": 100e-15},
    },
    "leaded": {
        "short": {"reflection": 0.002, "inductance": 1.5e-9},
        "open": {"reflection": 0.002, "capacitance": 100e-15},
        "load": {"reflection": 0.002, "inductance": 3e-9, "capacitance": 200e-15},
    },
}
"""Of a standard, by how it is built and by its kind (all common practice, no source).

``reflection`` [1]: none of them repeats its own drawing to better than this. ``inductance`` [H]
and ``capacitance`` [F] are how far strays may be from what is stated of them, which is nil where
nothing is: about the most that is met, over the square root of three.

Wire has 0.7 to 1 nH per mm. A machined short is one piece, and a machined load a film across the
line. In a plug a short is a washer or a drop of solder (within 0.2 nH of what it is taken for), and
a resistor cut to its body lies 1 mm across the gap (up to 1.2 nH). On wire leads a short has 2 or 3
mm of them (up to 2.6 nH), a resistor 3 to 5 mm and its own body (up to 5 nH).
The fringing field of an open plug lies between 10 and 90 fF, that of a machined one within 10 fF of
its drawing; free wires have up to 0.2 pF. Across a resistor there are pin and pads in a plug, up to
0.2 pF, and its leads besides, up to 0.4 pF.
"""

LOAD_RELATIVE: Mapping[str, float] = {
    "machined": 0.005 / 3**0.5,
    "connector": 0.01 / 3**0.5,
    "leaded": 0.01 / 3**0.5,
}
"""Of a load's resistance, in parts of it, by build: a machined load of 0.5 % and a plain resistor
of 1 % lie anywhere within that (common practice, no source)."""

OFFSET_DELAY_S: Mapping[str, float] = {"machined": 1e-12, "connector": 3.3e-12, "leaded": 10e-12}
"""Of the one-way delay of an offset line that is stated [s], by build: 0.3 mm, 1 mm and 3 mm of air
(common practice, no source)."""

STANDARD: Mapping[str, Mapping[str, float]] = {**BUILT[BUILD], "known": {"reflection": 0.005}}
"""Of a standard that does not say how it is built, and of one known by a file, by kind: a file is
as good as the instrument that wrote it (common practice, no source)."""

OWN_OFFSET_DELAY_S = 10e-12
"""Of the one-way delay of an offset standard of one's own making [s].

It is 2 mm of coaxial line of velocity factor 0.66, or 3 mm of air: as well as one can say where in
a plug the reference plane lies, and where behind it an end of one's own making (common practice, no
source). That is three times `OFFSET_DELAY_S` of a plug that comes with its figures.
"""

SKIN_EFFECT = 0.3
"""Of a cable's reactance inside its conductors about that of a developed skin effect, in parts of
it: thin centres, plating (common practice, no source)."""

PATH: Mapping[str, float] = {
    "length": 0.01,
    "velocity factor": 0.01,
    "impedance": 0.02,
    "loss": 0.1,
    "skin effect": SKIN_EFFECT,
    "far end": 0.002,
    "adapter": 0.003,
}
"""Of what lies between plane and device (common practice, no source).

Length [m] as a tape measure gives it; velocity factor [1] and impedance [1, relative] as cables of
one type differ; loss [1, relative] as tables of one type differ, where the type does not bring its
own (both are a fact of the type, so they stand with it in `models/cables.py`); reactance inside the
conductors [1, relative]; reflection [1] of a soldered short and of an open at a line's far end;
scattering parameters [1] of an adapter from a file.
"""

LINE_LENGTH_M = 0.1
"""Of a feed line's length by tape [m] (common practice, no source)."""

PLANNED_LENGTH_M = 0.05
"""Of what lies before a device, its own sweeps or a file will tell of, and nothing does while it is
planned [m]: a fixture or an adapter with its plugs (common practice, no source)."""

USEFUL, AVERAGED = 0.5, 16
"""A plan calls an interval useful up to this half-width, of R over R, of X over the size of the
impedance [1]: half as much more or less tells what to do; and where it proposes to average, it is
so many sweeps, which take a few minutes and leave a quarter of the noise (common practice, no
source)."""

WEATHER_LOSS = 0.06
"""Of a line's loss that weather may change [1]: 30 K, of which copper gains 0.39 % of resistance
each (value from memory), half of it in loss (the skin effect's square root)."""

NO_WEATHER_STRETCH, NO_WEATHER_LOSS = 0.005, 0.15
"""A line's delay and loss are changed by more than these parts of themselves by no weather [1]: the
`WEATHER_K` of another day make 0.003 and 0.06 of it (common practice, no source)."""

WEATHER_K, STRETCH_PER_K = 30.0, 1e-4
"""By how much another day may be warmer or colder [K], and what a kelvin does to a line's delay, in
parts of it, either way, at most (common practice, no source)."""

POWER_W = 1.0
"""Power at which volts and amperes of a network are stated [W]: both go with its square root."""

TARGET_SWR = 1.5
"""Standing wave ratio that a network must reach [1]: 4 % of the power comes back, and transmitters
run at full power (common practice, no source)."""

POWER_STEP_DB = 0.1
"""Networks whose delivered power differs by less are told apart by their parts [dB]: 2 % of the
power, which nobody hears or sees on a meter (common practice, no source)."""

NEAR_MISS, LITTLE_DB = 1.2, 0.2
"""So much of the target's SWR above 1 is missed by a hair [1], where a network brings less power
than that [dB] or the target may be held (common practice, no source)."""

NOTED_LOSS_DB, MUCH_LOSS_DB = 1.0, 3.0
"""A network's loss from which it is said in words, a fifth of the power, and the one that is too
much where less would do, half of it [dB] (common practice, no source)."""

SMALL_LOSS_DB = 0.3
"""Loss up to which a network is held against what one without loss could do [dB]: more loss lowers
the SWR by itself (common practice, no source)."""

MUCH_CABLE_M = 10.0
"""Cable in a network from which on coils and capacitors are the easier way [m] (common practice, no
source)."""

PREFERRED = "E24"
"""Preferred values that shops keep of parts of 5 % (common practice, no source)."""

TOLERANCE = 0.05
"""Of coils and capacitors as they are bought, in parts of their value (common practice, no
source)."""

WOUND_TOLERANCE = 0.1
"""Of coils wound by hand as told, in parts of their value: by diameter, pitch and ends (common
practice, no source)."""

INDUCTOR_Q = 100.0
"""Of a small coil, wound by hand or bought [1] (common practice, no source)."""

CAPACITOR_Q = 1000.0
"""Of a ceramic or mica capacitor at high frequency [1] (common practice, no source)."""

SURE_YIELD, TRIM_SPAN = 0.9, 0.15
"""Where fewer networks hold the target, one part or two are adjustable, to this share of the value
on both sides [1]: three times its usual tolerance (common practice, no source)."""

LEAST_KNOWN, LEAST_YIELD, YIELD_STEP = 0.5, 0.6, 0.15
"""Nothing is built for a device where an exact match would hold the target for less of what it may
be, or less of the networks would; and of one so much less must hold than of another to stand behind
it, whatever parts it saves [1] (common practice, no source)."""

YIELD_DRAWS, FEWEST_DRAWS, MOST_DRAWN = 4000, 400, 4_000_000
"""Draws of parts and of the measured load for the share of networks that hold the target, which is
then known to 0.8 %; fewer of a long sweep, for no more values than the last stand in memory at
once, and not fewer than the second [1]."""

VOLT_MARGIN = 2.0
"""Of a capacitor's rated voltage over the peak that it carries [1] (common practice, no source)."""

VOLT_CLASSES = (50, 100, 250, 500, 1000, 2000, 3000, 5000, 10_000)
"""What capacitors are sold for [V] (common practice, no source)."""

TRIMMERS_F = tuple(1e-12 * c for c in (5, 10, 20, 30, 60, 100, 200, 365, 500, 1000))
"""What trimmers and, above 100 pF, variable capacitors have at most [F] (common practice, no
source)."""

LEAST_OF_TRIMMER, MOST_OF_TRIMMER = 0.2, 500.0
"""Of a trimmer's capacitance, what it cannot go below [1], and what it stands [V] (common practice,
no source)."""

FORMERS_M = tuple(1e-3 * d for d in (3, 4, 5, 6, 8, 10, 12, 16, 20, 25, 32, 40, 50, 63))
"""What coils are wound on: drills and tubes [m] (common practice, no source)."""

WIRES = ((1.5, 0.8e-3), (5.0, 1.5e-3), (math.inf, 2.5e-3))
"""Up to a peak current [A], the diameter of a coil's wire [m] (common practice, no source)."""

PITCH = (1.1, 2.0, 3.0)
"""Least, wanted and largest distance of a coil's turns, in diameters of the wire: wider than
touching, so that they can be squeezed and spread (common practice, no source)."""

CAPACITOR_A = 2.0
"""Peak current that an ordinary small capacitor stands at radio frequencies [A]: its losses heat it
(common practice, no source)."""

CUT_LONG = 0.05
"""Pieces of line are cut longer by this share at first [1]: cables of one type differ in velocity
factor by a few percent (common practice, no source)."""

SMALL_PARTS_HZ, SMALL_COIL_H, SMALL_CAPACITOR_F = 30e6, 5e-9, 1.5e-12
"""From this frequency on the smallest coil and capacitor that a network is built of: leads and pads
are as large. Below it they grow with the wavelength, up to ten times (common practice, no
source)."""

LARGE_COIL_OHM, LARGE_CAPACITOR_OHM = 3e3, 1.0
"""Reactance of the largest coil, whose own resonance comes near, and of the largest capacitor that
a network is built of [ohm] (common practice, no source)."""

OWN_RESONANCE, SMALL_LEADS_H = 2.0, 1e-9
"""Times the frequency at which a coil resonates with its own capacitance, and a capacitor with its
leads, at least: nearer they are far from their value [1]; and what the shortest leads and pads have
[H] (common practice, no source)."""

LEAD_M, LEAD_H_PER_M, STRAY_F = 3e-3, 1e-6, 0.3e-12
"""Of what is built with care: the leads of a coil or a capacitor at most, both together [m] (common
practice, no source), the inductance of such wire [H/m] (value from memory), and what pads and wires
near it add across it at most [F] (common practice, no source)."""

SHORT_WAVES, SHORT_M = 1 / 200, 0.02
"""Shortest section or stub, in wavelengths on it: joints are as long; and in metres, for both ends
of a cable are stripped (common practice, no source)."""

CUT_M = 1e-3
"""Lengths of line are cut to this [m]: what a ruler shows."""

STOCK_CABLE, STOCK_OHM = "RG-213", (50.0, 75.0)
"""What sections and stubs are cut from: loss and velocity of this cable, and these impedances [ohm]
(the two that are sold everywhere; common practice, no source)."""

PORT_MATCH = 0.05
"""Reflection of each port where a part is measured between two [1]: 26 dB, as small analyzers and
attenuators have it (common practice, no source)."""

ISOLATION = 1e-4
"""What passes from port to port beside the part [1]: 80 dB (common practice, no source)."""

CHOKE_OHM = 1000.0
"""Impedance above which a common-mode choke holds back enough [ohm]: ten times and more of what an
antenna's outer path has (common practice, no source)."""

FALSE_ALARM = 0.005
"""Chance that anything which noise and stated doubts alone may turn is a warning in a sound record,
all its tests together [1]: who is warned in vain once in a few years still looks (common practice,
no source)."""

CHECK_OHM = (10.0, 200.0)
"""Of a resistor that shows a wrong load or exchanged sweeps as a check [ohm]: farther out it reads
nearly as a short or an open, where a wrong load moves little."""
CHECK_WORDS = "between {:g} and {:g} ohm and not 25, 50 or 100".format(*CHECK_OHM)

FAR_CHECK = 2.4
"""Of a resistor that shows a wrong path, in parts of the reference impedance [1]: its reflection is
large enough to turn visibly and far enough from an open to lose by loss (common practice, no
source)."""

SERIES_PART = 0.02
"""Of the reactance of a part in series with a device [1]: parts are sold to 5 %, evenly spread."""
