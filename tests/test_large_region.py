"""Large invented regions: the same for a seed, without a fault, with sizes as asked for."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from large_region import SMALL, made_land, national_arrays, shares_of, write_large_region

from spreadnet.evidence.read import check_region


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    folder = tmp_path_factory.mktemp("large")
    write_large_region(folder, seed=3, size=SMALL)
    return folder


def test_the_same_seed_writes_the_same_bytes(folder, tmp_path):
    write_large_region(tmp_path, seed=3, size=SMALL)
    names = sorted(path.name for path in folder.iterdir())
    assert names == sorted(path.name for path in tmp_path.iterdir())
    for name in names:
        assert (folder / name).read_bytes() == (tmp_path / name).read_bytes(), name


def test_another_seed_writes_another_region(folder, tmp_path):
    write_large_region(tmp_path, seed=4, size=SMALL)
    assert (folder / "visits.csv").read_bytes() != (tmp_path / "visits.csv").read_bytes()


def test_it_has_no_problem_and_its_ids_are_text(folder):
    problems, region = check_region(folder)
    assert not problems
    assert (len(region.lakes), len(region.landings)) == (SMALL.lakes, SMALL.landings)
    assert len(region.visits) == SMALL.visits
    assert region.lakes.index[0] == "000000"
    assert pd.api.types.is_string_dtype(region.lakes.index)


def test_a_small_one_of_other_sizes_has_no_problem(tmp_path):
    write_large_region(tmp_path, seed=5, size=replace(SMALL, lakes=9, landings=4, streams=99))
    assert check_region(tmp_path)[0] == []


def test_last_waters_are_those_of_the_law_of_movement(folder):
    land = made_land(3, SMALL.lakes, SMALL.landings)
    lakes, share = shares_of(land, np.arange(SMALL.landings))
    assert np.allclose(share.sum(axis=1), 1)
    own = lakes == land.landing_lake[:, None]
    assert not share[own].any()
    contacts = pd.read_csv(folder / "contacts.csv", dtype=str, keep_default_na=False)
    named = pd.concat([contacts["last_water"], contacts["next_water"]])
    ids = {f"{lake:06d}" for lake in lakes}
    assert set(named) <= ids | {"", "none", "outside"}


def test_a_nation_in_memory_has_what_a_gradient_needs():
    one, again = (national_arrays(2, 400, 120) for _ in range(2))
    assert all(np.array_equal(one[name], again[name]) for name in one)
    assert one["lake_km"].shape == (400, 2)
    assert one["landing_km"].shape == (120, 2)
    assert one["leaving"].shape == one["arriving"].shape == (6, 120)
    assert one["launches"].min() > 0
    assert set(np.unique(one["infested"])) <= {0.0, 1.0}
    has_landing = np.isin(np.arange(400), one["landing_lake"])
    assert not one["infested"][~has_landing].any()
