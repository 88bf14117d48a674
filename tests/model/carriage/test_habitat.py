"""Habitat classes, plant depth, streams and the chance of establishing."""

import numpy as np
import pandas as pd
import pytest

from spreadnet.evidence.species.species import read_species
from spreadnet.model.carriage.habitat import (
    habitat,
    plant_depth_m,
    plant_share,
    stream_rates,
)

LAKES = pd.Index(["001", "002", "003", "004"])


def lakes(**columns):
    size = max(len(values) for values in columns.values())
    empty = dict.fromkeys(("calcium_mg_l", "secchi_m", "depth_m"), [np.nan] * size)
    return pd.DataFrame({**empty, **columns})


# --- calcium


@pytest.mark.parametrize(
    ("calcium_mg_l", "class_name"),
    [
        (0.0, "calcium_below_12"),
        (11.999, "calcium_below_12"),
        (12.0, "calcium_12_to_20"),
        (19.999, "calcium_12_to_20"),
        (20.0, "calcium_20_to_28"),
        (28.0, "calcium_20_to_28"),
        (28.001, "calcium_above_28"),
        (300.0, "calcium_above_28"),
    ],
)
def test_calcium_class_edges_are_12_20_and_28(calcium_mg_l, class_name):
    # Whittier et al. 2008: < 12 very low, 12-20 low, 20-28 moderate, > 28 high
    mussel = read_species()["dreissenid_mussel"]
    found = habitat(mussel, lakes(calcium_mg_l=[calcium_mg_l]))
    assert found[0] == mussel.values[class_name]


def test_more_calcium_is_never_worse_and_12_is_not_a_wall():
    # Davis et al. 2015: quagga adults lived and grew at 12 mg/L
    for name in ("dreissenid_mussel", "mystery_snail"):
        found = habitat(read_species()[name], lakes(calcium_mg_l=np.linspace(0, 60, 200)))
        assert (np.diff(found) >= 0).all()
        assert found[0] > 0


@pytest.mark.parametrize("name", list(read_species()))
def test_lakes_not_described_take_the_missing_value(name):
    one = read_species()[name]
    found = habitat(one, lakes(calcium_mg_l=[np.nan, np.nan]))
    np.testing.assert_array_equal(found, one.values["habitat_missing"])


# --- clarity and depth


def test_plants_reach_3_23_m_at_a_secchi_depth_of_2_m():
    # Caffrey et al., Florida lakes: log10 MDC = 0.66 log10 SD + 0.31
    assert plant_depth_m(2.0) == pytest.approx(3.23, abs=0.005)
    # older fit of Canfield et al. 1985 (from memory) gives 2.78: same size
    assert plant_depth_m(2.0) == pytest.approx(10 ** (0.61 * np.log10(2) + 0.26), rel=0.2)


def test_usable_share_of_a_cone_matches_its_geometry():
    # cone: half the greatest depth leaves a quarter of the area deeper
    reach = plant_depth_m(2.0)
    assert plant_share(2.0, 2 * reach) == pytest.approx(0.75)
    rng = np.random.default_rng(4)  # random points of a disc whose depth is a cone
    depth = 10.0 * (1 - np.sqrt(rng.uniform(size=200_000)))
    assert plant_share(2.0, 10.0) == pytest.approx((depth < reach).mean(), abs=0.005)


def test_shallow_lakes_suit_plants_wholly_and_murky_ones_not():
    np.testing.assert_allclose(plant_share([2.0, 2.0, 0.0], [1.0, 0.0, 5.0]), [1, 1, 0])


def test_clearer_water_is_never_worse_and_deeper_lakes_never_better():
    milfoil = read_species()["eurasian_watermilfoil"]
    clearer = habitat(milfoil, lakes(secchi_m=np.linspace(0, 8, 50), depth_m=[12.0] * 50))
    deeper = habitat(milfoil, lakes(secchi_m=[2.0] * 50, depth_m=np.linspace(1, 60, 50)))
    assert (np.diff(clearer) >= 0).all()
    assert (np.diff(deeper) <= 0).all()
    assert min(clearer.min(), deeper.min()) >= 0
    assert max(clearer.max(), deeper.max()) <= 1


def test_one_of_depth_and_clarity_alone_is_not_enough():
    one = read_species()["starry_stonewort"]
    found = habitat(one, lakes(secchi_m=[2.0, np.nan], depth_m=[np.nan, 5.0]))
    np.testing.assert_array_equal(found, one.values["habitat_missing"])


def test_integer_with_missing_columns_are_read_as_numbers():
    table = pd.DataFrame({"calcium_mg_l": pd.array([30, None], dtype="Float64")})
    mussel = read_species()["dreissenid_mussel"]
    np.testing.assert_array_equal(habitat(mussel, table), [1.0, mussel.values["habitat_missing"]])


# --- streams


def streams(rows):
    columns = ["upstream_lake_id", "downstream_lake_id", "distance_km", "barrier"]
    table = pd.DataFrame(rows, columns=columns)
    return table.astype({"distance_km": float, "barrier": "boolean"})


def test_streams_carry_downstream_only_and_fall_with_distance():
    mussel = read_species()["dreissenid_mussel"]
    table = streams([("001", "002", 0, False), ("002", "003", 8, False)])
    rates = stream_rates(mussel, table, LAKES).toarray()
    per_year = mussel.values["stream_per_year"]
    assert rates[0, 1] == pytest.approx(per_year)
    assert rates[1, 2] == pytest.approx(per_year * np.exp(-8 / 8))
    assert np.count_nonzero(rates) == 2


def test_streams_stop_at_barriers_and_beyond_30_km():
    mussel = read_species()["dreissenid_mussel"]
    table = streams(
        [("001", "002", 2, True), ("001", "003", 30, False), ("001", "004", 30.1, False)]
    )
    rates = stream_rates(mussel, table, LAKES).toarray()
    assert rates[0, 1] == rates[0, 3] == 0
    assert rates[0, 2] > 0


@pytest.mark.parametrize("end", ["low", "value", "high"])
def test_most_of_the_stream_effect_is_within_20_km_and_little_past_12(end):
    # Bobeldyk et al. 2005, Horvath et al. 1996 (from memory): most effect within about 20 km, here
    # three quarters at every end of the range; adults rarely past 10-12 km in small streams, here
    # a quarter at the value. A lake every 2 km of one river, and what reaches each.
    mussel = read_species()["dreissenid_mussel"]
    efold = getattr(mussel.values.entries["stream_efold_km"], end)
    mussel = mussel.with_changes({"stream_efold_km": efold})
    km = np.arange(2, 101, 2)
    below = pd.Index([f"{i:03d}" for i in range(len(km) + 1)])
    table = streams([("000", below[i + 1], d, False) for i, d in enumerate(km)])
    reached = stream_rates(mussel, table, below).toarray()[0, 1:]
    assert reached[km <= 20].sum() > 0.75 * reached.sum()
    if end == "value":
        assert reached[km > 12].sum() < 0.25 * reached.sum()


def test_no_streams_give_an_empty_matrix_and_unknown_lakes_are_refused():
    mussel = read_species()["dreissenid_mussel"]
    assert stream_rates(mussel, streams([]), LAKES).nnz == 0
    with pytest.raises(ValueError, match="Invalid streams"):
        stream_rates(mussel, streams([("001", "009", 1, False)]), LAKES)


# --- establishment
