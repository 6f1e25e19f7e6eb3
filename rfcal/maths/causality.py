"""What causality leaves of a reflection's phase: loss alone turns it anticlockwise."""

import numpy as np

from rfcal.maths.reflection import Real


def phase_of_loss(frequency: Real) -> Real:
    """Phase at each frequency by ln |x| at all of them, shape (F, F); ln |x| is linear in between.

    A passive reflection is a function without poles in the right half plane, of size 1 at most.
    Its zeros there, and all delays, turn it clockwise as frequency rises, and so does loss at
    frequencies that are not known. So between two points it turns anticlockwise no farther than
    these phases do; at the first and the last point they are not defined (source: H. W. Bode,
    Network Analysis and Feedback Amplifier Design, 1945, chapters 13 and 14).
    """
    # phi(w) = 2 w / pi  P int ln |x(v)| / (v^2 - w^2) dv
    apart = np.abs(frequency - frequency[:, None])
    near, far = np.log(np.where(apart > 0, apart, 1)), np.log(frequency + frequency[:, None])
    # of 1 / (v^2 - w^2) and v / (v^2 - w^2), times 2 w, from point to point
    even, odd = np.diff(near - far), np.diff(near + far) * frequency[:, None]
    low, high = frequency[:-1], frequency[1:]
    phase = np.zeros(apart.shape)
    phase[:, :-1] += (high * even - odd) / (high - low)
    phase[:, 1:] += (odd - low * even) / (high - low)
    return phase / np.pi
