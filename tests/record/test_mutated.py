"""The same thousand mutated files each time; `tests/benchmarks/fuzz.py` tries many more."""

from random import Random

import pytest

from rfcal.errors import ReadingError
from rfcal.readings.touchstone import read_touchstone
from tests.mutated import VERSION2, doors, enter


def test_mutated_files_are_read_or_refused(filed, page_of_files, tmp_path):
    rng, entered = Random(1), doors(tmp_path / "doors", filed, page_of_files)
    for _ in range(1000):
        enter(rng, entered)


@pytest.mark.parametrize(
    ("line", "number", "fragment"),
    [
        ("[Mixed-Mode Order] D2,1", 7, "mixed modes"),
        ("[Mixed-Mode Order] S1 S2", 7, "mixed modes"),
        ("[Matrix Format] Lower", 7, "full one"),
        ("[Two-Port Data Order] 11_22", 7, "12_21 nor 21_12"),
        ("[Reference] 50 75", 7, "different reference"),
        ("[Reference] (50,1) (50,1)", 7, "reference impedance"),
        ("[Number of Ports] 4", 7, "2 port(s)"),
        ("[Odd] 1", 7, "no keyword"),
    ],
)
def test_an_adapter_of_version_2_is_refused_with_its_line(line, number, fragment):
    text = VERSION2.replace("[Network Data]", f"{line}\n[Network Data]")
    with pytest.raises(ReadingError) as caught:
        read_touchstone(text, "adapter.s2p", ports=2)
    assert caught.value.line == number
    assert fragment in str(caught.value)


@pytest.mark.parametrize("order", ["21_12", "12_21"])
def test_the_order_of_two_ports(order):
    """Witness: scikit-rf reads the same file."""
    import io

    from skrf.io.touchstone import Touchstone

    text = VERSION2.replace("21_12", order).replace("0.9 0.1 0.9 0.1", "0.9 0.1 0.7 0.3")
    stream = io.StringIO(text)
    stream.name = "adapter.ts"
    _, seen = Touchstone(stream).get_sparameter_arrays()
    _, found, z_ref, _ = read_touchstone(text, "adapter.s2p", ports=2)
    assert found == pytest.approx(seen, abs=1e-15)
    assert z_ref == 50.0
