"""Networks of scikit-rf in and out; whatever has their frequencies, parameters and z0 will do."""

from typing import Any, Protocol, runtime_checkable

import numpy as np

from rfcal.errors import ArgumentError
from rfcal.maths.arguments import LEAST_OHM, MOST_OHM, frequencies, numbers
from rfcal.maths.reflection import Complex, Real, renormalise


@runtime_checkable
class Network(Protocol):
    """What is needed of a network: frequencies [Hz], scattering parameters, impedance and name."""

    f: Any
    s: Any
    z0: Any
    name: Any


def parameters_of(network: Network, ports: int) -> tuple[Real, Complex, float]:
    """Frequencies [Hz], scattering parameters (F, ports, ports) [1] and their reference [ohm].

    Parameters in references that differ from port to port, or over frequency, are those of 50 ohm
    after this, where one port is asked for.
    """
    if not isinstance(network, Network):
        raise ArgumentError(f"a network of scikit-rf is expected, found {type(network).__name__}")
    frequency, s = frequencies(network.f), numbers(network.s, "scattering parameters")
    name = f"the network '{network.name}'" if network.name else "the network"
    if s.shape != (frequency.size, ports, ports):
        hint = ": pass one of its parameters, such as network.s11" if ports == 1 else ""
        raise ArgumentError(
            f"{name} has parameters of shape {s.shape}, and {ports} port(s) are wanted{hint}"
        )
    z0 = np.broadcast_to(numbers(network.z0, "the impedance of a network"), (frequency.size, ports))
    if np.any(np.imag(z0)) or np.any(np.real(z0) < LEAST_OHM) or np.any(np.real(z0) > MOST_OHM):
        raise ArgumentError(
            f"{name} has a reference impedance of {z0.flat[0]:g} ohm, and a real one from "
            f"{LEAST_OHM:g} to {MOST_OHM:g} is wanted: renormalize it"
        )
    first = float(np.real(z0.flat[0]))
    if np.all(z0 == first):
        return frequency, s, first
    if ports > 1:
        raise ArgumentError(f"{name} has several reference impedances: renormalize it to one")
    return frequency, renormalise(s, np.real(z0)[:, :, None], 50.0), 50.0


def network_of(frequency: Real, reflection: Complex, z_ref: float, name: str) -> Any:
    """A network of scikit-rf with one port."""
    import skrf

    grid = skrf.Frequency.from_f(frequency, unit="hz")
    return skrf.Network(frequency=grid, s=reflection[:, None, None], z0=z_ref, name=name)
