"""A common-mode choke: where it holds back, by how much."""

import numpy as np
from numpy.typing import NDArray

from rfcal.uncertainty.derived import Figure


def holds_back(size: Figure, least_ohm: float) -> NDArray[np.bool_]:
    """Where an impedance is above this with all of its interval."""
    return np.asarray(size.low >= least_ohm)


def widest(frequency: NDArray[np.float64], where: NDArray[np.bool_]) -> tuple[float, float] | None:
    """The widest band [Hz] without a gap, by the ratio of its ends; None without any."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], where, [False]]).astype(int)))
    bands = [(float(frequency[a]), float(frequency[b - 1])) for a, b in edges.reshape(-1, 2)]
    return max(bands, key=lambda band: band[1] / band[0], default=None)
