"""The committed climate tables against those built anew from `gsee-climate-data` 1.0.0."""

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
def built_anew(tmp_path_factory: pytest.TempPathFactory) -> Path:
    out = tmp_path_factory.mktemp("tables")
    build_climate_table.main(str(out))
    return out


@pytest.fixture(params=["means", "spreads"])
def tables(request: pytest.FixtureRequest, built_anew: Path) -> tuple[np.ndarray, np.ndarray]:
    """A committed table and the one that the script writes."""
    name = f"{request.param}.u8z"
    return unpacked(profiles.folder() / "climate" / name), unpacked(built_anew / name)


def test_the_package_is_the_release_that_the_table_was_made_from():
    assert version("gsee-climate-data") == "1.0.0"


def test_the_same_cells_have_data(tables):
    committed, built = tables
    assert np.array_equal(committed > 0, built > 0)
    print(f"{(built > 0).all(axis=2).sum()} cells with data, none with some months only")
    assert np.array_equal((built > 0).all(axis=2), (built > 0).any(axis=2))


def test_every_number_is_the_one_built_anew(tables):
    # Where a number lies within 3e-5 of half a count, as one mean and six spreads do, sums of
    # single precision in another order may round it the other way.
    committed, built = tables
    differ = committed != built
    print(f"{differ.sum()} of {(committed > 0).sum()} numbers differ")
    assert differ.sum() <= 6
    assert np.abs(committed.astype(int) - built).max() <= 1
