"""What the trim says of built networks with one part off, by the load's SWR: a table to be read.

Wanted: the part right wherever one is named, its value inside its 95 % in nearly all of them, and
"cannot tell" rare, with the part among those named; what is called as designed lies within what is
said to be told; at once. Nothing is asserted; `pytest -s` prints it.
"""

import time

import numpy as np
import pytest

from rfcal.matching.trim import trim
from tests.built_networks import FREQUENCY, drawn

SWRS = ((1.6, 5), (5, 25), (25, 100))


@pytest.mark.parametrize("seed", [5301, 5302])
def test_what_is_said_of_networks_with_one_part_off(seed):
    rng = np.random.default_rng(seed)
    print(
        f"\nseed {seed}\nload's SWR   cases  one part  right  inside  cannot tell  of those named  "
        "as designed  of those within  other  ms each"
    )
    for low, high in SWRS:
        said = {"one part": 0, "undecided": 0, "as designed": 0, "other": 0}
        right = inside = among = within = 0
        spent = 0.0
        for _ in range(67):
            network, name, change, load, built = drawn(rng, low, high)
            start = time.perf_counter()
            found = trim(network, FREQUENCY, load, built)
            spent += time.perf_counter() - start
            said[found.verdict if found.verdict in said else "other"] += 1
            if found.verdict == "one part":
                part = found.off[0]
                right += part.name == name
                pull = abs(part.change - change) / part.standard_uncertainty
                inside += part.name == name and pull < 1.96
            if found.verdict == "undecided":
                among += name in {part.name for part in found.off}
            if found.verdict == "as designed":
                part = next(part for part in found.alone if part.name == name)
                within += 100 * abs(change) < float(part.told().split()[-2])
        print(
            f"{low:4g} to {high:4g} {sum(said.values()):7d} {said['one part']:9d} {right:6d} "
            f"{inside:7d} {said['undecided']:12d} {among:15d} {said['as designed']:12d} "
            f"{within:16d} {said['other']:6d} "
            f"{1e3 * spent / 67:8.0f}"
        )
