"""Build the climate tables from the registry package `gsee-climate-data` 1.0.0.

The package holds, per month and cell of 3 degrees, how often days had which mean irradiance
[W/m2] (NASA MERRA-2, 2011 to 2015). Their mean and their standard deviation over the
extraterrestrial mean are the month's clearness and its spread. `python
tests/build_climate_table.py FOLDER` writes the tables as the product reads them.
"""

import sys
import zlib
from pathlib import Path

import gsee_climate_data
import numpy as np
import pvlib

SOLAR_CONSTANT_W_M2 = 1361.0  # Kopp & Lean, Geophys. Res. Lett. 38 (2011) L01706 (from memory)
SCALE, SPREAD_SCALE = 250.0, 600.0
LEAST_LIGHT_W_M2 = 1.0  # a latitude with a month under this has no clearness to speak of


def extraterrestrial_w_m2(latitudes: np.ndarray) -> np.ndarray:
    """Mean light on the flat above the air, (latitudes, 12), over the days of each month.

    Duffie & Beckman, Solar Engineering of Thermal Processes, eq. 1.10.3, without leap days.
    """
    dates = np.arange("2013-01-01", "2014-01-01", dtype="datetime64[D]")
    day = np.arange(1.0, 366.0)
    declination = pvlib.solarposition.declination_spencer71(day)
    extra = pvlib.irradiance.get_extra_radiation(day, solar_constant=SOLAR_CONSTANT_W_M2)
    here = np.radians(latitudes)[:, None]
    sunset = np.arccos(np.clip(-np.tan(here) * np.tan(declination), -1.0, 1.0))
    daily = np.cos(here) * np.cos(declination) * np.sin(sunset)
    daily = extra / np.pi * (daily + sunset * np.sin(here) * np.sin(declination))
    month = dates.astype("datetime64[M]").astype(int) % 12
    return np.stack([daily[:, month == m].mean(axis=1) for m in range(12)], axis=1)


def counts() -> tuple[np.ndarray, np.ndarray]:
    """Clearness x 250 and its spread from day to day x 600 as unsigned bytes, each (latitudes,
    longitudes, 12), 0 where there are no data."""
    held = gsee_climate_data.load()
    weight = held["pk"].sum(axis=3)  # NaN over the open sea
    known = weight > 0.0
    share = held["pk"] / np.where(known, weight, 1.0)[..., None]
    mean_w_m2 = (held["xk"] * held["pk"]).sum(axis=3) / np.where(known, weight, 1.0)
    spread_w_m2 = np.sqrt((share * (held["xk"] - mean_w_m2[..., None]) ** 2).sum(axis=3))
    above_w_m2 = extraterrestrial_w_m2(held["lat"])
    known &= (above_w_m2 >= LEAST_LIGHT_W_M2).all(axis=1)[:, None, None]
    above_w_m2 = np.maximum(above_w_m2, LEAST_LIGHT_W_M2)[:, None, :]
    means, spreads = SCALE * mean_w_m2 / above_w_m2, SPREAD_SCALE * spread_w_m2 / above_w_m2
    return (
        np.where(known, np.round(means), 0.0).astype(np.uint8),
        np.where(known, np.round(spreads), 0.0).astype(np.uint8),
    )


def main(folder: str) -> None:
    for name, table in zip(("means", "spreads"), counts(), strict=True):
        (Path(folder) / f"{name}.u8z").write_bytes(zlib.compress(table.tobytes(), 9))


if __name__ == "__main__":
    if len(sys.argv) != 2:
        sys.exit("usage: python tests/build_climate_table.py FOLDER")
    main(sys.argv[1])
