"""Random valid Touchstone files, dressed at random: scikit-rf reads the same of the plain file."""

import io

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from skrf.io.touchstone import Touchstone

from rfcal.readings.touchstone import read_touchstone

UNITS = {"Hz": 1.0, "kHz": 1e3, "MHz": 1e6, "GHz": 1e9}


def seen_by_the_witness(text, name):
    stream = io.StringIO(text)
    stream.name = name
    return Touchstone(stream).get_sparameter_arrays()


@settings(max_examples=150, deadline=None)
@given(
    unit=st.sampled_from(list(UNITS)),
    # version 1 admittances are left out: scikit-rf 2.2 scales them by R where it should divide
    kind=st.sampled_from([("S", 1), ("Z", 1), ("S", 2), ("Z", 2), ("Y", 2)]),
    form=st.sampled_from(["MA", "DB", "RI"]),
    z_ref=st.sampled_from([50.0, 75.0, 12.5]),
    ports=st.sampled_from([1, 2]),
    seed=st.integers(0, 2**32 - 1),
    dress=st.randoms(use_true_random=False),
)
def test_dressed_files_are_read_as_the_witness_reads_them_plain(
    unit, kind, form, z_ref, ports, seed, dress
):
    rng, (parameter, version) = np.random.default_rng(seed), kind
    parameter = parameter if ports == 1 else "S"
    points = int(rng.integers(1, 6))
    frequency = np.cumsum(rng.uniform(1e6, 2e6, points)) / UNITS[unit]
    numbers = rng.uniform(0.05, 0.9, (points, 2 * ports**2))
    option = f"# {unit} {parameter} {form} R {z_ref!r}"
    head = [option]
    if version == 2:
        head = ["[Version] 2.0", option, f"[Number of Ports] {ports}"]
        head += ["[Two-Port Data Order] 12_21"] if ports == 2 else []
        head += [f"[Number of Frequencies] {points}", "[Network Data]"]
    rows = [
        " ".join(map(repr, map(float, (f, *row))))
        for f, row in zip(frequency, numbers, strict=True)
    ]
    plain = "\n".join([*head, *rows, *(["[End]"] if version == 2 else [])]) + "\n"
    name = "a.ts" if version == 2 else f"a.s{ports}p"
    hertz, s = seen_by_the_witness(plain, name)
    found_hertz, found, found_ref, _ = read_touchstone(dressed(plain, dress), name, ports=ports)
    assert found_hertz == pytest.approx(hertz, rel=1e-14)
    assert found == pytest.approx(s, rel=1e-12, abs=1e-13)
    assert found_ref == z_ref


def dressed(text, dress):
    """The same in another case, with remarks, other spaces, line ends and stray words."""
    lines = []
    for line in text.splitlines():
        line = dress.choice([str.upper, str.lower, str])(line)
        line = line.replace(" ", dress.choice([" ", "   ", "\t"]))
        line = dress.choice(["", " ", "\t"]) + line + dress.choice(["", "  ", " ! remark, 1 2 3"])
        lines += [line, *dress.choice([[], [""], ["! 1 2 3"]])]
    stray = dress.choice([[], ["BEGIN"]]), dress.choice([[], ["END"], ["END", "EOF"]])
    return dress.choice(["\n", "\r\n", "\r"]).join([*stray[0], *lines, *stray[1]])
