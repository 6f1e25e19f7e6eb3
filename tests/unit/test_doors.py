"""What the library cannot mean it refuses at the door: one sentence of its own, never a guess."""

import re
from dataclasses import replace

import numpy as np
import pytest

import rfcal
from rfcal.errors import ArgumentError, CalibrationError, ReadingError, RfcalError
from rfcal.library.calibrated import calibrate
from rfcal.matching.parts import Capacitor, Inductor, Stub
from rfcal.maths.bilinear import Bilinear
from rfcal.maths.reflection import from_impedance, swr, to_admittance, to_impedance
from rfcal.maths.twoport import TwoPort
from rfcal.models.cables import cable
from rfcal.models.line import Line
from rfcal.models.standards import Standard, Tabulated
from rfcal.readings.sweep import Sweep

FREQUENCY = np.array([1e6, 2e6, 3e6])
BOX = Bilinear.from_error_terms([0.01] * 3, [0.02] * 3, [0.9] * 3)
KNOWN = [np.full(3, x, complex) for x in (-1, 1, 0)]
SEEN = [BOX.apply(k) for k in KNOWN]
ENDS = ("short", "open", "load")
LINE = Line(2.0)
READ = Sweep(FREQUENCY, BOX.apply([0.3] * 3), label="device")
GIVEN = {
    Standard(kind): Sweep(FREQUENCY, seen, label=kind)
    for kind, seen in zip(ENDS, SEEN, strict=True)
}
CALIBRATED = rfcal.calibrate(GIVEN)
DEVICE = CALIBRATED.correct(READ)

