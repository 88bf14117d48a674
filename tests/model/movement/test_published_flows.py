"""Gravity fits of published tables of trips, through the public way in: a `movements` table."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm

from spreadnet.model.laws import EXPONENTIAL, POWER
from spreadnet.model.movement.ready_table import movements_trips, unplaced_trips
from spreadnet.research.fit import fit_movements
from spreadnet.research.indices import off_diagonal

# Sources and strength of every table: tests/data/movement/README.md
DATA = Path(__file__).parents[2] / "data/movement"
LAWS = {"exp": EXPONENTIAL, "pow": POWER.softened(0)}
PARAMETERS = pd.read_csv(DATA / "austria_expected_parameters.csv").set_index(["model", "cost"])
CANADA = pd.read_csv(DATA / "canada_migration_expected.csv").set_index("model")
REAL = pd.read_csv(DATA / "real_od_expected.csv").set_index(["data", "model"])


def square(table, values, index):
    """Labelled pairs as a square array, 0 where there is none."""
    wide = table.pivot_table(index="from_lake_id", columns="to_lake_id", values=values)
    return wide.reindex(index=index, columns=index).fillna(0.0).to_numpy()


def austria():
    table = pd.read_csv(DATA / "austria_flows.csv").rename(
        columns={"origin": "from_lake_id", "destination": "to_lake_id", "flow": "trips"}
    )
    index = pd.Index(sorted(table["from_lake_id"].unique()))
    leaving = table.groupby("from_lake_id")["o_total_given"].first().reindex(index)
    ending = table.groupby("to_lake_id")["d_total_given"].first().reindex(index)
    return table, square(table, "dist_km", index), index, np.log(leaving), np.log(ending)


def canada():
    table = pd.read_csv(DATA / "canada_migration.csv").rename(
        columns={"source": "from_lake_id", "destination": "to_lake_id", "migrants": "trips"}
    )
    index = pd.Index(sorted(table["from_lake_id"].unique()))
    people = table[["popd66", "popd71"]].mean(axis=1)  # of the two censuses
    population = people.groupby(table["to_lake_id"]).first().reindex(index)
    return table, square(table, "distance", index), index, np.log(population)


def sioux_falls():
    trips = np.loadtxt(DATA / "siouxfalls_demand.csv", delimiter=",")
    distance = np.loadtxt(DATA / "siouxfalls_distance.csv", delimiter=",")
    index = pd.Index([f"{zone:02d}" for zone in range(1, 25)])
    origin, destination = np.nonzero(trips)
    table = pd.DataFrame(
        {
            "from_lake_id": index[origin],
            "to_lake_id": index[destination],
            "trips": trips[origin, destination],
        }
    )
    return table, distance, index


def doubly_constrained_glm(cells, term):
    """Coefficient of one term beside a dummy for every origin and destination."""
    design = pd.concat(
        [
            pd.get_dummies(cells["from_lake_id"], prefix="from", dtype=float),
            pd.get_dummies(cells["to_lake_id"], prefix="to", dtype=float).iloc[:, 1:],
        ],
        axis=1,
    ).assign(term=term)
    model = sm.GLM(cells["trips"], design, family=sm.families.Poisson())
    return model.fit(tol=1e-12).params["term"]


@pytest.mark.parametrize("cost", LAWS)
def test_austria_production_constrained(cost):
    table, distance, index, _, ending = austria()
    fit = fit_movements(
        table, distance, lake_id=index, law=LAWS[cost], attractions={"log_ending": ending}
    )
    expected = PARAMETERS.loc[("production", cost)]
    pull, beta = fit.gravity.coefficients
    assert beta == pytest.approx(expected["beta"], rel=1e-8)
    assert pull == pytest.approx(expected["coef_ld"], rel=1e-8)
    error = np.sqrt(fit.gravity.naive_covariance[1, 1])
    assert error == pytest.approx(expected["se_beta"], rel=1e-6)
    assert fit.indices["srmse"] == pytest.approx(expected["SRMSE"], abs=1e-7)
    assert fit.indices["common_part_of_trips"] == pytest.approx(expected["CPC"], abs=1e-7)
    assert fit.indices["similarity"] == pytest.approx(expected["SSI"], abs=1e-7)
    assert fit.indices["r_squared"] == pytest.approx(expected["R2_corr"], abs=1e-7)
    assert fit.indices["deviance"] == pytest.approx(expected["deviance"], rel=1e-6)
    assert fit.indices["cells"] == 72


@pytest.mark.parametrize("cost", LAWS)
def test_austria_attraction_constrained_is_the_same_fit_looking_back(cost):
    table, distance, index, leaving, _ = austria()
    back = table.rename(columns={"from_lake_id": "to_lake_id", "to_lake_id": "from_lake_id"})
    fit = fit_movements(
        back, distance.T, lake_id=index, law=LAWS[cost], attractions={"log_leaving": leaving}
    )
    expected = PARAMETERS.loc[("attraction", cost)]
    np.testing.assert_allclose(
        fit.gravity.coefficients, expected[["coef_lo", "beta"]].astype(float), rtol=1e-8
    )
    assert fit.indices["srmse"] == pytest.approx(expected["SRMSE"], abs=1e-7)


@pytest.mark.parametrize("cost", LAWS)
def test_austria_doubly_constrained(cost):
    table, distance, index, _, _ = austria()
    fit = fit_movements(table, distance, lake_id=index, law=LAWS[cost], free_levels=True)
    expected = PARAMETERS.loc[("doubly", cost)]
    assert fit.gravity.coefficients[0] == pytest.approx(expected["beta"], rel=1e-8)
    error = np.sqrt(fit.gravity.naive_covariance[0, 0])
    assert error == pytest.approx(expected["se_beta"], rel=1e-6)
    assert fit.indices["srmse"] == pytest.approx(expected["SRMSE"], abs=1e-7)
    assert fit.indices["common_part_of_trips"] == pytest.approx(expected["CPC"], abs=1e-7)
    assert fit.indices["deviance"] == pytest.approx(expected["deviance"], rel=1e-6)


def test_austria_doubly_constrained_keeps_margins_and_the_mean_distance():
    """At the Poisson optimum both margins, and the mean of the distance term, are reproduced."""
    table, distance, index, _, _ = austria()
    cells = fit_movements(
        table, distance, lake_id=index, law=EXPONENTIAL, free_levels=True
    ).cells.assign(km=distance[~np.eye(9, dtype=bool)])
    for end in ("from_lake_id", "to_lake_id"):
        sums = cells.groupby(end)[["trips", "fitted"]].sum()
        np.testing.assert_allclose(sums["fitted"], sums["trips"], rtol=1e-9)
    mean = np.average(cells["km"], weights=cells["fitted"])
    assert mean == pytest.approx(124.022280175272, rel=1e-10)
    cells = fit_movements(table, distance, lake_id=index, law=LAWS["pow"], free_levels=True).cells
    log_km = np.log(distance[~np.eye(9, dtype=bool)])
    assert np.average(log_km, weights=cells["fitted"]) == pytest.approx(4.573221082204534)


@pytest.mark.filterwarnings("ignore")  # spint's own deprecations
def test_austria_agrees_with_spint_run_here():
    from spint.gravity import Doubly, Production
    from spint.tests.test_gravity import TestGravity

    case = TestGravity()
    getattr(case, "setup_method", getattr(case, "setUp", None))()  # renamed in spint 1.1
    table, distance, index, _, ending = austria()
    flows = table.sort_values(["from_lake_id", "to_lake_id"])
    np.testing.assert_array_equal(flows["trips"], case.f)
    theirs = Production(case.f, case.o, case.d_var, case.dij, "exp")
    ours = fit_movements(
        table, distance, lake_id=index, law=EXPONENTIAL, attractions={"log_ending": ending}
    )
    np.testing.assert_allclose(ours.gravity.coefficients, theirs.params[-2:], rtol=1e-6)
    np.testing.assert_allclose(ours.cells["fitted"], np.ravel(theirs.yhat), atol=1e-3)
    assert ours.indices["srmse"] == pytest.approx(theirs.SRMSE, abs=1e-7)
    assert ours.indices["similarity"] == pytest.approx(theirs.SSI, abs=1e-7)
    both = Doubly(case.f, case.o, case.d, case.dij, "exp")
    free = fit_movements(table, distance, lake_id=index, law=EXPONENTIAL, free_levels=True)
    assert free.gravity.coefficients[0] == pytest.approx(both.params[-1], rel=1e-6)
    assert free.gravity.coefficients[0] == pytest.approx(-0.00791533, abs=1e-8)  # spint's tests


@pytest.mark.parametrize("cost", LAWS)
def test_austria_agrees_with_statsmodels_run_here(cost):
    table, distance, index, _, ending = austria()
    ours = fit_movements(
        table, distance, lake_id=index, law=LAWS[cost], attractions={"log_ending": ending}
    )
    km = table["dist_km"] if cost == "exp" else np.log(table["dist_km"])
    design = pd.get_dummies(table["from_lake_id"], dtype=float).assign(
        log_ending=np.log(table["d_total_given"]), km=km
    )
    theirs = sm.GLM(table["trips"], design, family=sm.families.Poisson()).fit(tol=1e-12)
    np.testing.assert_allclose(
        ours.gravity.coefficients, theirs.params[["log_ending", "km"]], rtol=1e-8
    )
    np.testing.assert_allclose(
        np.sqrt(np.diag(ours.gravity.naive_covariance)),
        theirs.bse[["log_ending", "km"]],
        rtol=1e-6,
    )
    fitted = ours.cells.set_index(["from_lake_id", "to_lake_id"])["fitted"]
    pairs = pd.MultiIndex.from_frame(table[["from_lake_id", "to_lake_id"]])
    np.testing.assert_allclose(fitted.reindex(pairs), theirs.fittedvalues, rtol=1e-7)


def test_canada_1966_to_1971():
    table, distance, index, population = canada()
    for name, law in (("doubly_pow", LAWS["pow"]), ("doubly_exp", EXPONENTIAL)):
        fit = fit_movements(table, distance, lake_id=index, law=law, free_levels=True)
        expected = CANADA.loc[name]
        assert fit.gravity.coefficients[0] == pytest.approx(expected["beta"], rel=1e-8)
        error = np.sqrt(fit.gravity.naive_covariance[0, 0])
        assert error == pytest.approx(expected["se"], rel=1e-5)
        assert fit.indices["srmse"] == pytest.approx(expected["SRMSE"], abs=1e-7)
        assert fit.indices["common_part_of_trips"] == pytest.approx(expected["CPC"], abs=1e-7)
        assert fit.indices["deviance"] == pytest.approx(expected["deviance"], rel=1e-6)
    production = fit_movements(
        table, distance, lake_id=index, law=LAWS["pow"], attractions={"population": population}
    )
    expected = CANADA.loc["production_pow"]
    np.testing.assert_allclose(
        production.gravity.coefficients, expected[["coef_lpd", "beta"]].astype(float), rtol=1e-8
    )
    assert production.indices["srmse"] == pytest.approx(expected["SRMSE"], abs=1e-7)
    assert production.indices["common_part_of_trips"] == pytest.approx(expected["CPC"], abs=1e-7)


@pytest.mark.slow
def test_sioux_falls_24_zones():
    table, distance, index = sioux_falls()
    models = {"doubly_exp_distance": EXPONENTIAL, "doubly_pow_distance": LAWS["pow"]}
    for name, law in models.items():
        fit = fit_movements(table, distance, lake_id=index, law=law, free_levels=True)
        expected = REAL.loc[("siouxfalls24", name)]
        # the stored distances have six digits, those behind the listed figure had more
        assert -fit.gravity.coefficients[0] == pytest.approx(expected["beta"], rel=1e-6)
        beta = doubly_constrained_glm(fit.cells, law.features(off_diagonal(distance))[0])
        assert fit.gravity.coefficients[0] == pytest.approx(beta, rel=1e-8)
        assert fit.indices["srmse"] == pytest.approx(expected["SRMSE"], abs=1e-7)
        assert fit.indices["common_part_of_trips"] == pytest.approx(expected["CPC"], abs=1e-7)
        assert fit.indices["deviance"] == pytest.approx(expected["deviance"], rel=1e-6)
        assert fit.indices["cells"] == expected["n_cells"]  # 24 of them without a trip
    error = np.sqrt(
        fit_movements(
            table, distance, lake_id=index, law=EXPONENTIAL, free_levels=True
        ).gravity.naive_covariance[0, 0]
    )
    assert error == pytest.approx(3.671e-4, abs=5e-8)


def test_a_ready_table_is_split_by_traffic_on_both_ends():
    movements = pd.DataFrame(
        {
            "from_lake_id": ["a", "b", "a", "a", "a"],
            "to_lake_id": ["b", "a", "b", "a", "c"],
            "trips": [30.0, 8.0, 10.0, 99.0, 7.0],  # the fourth stays within a lake
        }
    )
    index = pd.Index(["a", "b", "c"])
    launches, landing_lake = np.array([10.0, 30.0, 50.0]), np.array([0, 0, 1])
    trips = movements_trips(movements, launches, landing_lake, lake_id=index).matrix()
    np.testing.assert_allclose(trips, [[0, 0, 10], [0, 0, 30], [2, 6, 0]])
    assert unplaced_trips(movements, landing_lake, lake_id=index) == 7
    quick = movements_trips(
        movements, launches, landing_lake, lake_id=index, dtype=np.float32
    ).matrix()
    assert quick.dtype == np.float32


def test_bad_tables_are_refused():
    table, distance, index, _, _ = austria()
    with pytest.raises(ValueError, match="'AT11'"):
        fit_movements(table, distance[1:, 1:], lake_id=index[1:], free_levels=True)
    with pytest.raises(ValueError, match="Invalid trips"):
        fit_movements(table.assign(trips=-1.0), distance, lake_id=index, free_levels=True)
    with pytest.raises(ValueError, match="free levels"):
        fit_movements(
            table, distance, lake_id=index, free_levels=True, attractions={"a": np.ones(9)}
        )
