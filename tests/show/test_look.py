"""The palette to eyes that see fewer hues, and in grey print.

Matrices for full protanopia, deuteranopia and tritanopia: Machado, Oliveira & Fernandes, IEEE
Trans. Vis. Comput. Graph. 15 (2009) 1291, from memory; they work on linear RGB. Differences are CIE
1976 (Lab, D65): some 2.3 is just noticeable side by side.
"""

from itertools import combinations

import numpy as np
import pytest

from energy.show.palette import COLOURS

EYES = {
    "all three": np.eye(3),
    "no long-wave cones": [
        [0.152286, 1.052583, -0.204868],
        [0.114503, 0.786281, 0.099216],
        [-0.003882, -0.048116, 1.051998],
    ],
    "no middle-wave cones": [
        [0.367322, 0.860646, -0.227968],
        [0.280085, 0.672501, 0.047413],
        [-0.011820, 0.042940, 0.968881],
    ],
    "no short-wave cones": [
        [1.255528, -0.076749, -0.178779],
        [-0.078411, 0.930809, 0.147602],
        [0.004733, 0.691367, 0.303900],
    ],
}
TO_XYZ = np.array(
    [[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]]
)  # sRGB, IEC 61966-2-1
# What is drawn in one panel and must be told apart there.
TOGETHER = (
    ("charge", "limit", "band", "locked"),
    ("task", "limit", "ink"),
    ("sun", "load", "daylight"),
    ("charge", "sun", "task", "quiet"),
)


def lab(colour, eye="all three"):
    value = np.array([int(colour[k : k + 2], 16) for k in (1, 3, 5)]) / 255.0
    linear = np.where(value <= 0.04045, value / 12.92, ((value + 0.055) / 1.055) ** 2.4)
    seen = np.clip(np.array(EYES[eye]) @ linear, 0.0, 1.0)
    x = (TO_XYZ @ seen) / (TO_XYZ @ np.ones(3))
    f = np.where(x > 0.008856, np.cbrt(x), 7.787 * x + 16.0 / 116.0)
    return np.array([116.0 * f[1] - 16.0, 500.0 * (f[0] - f[1]), 200.0 * (f[1] - f[2])])


@pytest.mark.parametrize("eye", EYES)
@pytest.mark.parametrize("group", TOGETHER)
def test_what_is_drawn_together_is_told_apart_by_every_eye(group, eye):
    for one, other in combinations(group, 2):
        apart = np.linalg.norm(lab(COLOURS[one], eye) - lab(COLOURS[other], eye))
        assert apart > 12.0, (one, other, apart)  # some five times what is just noticeable


@pytest.mark.parametrize("group", TOGETHER)
def test_it_differs_in_grey_print_too(group):
    for one, other in combinations(group, 2):
        assert abs(lab(COLOURS[one])[0] - lab(COLOURS[other])[0]) > 7.0, (one, other)