WRONG = {
    # an unknown kind, or one by another name
    "misspelt kind": (lambda: Standard("lod"), "'lod', and one of 'short', 'open', 'load'"),
    "kind in capitals": (lambda: Standard("Short"), "'Short'"),
    "kind as a number": (lambda: Standard(50.0), "50.0"),
    "kind of a table": (lambda: Standard("known"), "'known'"),
    # what a standard is
    "no resistance": (lambda: Standard("load", 0.0), "above 0"),
    "negative resistance": (lambda: Standard("load", -50.0), "-50"),
    "resistance in words": (lambda: Standard("load", "50"), "must be a number, found '50'"),
    "complex resistance": (lambda: Standard("load", 50 + 1j), "real number"),
    "infinite resistance": (lambda: Standard("load", np.inf), "finite"),
    "resistance is no number": (lambda: Standard("load", np.nan), "nan"),
    "true as resistance": (lambda: Standard("load", True), "True"),
    "resistance of an open": (lambda: Standard("open", 50), "no meaning for open"),
    "inductance of an open": (lambda: Standard("open", inductance=1e-9), "has no inductance"),
    "capacitance of a short": (lambda: Standard("short", capacitance=1e-12), "has no capacitance"),
    "five coefficients": (lambda: Standard("short", inductance=(1e-9,) * 5), "not 5"),
    "no coefficient": (lambda: Standard("short", inductance=()), "not 0"),
    "inductance in words": (lambda: Standard("short", inductance="1 nH"), "found '1 nH'"),
    "infinite inductance": (lambda: Standard("short", inductance=np.inf), "finite"),
    "delay in picoseconds": (lambda: Standard("open", offset_delay=33.0), "look at its unit"),
    "negative offset loss": (lambda: Standard("open", offset_loss=-1.0), "from 0"),
    "no offset impedance": (lambda: Standard("open", offset_z0=0.0), "from 0.001 to 1e+06"),
    "name as a number": (lambda: Standard("open", name=3), "found 3"),
    # how uncertain it is
    "misspelt uncertainty": (
        lambda: Standard("short", uncertainty={"inductanc": 1e-10}),
        "'inductanc', and one of 'reflection', 'inductance', 'delay'",
    ),
    "uncertain of another kind": (
        lambda: Standard("short", uncertainty={"resistance": 0.1}),
        "kind 'short' is 'resistance'",
    ),
    "negative uncertainty": (
        lambda: Standard("load", uncertainty={"reflection": -0.002}),
        "from 0",
    ),
    "endless uncertainty": (lambda: Standard("load", uncertainty={"reflection": np.inf}), "finite"),
    "uncertainty in words": (
        lambda: Standard("load", uncertainty={"reflection": "small"}),
        "found 'small'",
    ),
    "a bare uncertainty": (lambda: Standard("load", uncertainty=0.002), "a mapping from names"),
    # frequencies and references
    "frequency zero": (lambda: Standard("load").reflection([0.0, 1e6]), "above zero"),
    "negative frequency": (lambda: LINE.impedance([-1e6]), "above zero"),
    "frequency is no number": (lambda: LINE.propagation([np.nan]), "above zero"),
    "no frequency": (lambda: Standard("load").reflection([]), "found []"),
    "frequency in words": (lambda: LINE.wavelength_m("70 MHz"), "found '70 MHz'"),
    "complex frequency": (lambda: LINE.two_port([1e6 + 1j]), "real numbers"),
    "no reference": (lambda: Standard("load").reflection(FREQUENCY, z_ref=0), "from 0.001"),
    "negative reference": (lambda: to_impedance(0.3, -50.0), "above 0"),
    "reference in words": (lambda: from_impedance(50.0, "50 ohm"), "found '50 ohm'"),
    "endless reference": (lambda: to_admittance(0.3, np.inf), "finite"),
    "complex reference": (lambda: TwoPort.series(5.0).bilinear(50 + 5j), "real number"),
    # tables
    "table of two lengths": (lambda: Tabulated(FREQUENCY, [0.1, 0.2]), "(3,) and (2,)"),
    "table of ohms": (
        lambda: Tabulated(FREQUENCY, [75.0] * 3, name="stub"),
        "'stub' come to a reflection of 75",
    ),
    "table that falls": (lambda: Tabulated(FREQUENCY[::-1], [0.1] * 3), "ascending"),
    "table with a gap": (lambda: Tabulated(FREQUENCY, [0.1, np.nan, 0.1]), "not finite"),
    "table of words": (lambda: Tabulated(FREQUENCY, ["a", "b", "c"]), "must be numbers"),
    "table without reference": (lambda: Tabulated(FREQUENCY, [0.1] * 3, 0.0), "from 0.001"),
    "table with resistance": (
        lambda: Tabulated(FREQUENCY, [0.1] * 3, uncertainty={"resistance": 1}),
        "'resistance'",
    ),
    "table beyond its range": (
        lambda: Tabulated(FREQUENCY, [0.1] * 3).reflection([4e6]),
        "extrapolated",
    ),
    # lines
    "velocity factor in percent": (lambda: Line(1.0, 66), "66, and above 0 to 1 is possible"),
    "standing still": (lambda: Line(1.0, 0.0), "above 0"),
    "negative length": (lambda: Line(-1.0), "length of a line [m] is -1"),
    "length in words": (lambda: Line("12 m"), "found '12 m'"),
    "endless length": (lambda: Line(np.inf), "length"),
    "no line impedance": (lambda: Line(1.0, z0=0.0), "impedance of a line"),
    "negative conductor loss": (lambda: Line(1.0, conductor_db=-0.1), "from 0"),
    "negative dielectric loss": (lambda: Line(1.0, dielectric_db=-0.1), "from 0"),
    "loss is no number": (lambda: Line(1.0, conductor_db=np.nan), "nan"),
    "changed to a wrong line": (lambda: replace(LINE, velocity_factor=2), "2"),
    "draws in words": (lambda: Line(np.array([["a"]])), "must be numbers"),
    # maps
    "two points": (lambda: Bilinear.fit(KNOWN[:2], SEEN[:2]), "three points"),
    "a reading too few": (lambda: Bilinear.fit(KNOWN, SEEN[:2]), "3 known reflections and 2"),
    "two equal standards": (lambda: Bilinear.fit([KNOWN[0], *KNOWN[:2]], SEEN), "are the same"),
    "one sweep saved twice": (lambda: Bilinear.fit(KNOWN, [SEEN[0], *SEEN[:2]]), "are the same"),
    "two readings of three equal": (
        lambda: Bilinear.fit(KNOWN, [SEEN[0], SEEN[0], SEEN[2]]),
        "are the same",
    ),
    "equal at one frequency": (
        lambda: Bilinear.fit([KNOWN[0], [1, -1, 1], KNOWN[2]], SEEN),
        "are the same",
    ),
    "four of which two differ": (
        lambda: Bilinear.fit([*KNOWN[:2], *KNOWN[:2]], [*SEEN[:2], *SEEN[:2]]),
        "are the same",
    ),
    "points of two lengths": (lambda: Bilinear.fit([[-1, -1], [1] * 3, 0], SEEN), "(2,), (3,)"),
    "a number for points": (lambda: Bilinear.fit(3.0, SEEN), "one item for each point"),
    "an array of words": (
        lambda: Bilinear.fit([np.array(["a"] * 3), *KNOWN[1:]], SEEN),
        "known reflections must be numbers",
    ),
    "points in words": (lambda: Bilinear.fit(["short", "open", "load"], SEEN), "found 'short'"),
    "coefficients of two lengths": (lambda: Bilinear([1, 1], [0] * 3, 0, 1), "(2,), (3,)"),
    "coefficient in words": (lambda: Bilinear("1", 0, 0, 1), "coefficient a"),
    "reading in words": (lambda: BOX.correct("0.3"), "found '0.3'"),
    "no reading": (lambda: BOX.apply(None), "found None"),
    "directivity in words": (lambda: Bilinear.from_error_terms("0.01", 0, 1), "directivity"),
    # two-ports
    "series in words": (lambda: TwoPort.series("50"), "the impedance must be numbers"),
    "reflection in words": (lambda: swr("1.5"), "found '1.5'"),
    "several references": (lambda: to_impedance(0.3, [50.0, 75.0]), "found [50.0, 75.0]"),
    "error terms of two lengths": (
        lambda: Bilinear.from_error_terms([0.01] * 2, [0.02] * 3, 0.9),
        "(2,), (3,)",
    ),
    "a weight too few": (
        lambda: Bilinear.fit([*KNOWN, [1j] * 3], [*SEEN, [0.9j] * 3], [1, 1, 1]),
        "4 points and 3 weights",
    ),
    "a bare uncertainty of a cable": (
        lambda: cable("RG-213", 1.0, uncertainty=0.1),
        "a mapping from names",
    ),
    "name of a table as a number": (
        lambda: Tabulated(FREQUENCY, [0.1] * 3, name=3),
        "found 3",
    ),
    "a reading longer than the map": (lambda: BOX.apply([0.1] * 4), "(4,)"),
    "a reading shorter than the map": (lambda: BOX.correct([0.1] * 2), "(2,)"),
    "maps of two lengths": (
        lambda: BOX @ Bilinear.from_error_terms([0.01] * 4, 0, 1),
        "two maps must go together",
    ),
    "a section of two lengths": (
        lambda: Bilinear.section([0.1] * 2, [0.1] * 3),
        "mismatch and round trip must go together",
    ),
    "weights of zero": (
        lambda: Bilinear.fit([*KNOWN, 0.5], [*SEEN, 0.4], [0, 0, 0, 0]),
        "a weight is a finite number above zero",
    ),
    "a weight that is no number": (
        lambda: Bilinear.fit([*KNOWN, 0.5], [*SEEN, 0.4], [1, 1, 1, np.nan]),
        "a weight is a finite number above zero",
    ),
    "a complex weight": (
        lambda: Bilinear.fit([*KNOWN, 0.5], [*SEEN, 0.4], [1, 1, 1, 1j]),
        "a weight is a finite number above zero",
    ),
    "a velocity factor's percent": (
        lambda: Line(2.0, uncertainty={"velocity factor": 66}),
        "from 0 to 0.3",
    ),
    "a length's kilometres": (lambda: Line(2.0, uncertainty={"length": 1e9}), "from 0 to 1000"),
    "nanohenries as henries": (
        lambda: Standard("short", uncertainty={"inductance": 1.0}),
        "from 0 to 0.001",
    ),
    "inductance in nanohenries": (lambda: Standard("short", inductance=0.35), "look at its unit"),
    "capacitance in femtofarads": (lambda: Standard("open", capacitance=50), "look at its unit"),
    "gigaohms as ohms": (lambda: Standard("short", offset_loss=2.3), "stated in Gohm/s"),
    "a load of draws": (
        lambda: calibrate({Standard("load", np.full((3, 1), 50.0)): Sweep(FREQUENCY, [0.1] * 3)}),
        "is many draws",
    ),
    "a sweep of no network": (lambda: Sweep.from_network(3), "a network of scikit-rf, found 3"),
    "masked readings": (
        lambda: Sweep(FREQUENCY, np.ma.masked_array([0.1, 9.0, 0.1], [False, True, False])),
        "reflections must be numbers, and number 2 is masked",
    ),
    "masked frequencies": (
        lambda: Sweep(np.ma.masked_less(FREQUENCY, 2e6), [0.1] * 3),
        "frequencies must be numbers, and number 1 is masked",
    ),
    "impedances for reflections": (
        lambda: Sweep(FREQUENCY, [150 + 20j, 48.0, 0.3], label="antenna"),
        "the sweep 'antenna' has 48 at most points, and no reflection is so large: is this an "
        "impedance? Use rfcal.from_impedance",
    ),
    "a map of no number": (lambda: Bilinear(np.nan, 0, 0, 1), "finite numbers"),
    "a map of nothing": (lambda: Bilinear(0, 0, 0, 0), "one of them not zero"),
    "a map and a number": (lambda: BOX @ 3, "two of one kind, found 3"),
    "an analyzer that is deaf": (lambda: Bilinear.from_error_terms(0, 0, 0), "tracking not 0"),
    "a point of no number": (lambda: Bilinear.fit([-1, 1, 0], [-1, np.nan, 0]), "finite numbers"),
    "an endless point": (lambda: Bilinear.fit([-1, 1, 0], [-1, np.inf, 0]), "finite numbers"),
    "from a reference in words": (lambda: BOX.renormalised("a", 50), "a real number, found 'a'"),
    "from a negative reference": (lambda: BOX.renormalised(-50, 50), "from 0.001"),
    "to no reference": (lambda: BOX.renormalised(50, 0), "from 0.001"),
    "a piece in words": (lambda: LINE.two_port(FREQUENCY, "x"), "must be numbers, found 'x'"),
    "a piece of no number": (lambda: LINE.two_port(FREQUENCY, np.nan), "nan, and zero or more"),
    "a negative piece": (lambda: LINE.two_port(FREQUENCY, -1.0), "-1.0, and zero or more"),
    "pieces too few": (lambda: LINE.two_port(FREQUENCY, [1.0, 2.0]), "(3,), (2,)"),
    "off by another name": (lambda: Standard("load").off("x", 1), "'x', and one of"),
    "off in words": (lambda: Standard("load").off("resistance", "x"), "a number, found 'x'"),
    "off by nothing": (lambda: Standard("load").off("resistance", None), "found None"),
    "a name of two lines": (lambda: Standard("load", name="a\nb"), "a line of text"),
    "a table in megahertz": (lambda: Tabulated([1, 2, 3], [0.1] * 3), "is it 3 MHz?"),
    "a sweep of words": (lambda: Sweep(FREQUENCY, [0.1] * 3, effects="x"), "each an Effect"),
    "a mean of words": (lambda: Sweep(FREQUENCY, [0.1] * 3, parts=("x",)), "found 'x'"),
    "a file's name as origin": (lambda: Sweep(FREQUENCY, [0.1] * 3, origin="x"), "an Origin or"),
    "reference assumed in words": (
        lambda: Sweep(FREQUENCY, [0.1] * 3, assumed_reference="x"),
        "True or False, found 'x'",
    ),
    "noise in words": (lambda: READ.quantity(50, "x"), "a real number, found 'x'"),
    "noise below zero": (lambda: READ.quantity(50, -1), "from 0"),
    "in a negative reference": (lambda: READ.quantity(-1), "from 0.001"),
    "behind words": (lambda: DEVICE.behind("x"), "each a PathElement, found 'x'"),
    "behind a word": (lambda: DEVICE.behind(("x",)), "each a PathElement, found 'x'"),
    "a number besides": (lambda: DEVICE.touchstone(3), "a text, found 3"),
    "perhaps by force": (lambda: DEVICE.save("x.s1p", force="no"), "True or False, found 'no'"),
    "progress in words": (lambda: rfcal.read("x.s1p", progress="x"), "a function, found 'x'"),
    "progress of calibrating": (lambda: rfcal.calibrate(GIVEN, progress=3), "a function, found 3"),
    "progress of correcting": (lambda: CALIBRATED.correct(READ, progress=3), "a function"),
    "told in words": (lambda: rfcal.compute("x", say="x"), "a function, found 'x'"),
    "a value in words": (lambda: rfcal.Value("a", 1, 2), "must be a number, found 'a'"),
    "a complex value": (lambda: rfcal.Value(1j, 1, 2), "a real number, found 1j"),
    "a value from above": (lambda: rfcal.Value(1, 5, 2), "from 5 to 2"),
    "an answer in words": (lambda: rfcal.Answer("a", 1, 2, 3), "a real number, found 'a'"),
    "an error of no words": (lambda: RfcalError(3), "a text, found 3"),
    "an analyzer of numbers": (lambda: rfcal.CalibratedAnalyzer(1, 2), "a Bench, found 1"),
    "a device of numbers": (lambda: rfcal.Device(*range(7)), "a text, found 0"),
    "results of numbers": (lambda: rfcal.Results(*range(7)), "a Record, found 0"),
    "half of no interval": (lambda: rfcal.workbook.plus_minus(3.0, np.nan), "half of an interval"),
    "no frequency to plan for": (lambda: rfcal.workbook.usual_setup(np.nan), "above zero"),
    "a coil wound backwards": (lambda: Inductor(-1), "Inductor: inductance_h is -1"),
    "a coil of no number": (lambda: Inductor(np.nan), "inductance_h is nan"),
    "a coil without Q": (lambda: Inductor(1e-6, q=0), "Inductor: q is 0, and above 0"),
    "a capacitor in words": (lambda: Capacitor("x"), "capacitance_f must be a number, found 'x'"),
    "a stray below zero": (lambda: Capacitor(1e-12, 100, -1e-9), "series_h is -1e-09"),
    "a stub's misspelt end": (lambda: Stub(LINE, "opne"), "'opne', and one of 'open', 'short'"),
    "a stub of no line": (lambda: Stub(2.0, "open"), "a piece of Line, found float"),
    "rows of two lengths": (lambda: to_impedance([[0.1], [0.1, 0.2]]), "rows of one length"),
}


