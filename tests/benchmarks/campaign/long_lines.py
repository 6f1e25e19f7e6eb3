"""A line check of 30 to 60 m: in steps that show all of it, or in too few points."""

from typing import Any

import numpy as np

from tests.benchmarks.campaign.physics import LIGHT, Coax, impedance, reflected
from tests.benchmarks.campaign.sessions import (
    Bench,
    Session,
    artefact,
    coax_of,
    draw_box,
    draw_standards,
)

NEAR_M = 1.5
"""A place that is farther from everything that is there is wrong [m]."""
CLEAR = 0.05
"""What reflects less is not told as a place [1]."""


def draw_line(seed: tuple[int, ...], few: bool) -> tuple[Session, list[float]]:
    """A line with a fault, its end open or short, and the places of both [m]."""
    rng = np.random.default_rng(seed)
    kind = str(rng.choice(["RG-58C", "RG-213", "RG-8X", "foam 10 mm", "foam 5 mm"]))
    length, velocity = round(rng.uniform(30, 60), 1), coax_of(kind, 1.0).velocity
    true = coax_of(kind, length, velocity=velocity + rng.normal(0, 0.005))
    fault, ohm = rng.uniform(0.1, 0.8) * length, rng.uniform(15, 60)
    shown = length * (rng.uniform(0.3, 0.8), rng.uniform(1.5, 3.0))[0 if few else 1]
    points = int(rng.integers(51, 102)) if few else int(rng.integers(151, 302))
    step = round(velocity * LIGHT / (2 * shown))
    frequency = 2e6 + step * np.arange(points)
    near = Coax(fault, true.velocity, true.z0, true.conductor, true.dielectric)
    far = Coax(length - fault, true.velocity, true.z0, true.conductor, true.dielectric)
    end = rng.choice([-1.0, 1.0])

    def seen(f):
        behind = impedance(far(f).seen(end + 0j * f)) + ohm  # a resistance in series
        return near(f).seen(reflected(behind))

    worth = {"noise": round(float(rng.uniform(0.0003, 0.001)), 5), "connection": 0.001}
    bench = Bench(rng, frequency, worth | {"drift": 0.0005}, draw_box(rng))
    standards = draw_standards(rng, frequency, "defaults", four=False)
    for table, reflection in standards:
        bench.read(table["name"], reflection, late=False)
    check = artefact(rng, "check", "load", way="defaults", r=33.0)
    bench.read("check", check[1])
    bench.read("line", seen)
    said: dict[str, Any] = {"line": kind}
    if rng.uniform() < 0.5:
        said |= {"length_m": length, "length_uncertainty_m": 0.1}
    session = Session(
        seed=seed,
        frequency=frequency,
        analyzer=worth,
        readings=bench.readings,
        standards=[table for table, _ in standards],
        checks=[check[0]],
        rereads=[],
        measurement={},
        device=seen,
        path_of="",
        path=None,
        typed="",
        kind="line",
        band="wide",
        line_check=said,
    )
    return session, [float(fault), length]


def misplaced(places: list[float], found: np.ndarray, size: np.ndarray) -> bool:
    """Whether a clear reflection is told where nothing is, or nothing where one is."""
    told = found[np.abs(size) > CLEAR]
    fault, end = places
    # echoes that go to and fro between fault and end come after it
    there = np.array([fault, end, 2 * end - fault, 2 * end, 2 * fault, 3 * end - 2 * fault])
    wrong = [np.min(np.abs(there - place)) > NEAR_M for place in told]
    missed = [np.min(np.abs(told - place), initial=np.inf) > NEAR_M for place in places]
    return any(wrong) or any(missed)
