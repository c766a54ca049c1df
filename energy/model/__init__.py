"""The physics, as functions of NumPy arrays: sun, panel, timeline, demand, electronics, battery.

Nothing here reads a file or a clock, or knows what a plan looks like.
Times are UTC seconds since 1970; axis 0 of an array is time, axis 1 the scenarios.
"""

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]
Index = NDArray[np.intp]