@pytest.mark.parametrize("case", WRONG)
def test_what_cannot_be_meant_is_refused(case):
    call, words = WRONG[case]
    with pytest.raises(RfcalError) as caught:
        call()
    said = str(caught.value)
    assert words in said
    assert len(said) < 300
    assert "\n" not in said
    assert isinstance(caught.value, ArgumentError | CalibrationError)


def test_what_is_no_number_is_no_open():
    assert np.isnan(from_impedance([complex(np.nan, 1.0), 50.0])).tolist() == [True, False]
    assert from_impedance([np.inf, complex(0, -np.inf)]).tolist() == [1, 1]
    assert np.isnan(to_impedance(np.nan))


def test_lists_and_numbers_do_where_arrays_do():
    box = Bilinear.fit([-1, 1, 0], [-0.9, 0.8, 0.02])
    assert box.apply(0.0) == pytest.approx(0.02)
    assert box.correct([0.8, 0.02]) == pytest.approx([1.0, 0.0])
    four = Bilinear.fit([-1, 1, 0, 1j], [-0.9, 0.9, 0, 0.9j], [1, 1, 1, 1])
    assert four.reflection_tracking == pytest.approx(0.9)
    rows = Bilinear.fit([[-1, -1, -1], [1, 1, 1], 0], [s.tolist() for s in SEEN])
    assert rows.directivity == pytest.approx(BOX.directivity)
    assert Standard("short", inductance=1e-9).reflection([70e6]) == pytest.approx(
        Standard("short", inductance=(1e-9,)).reflection(np.array([70e6]))
    )
    assert Standard("short", inductance=np.array([1e-9, 1e-18])).reflection([1e6] * 3) == (
        pytest.approx(Standard("short", inductance=(1e-9, 1e-18)).reflection([1e6] * 3))
    )
    table = Tabulated(FREQUENCY, [0.1, 0.2, 0.3])
    assert table.reflection(1.5e6) == pytest.approx(table.reflection([1.5e6]))
    assert Line(2).impedance([1e6, 2e6]).shape == (2,)
    assert to_impedance([0, 0.5]) == pytest.approx([50, 150])
    whole = Sweep(np.ma.array(FREQUENCY), np.ma.array([0.1] * 3))
    assert whole.reflection == pytest.approx([0.1] * 3)


