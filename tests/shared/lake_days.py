"""Years of hourly light at two lakes, from example data of the registry package `glm-py` (GPL-3).

`warm_lake`: in the rift at 32.8 N, 35.6 E, 204 m below the sea, 1997 to 2004, measured.
`grosse_dhuenn`: a reservoir in the Rhineland, 51.07 N, 7.22 E, 1996 to 2014; where its light comes
from is not told (whole J/cm2 in an hour, as weather services give what they measured).
"""

from functools import cache
from importlib.util import find_spec
from io import TextIOWrapper
from pathlib import Path
from zipfile import ZipFile

import numpy as np
import pandas as pd

# Degrees north and east, height [m] (the clear sky knows none below the sea), and whole years.
PLACES = {
    "warm_lake": ((32.8, 35.6, 0.0), "Date", 1997, 2004),
    "grosse_dhuenn": ((51.07, 7.22, 177.0), "time", 1996, 2014),
}


@cache
def measured_wh(name: str) -> np.ndarray:
    """Light on the flat of each day of the years, (365, years) [Wh/m2], without 29 February."""
    spec = find_spec("glmpy")  # its data alone are wanted: nothing of it is imported
    assert spec is not None
    assert spec.origin is not None
    _, column, first, last = PLACES[name]
    file = Path(spec.origin).parent / "data" / "example_sims" / f"{name}.glmpy"
    with ZipFile(file) as archive, archive.open("met.csv") as hours:
        table = pd.read_csv(TextIOWrapper(hours, "ascii"), usecols=[column, "ShortWave"])
    table["ShortWave"] = table["ShortWave"].clip(lower=0.0)  # at night instruments show -3 W/m2
    days = 24.0 * table.groupby(table[column].str[:10])["ShortWave"].mean()  # a few lack an hour
    days = days[[not day.endswith("02-29") for day in days.index]]
    days = days.loc[f"{first}-01-01" : f"{last}-12-31"].to_numpy()
    return days.reshape(last - first + 1, 365).T
