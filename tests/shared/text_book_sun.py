"""The sun by the text books' angles, for tests of worked examples; no test lives here."""

import numpy as np


def zenith_azimuth(declination: float, latitude: float, hour_angle: float) -> tuple[float, float]:
    """Zenith, and azimuth clockwise from north, in degrees; the hour angle grows 15 an hour.

    Duffie & Beckman, Solar Engineering of Thermal Processes, section 1.6.
    """
    sun, here, hour = np.radians([declination, latitude, hour_angle])
    up = np.sin(here) * np.sin(sun) + np.cos(here) * np.cos(sun) * np.cos(hour)
    east = -np.cos(sun) * np.sin(hour)
    north = np.cos(here) * np.sin(sun) - np.sin(here) * np.cos(sun) * np.cos(hour)
    return float(np.degrees(np.arccos(up))), float(np.degrees(np.arctan2(east, north)) % 360.0)