@pytest.mark.parametrize(
    ("thing", "name"),
    [
        (BOX, "a"),
        (Bilinear.fit(KNOWN, SEEN), "d"),
        (BOX.invert(), "b"),
        (BOX @ BOX, "c"),
        (Bilinear([1.0], [0.0], [0.0], [1.0]), "a"),
        (TwoPort.series([50.0]), "b"),
        (Tabulated(FREQUENCY, [0.1] * 3), "values"),
        (Tabulated(FREQUENCY, [0.1] * 3), "grid"),
        (Line(np.ones((2, 1))), "length_m"),
    ],
)
def test_arrays_of_what_is_frozen_are_read_only(thing, name):
    with pytest.raises(ValueError, match="read-only"):
        getattr(thing, name)[0] = 2.0


def test_a_table_keeps_its_values_when_the_arrays_it_was_made_from_change():
    values = np.full(3, 0.1, complex)
    table = Tabulated(FREQUENCY, values)
    values[:] = 0.9
    assert table.reflection(FREQUENCY) == pytest.approx([0.1] * 3)
    stated = {"reflection": 0.01}
    standard = Standard("load", uncertainty=stated)
    stated["reflection"] = 1.0
    assert standard.uncertainty["reflection"] == 0.01
    with pytest.raises(TypeError):
        standard.uncertainty["reflection"] = 1.0


