"""The committed climate table against the one built anew from `gsee-climate-data` 1.0.0."""

import subprocess
import sys
import zlib
from importlib.metadata import version
from pathlib import Path

import build_climate_table
import numpy as np
import pytest

from energy.plan import profiles

SHAPE = (44, 120, 12)


def unpacked(path: Path) -> np.ndarray:
    return np.frombuffer(zlib.decompress(path.read_bytes()), dtype=np.uint8).reshape(SHAPE)


@pytest.fixture(scope="module")
def tables(tmp_path_factory: pytest.TempPathFactory) -> tuple[np.ndarray, np.ndarray]:
    """The committed table and the one that the script writes."""
    out = tmp_path_factory.mktemp("table") / "means.u8z"
    script = Path(build_climate_table.__file__)
    subprocess.run([sys.executable, str(script), str(out)], check=True)
    return unpacked(profiles.folder() / "climate" / "means.u8z"), unpacked(out)


def test_the_package_is_the_release_that_the_table_was_made_from():
    assert version("gsee-climate-data") == "1.0.0"


def test_the_same_cells_have_data(tables):
    committed, built = tables
    assert np.array_equal(committed > 0, built > 0)
    print(f"{(built > 0).all(axis=2).sum()} cells with data, none with some months only")
    assert np.array_equal((built > 0).all(axis=2), (built > 0).any(axis=2))


def test_every_mean_is_the_one_built_anew(tables):
    # One mean lies within 3e-6 of half a count, 21 S, 60 W in June: single-precision sums in
    # another order may round it down. All others are 3e-5 away or more.
    committed, built = tables
    differ = committed != built
    print(f"{differ.sum()} of {(committed > 0).sum()} means differ")
    assert differ.sum() <= 1
    assert np.abs(committed.astype(int) - built).max() <= 1
