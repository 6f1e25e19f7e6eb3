"""Every number that stands in where a record or a call states nothing, with its unit and reason.

All uncertainties are standard uncertainties (k = 1). "Common practice" marks a fact of the trade
that has no source.
"""

from collections.abc import Mapping
from types import MappingProxyType

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

ANALYZER: Mapping[str, float] = MappingProxyType(
    {"noise": 0.0005, "connection": 0.001, "resolution_ohm": 0.1, "drift": DRIFT}
)
"""What one raw reading is worth: noise and connection of each axis [1], step of the display [ohm],
drift of each error term [1] (common practice, no source)."""

RESIDUAL: Mapping[str, float] = MappingProxyType(
    {"directivity": 0.01, "source_match": 0.02, "tracking": 0.01}
)
"""Residual errors [1] of an instrument that says nothing of its own (common practice, no source).

40 dB of residual directivity is what a plain load standard leaves, source match is usually some
6 dB worse, and 0.01 of tracking is 0.09 dB.
"""

STANDARD: Mapping[str, Mapping[str, float]] = MappingProxyType(
    {
        "short": {"reflection": 0.002, "inductance": 0.1e-9},
        "open": {"reflection": 0.002, "capacitance": 25e-15},
        "load": {"reflection": 0.002},
        "known": {"reflection": 0.005},
    }
)
"""Of a standard, by its kind (common practice, no source).

A plain part's stray inductance is known to about 0.1 nH, an open's fringing capacitance lies
within some 10 to 90 fF (25 fF is that range's half-width over the square root of three), and none
of them repeats its own drawing to better than 0.002 of reflection. `LOAD_RELATIVE` and
`OFFSET_DELAY_S` come besides. Keys: ``reflection`` [1], ``delay`` [s], ``inductance`` [H],
``capacitance`` [F], ``resistance`` [ohm].
"""

LOAD_RELATIVE = 0.01 / 3**0.5
"""Of a load's resistance, in parts of it: a plain resistor of 1 % lies anywhere within that (common
practice, no source)."""

OFFSET_DELAY_S = 3.3e-12
"""Of an offset line's one-way delay [s]: 1 mm of air, 7 ps there and back (common practice, no
source)."""

OWN_OFFSET_DELAY_S = 10e-12
"""Of the one-way delay of an offset standard of one's own making [s].

It is 2 mm of coaxial line of velocity factor 0.66, or 3 mm of air: as well as one can say where in
a plug the reference plane lies, and where behind it an end of one's own making (common practice, no
source). That is three times `OFFSET_DELAY_S`, which is for what comes with its figures.
"""

SKIN_EFFECT = 0.3
"""Of a cable's reactance inside its conductors about that of a developed skin effect, in parts of
it: thin centres, plating (common practice, no source)."""

PATH: Mapping[str, float] = MappingProxyType(
    {
        "length": 0.01,
        "velocity factor": 0.01,
        "impedance": 0.02,
        "loss": 0.1,
        "skin effect": SKIN_EFFECT,
        "far end": 0.002,
        "adapter": 0.003,
    }
)
"""Of what lies between plane and device (common practice, no source).

Length [m] as a tape measure gives it; velocity factor [1] and impedance [1, relative] as cables of
one type differ; loss [1, relative] as tables of one type differ, where the type does not
bring its own; reactance inside the conductors [1, relative]; reflection [1] of a soldered short and
of an open at a line's far end; scattering parameters [1] of an adapter from a file.
"""

LINE_LENGTH_M = 0.1
"""Of a feed line's length by tape [m] (common practice, no source)."""

POWER_W = 1.0
"""Power at which volts and amperes of a network are stated [W]: both go with its square root."""

TARGET_SWR = 1.5
"""Standing wave ratio that a network must reach [1]: 4 % of the power comes back, and transmitters
run at full power (common practice, no source)."""

SERIES = "E24"
"""Preferred values that shops keep of parts of 5 % (common practice, no source)."""

TOLERANCE = 0.05
"""Of coils and capacitors as they are bought, in parts of their value (common practice, no
source)."""

INDUCTOR_Q = 100.0
"""Of a small coil, wound by hand or bought [1] (common practice, no source)."""

CAPACITOR_Q = 1000.0
"""Of a ceramic or mica capacitor at high frequency [1] (common practice, no source)."""

INDUCTANCE_H = (1e-9, 1e-3)
"""Smallest and largest coil to be had [H] (common practice, no source)."""

CAPACITANCE_F = (0.5e-12, 1e-6)
"""Smallest and largest capacitor to be had [F] (common practice, no source)."""

CUT_M = 1e-3
"""Lengths of line are cut to this [m]: what a ruler shows."""

STOCK_CABLE, STOCK_OHM = "RG-213", (50.0, 75.0)
"""What sections and stubs are cut from: loss and velocity of this cable, and these impedances [ohm]
(the two that are sold everywhere; common practice, no source)."""