def test_draws_lead():
    draws = np.array([[49.0], [51.0]])
    assert Standard("load", draws).reflection(FREQUENCY).shape == (2, 3)
    assert Line(draws / 10, 0.66).impedance(FREQUENCY).shape == (3,)
    assert Line(1.0, z0=draws, conductor_db=0.1).impedance(FREQUENCY).shape == (2, 3)


def test_megahertz_written_as_hertz_are_asked_about():
    with pytest.raises(ReadingError, match=r"is it 70\.3 MHz\?"):
        Sweep([70.2, 70.3], [0.1, 0.1])


def test_a_point_without_a_number_is_named():
    with pytest.raises(ReadingError, match=r"^the sweep 'antenna': point 2 is not a number: leave"):
        Sweep(FREQUENCY, [0.1, np.nan, 0.1], label="antenna")


def test_a_corrected_device_cannot_be_written_over():
    figures, budget = DEVICE.figures, DEVICE.budget
    for values in (DEVICE.interval, figures["swr"].low, figures["q"].value, *budget.values()):
        with pytest.raises(ValueError, match="read-only"):
            values[0] = 0
    for mapping in (figures, budget):
        with pytest.raises(TypeError):
            mapping["swr"] = None


def test_the_interval_of_what_reads_as_active_holds_its_value():
    # far beyond the chart, as from a slip of the pen: R is below zero, and its interval with it
    answer = CALIBRATED.correct(Sweep(FREQUENCY, [0.3, 1e5, 0.3])).at(2e6)
    value, low, high = map(float, re.findall(r"-?[\d.]+", str(answer.resistance))[:3])
    assert low < value < high < 0
