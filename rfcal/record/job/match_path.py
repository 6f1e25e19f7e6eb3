"""What lies before and behind the place of a match: what it loses and what is seen through it."""

from dataclasses import replace

import numpy as np

from rfcal.feedline.power import loss_of, whole_map
from rfcal.matching.goal import Goal
from rfcal.matching.network import Network
from rfcal.maths.reflection import from_impedance, swr
from rfcal.measurement.deembedding import Cable, Step
from rfcal.measurement.model import Inputs
from rfcal.record.format.match import MatchRequest
from rfcal.uncertainty.quantity import Quantity


def before(request: MatchRequest, inputs: Inputs) -> Inputs:
    """The path from the standards' plane to the network's input only.

    Parameters
    ----------
    request : MatchRequest
        What is asked for; a place on the line needs a path of one line known by its figures.
    inputs : Inputs
        The device's reading and all it depends on.

    Returns
    -------
    Inputs
        The same, without the path from the network to the device.
    """
    if request.place == "calibration plane":
        return replace(inputs, path=())
    if isinstance(request.place, float):
        return replace(inputs, path=(_piece(inputs, _length_m(inputs) - request.place),))
    return inputs


def _behind(request: MatchRequest, inputs: Inputs) -> Inputs:
    """The path from the network to the device only."""
    if request.place == "calibration plane":
        return inputs
    if isinstance(request.place, float):
        return replace(inputs, path=(_piece(inputs, request.place),))
    return replace(inputs, path=())


def _cable(inputs: Inputs) -> Cable:
    (step,) = inputs.path
    assert isinstance(step.element, Cable)
    return step.element


def _length_m(inputs: Inputs) -> float:
    return _cable(inputs).line.length_m


def _piece(inputs: Inputs, length_m: float) -> Step:
    """A piece of the line; all the doubt of the whole line's length is in it."""
    cable, step = _cable(inputs), inputs.path[0]
    whole = step.parameters[0]
    length = Quantity(whole.value - cable.line.length_m + length_m, whole.effects)
    element = replace(cable, line=replace(cable.line, length_m=length_m))
    return replace(step, element=element, parameters=(length, *step.parameters[1:]))


def path_db(
    request: MatchRequest, inputs: Inputs, reflection: Quantity, z_ref: float
) -> float | None:
    """Loss of the path with the match in its place, at the design frequency.

    Parameters
    ----------
    request : MatchRequest
        What is asked for.
    inputs : Inputs
        The device's reading and all it depends on.
    reflection : Quantity
        Corrected reflection of the device [1].
    z_ref : float
        Its reference impedance [ohm].

    Returns
    -------
    float or None
        Before the network with the target for a load, behind it with the device [dB]; nan where
        that cannot be told, None where nothing was removed.
    """
    target = np.full_like(reflection.value, from_impedance(request.target_ohm, z_ref))
    ways = (before(request, inputs), target), (_behind(request, inputs), reflection.value)
    lost = [found for found in (loss_of(*way) for way in ways) if found is not None]
    if not lost:
        return None
    return float(np.interp(request.centre_hz, inputs.calibration.frequency, sum(lost)))


def plane_swr(
    request: MatchRequest, inputs: Inputs, goal: Goal, network: Network, z_ref: float
) -> float | None:
    """Largest SWR in the band at the standards' plane, with a network in its place.

    Parameters
    ----------
    request : MatchRequest
        What is asked for.
    inputs : Inputs
        The device's reading and all it depends on.
    goal : Goal
        Load and band, where the network goes.
    network : Network
        The network.
    z_ref : float
        Reference impedance of the SWR [ohm].

    Returns
    -------
    float or None
        SWR [1]; None where nothing lies between.
    """
    through = whole_map(before(request, inputs))
    if through is None:
        return None
    near = through.apply(network.seen(goal.frequency, goal.load, z_ref=z_ref))
    return float(swr(np.interp(goal.in_band()[0], goal.frequency, near)).max())
