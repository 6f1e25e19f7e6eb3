"""Numbers in results.json end where their uncertainty's do, and what has no value is null."""

import json

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rfcal.record.json_text import DIGITS, Told, chunks, once

SIZES = st.floats(1e-15, 1e15)


def read_back(value):
    return json.loads("".join(chunks(value)), parse_constant=pytest.fail)


@given(st.lists(st.tuples(st.floats(-1e12, 1e12), SIZES), min_size=1, max_size=20))
def test_what_is_written_is_off_by_a_ten_thousandth_of_the_uncertainty_at_most(pairs):
    values, uncertain = np.array(pairs).T
    found = np.array(read_back(Told(values, uncertain)), float)
    assert np.all(np.abs(found - values) <= 1e-4 * uncertain + 1e-14 * np.abs(values))


@given(st.lists(SIZES, min_size=1, max_size=20))
def test_an_uncertainty_has_its_own_digits(sizes):
    text = "".join(chunks(Told(np.array(sizes))))
    assert json.loads(text) == pytest.approx(sizes, rel=0.5 * 10.0 ** (1 - DIGITS))
    for number in text[1:-1].split(","):
        assert len(number.split("e")[0].replace(".", "").strip("0")) <= DIGITS


def test_what_has_no_value_is_null_and_what_has_no_bound_keeps_digits():
    values = np.array([np.nan, np.inf, -np.inf, 1.23456789])
    assert read_back(Told(values, np.full(4, np.inf))) == [None, None, None, 1.2346]
    assert read_back(Told(np.array([complex(1.5, np.nan)]), 0.1)) == [[1.5, None]]


def test_long_sweeps_are_whole():
    values = np.arange(30_000) / 7
    found = read_back(
        {"a": Told(values, 1e-3), "b": [{"c": Told(values * 1j, 1e-3)}], "d_hz": values}
    )
    assert np.array(found["a"]) == pytest.approx(values, abs=1e-7)
    assert np.array(found["b"][0]["c"])[:, 1] == pytest.approx(values, abs=1e-7)
    assert found["d_hz"] == values.tolist()


def test_what_does_not_change_is_said_once():
    assert once(np.array(["linear", "linear"])) == "linear"
    assert once(np.array([1.0, np.inf])) == [1.0, None]
    assert once(np.full(3, np.inf)) is None


def test_other_numbers_end_where_the_uncertainty_beside_them_does():
    found = read_back(
        {
            "length_m": 39.80083059128613,
            "length_uncertainty_m": 0.0234123823521,
            "swr": [1.0195667948430156, 2.0],
            "answer_hz": 70_200_000.5,
            "places": [{"size": 0.1 + 0.2, "more": None}],
        }
    )
    assert found["length_m"] == 39.800831
    assert found["length_uncertainty_m"] == 0.0234124
    assert found["swr"] == [1.01957, 2]
    assert found["answer_hz"] == 70_200_000.5
    assert found["places"] == [{"size": 0.3, "more": None}]


def test_residues_of_rounding_are_zero_and_what_stays_the_same_within_its_digits_is_said_once():
    residue = Told(np.array([-9e-17 + 2e-17j, 3e-17j]), 5e-4)
    assert read_back(residue) == [[0, 0], [0, 0]]
    tiny = np.array([np.inf, -np.inf, np.nan, 1e-17, 1e-9])
    assert read_back(Told(tiny, 1e9)) == [None, None, None, 0, 0]
    assert read_back(Told(tiny, 1.0)) == [None, None, None, 0, 1e-9]
    assert read_back(Told(tiny, np.inf)) == [None, None, None, 1e-17, 1e-9]
    assert read_back(once(residue)) == [0, 0]
    one_apart = np.ones(7)
    one_apart[2] = 1.01
    assert read_back(once(Told(one_apart, 1.0))) == one_apart.tolist()
    assert once(Told(np.ones(7) + 1e-9 * one_apart, 1.0)) == 1
