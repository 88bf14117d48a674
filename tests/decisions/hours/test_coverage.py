"""What an hour reaches, worked by hand: capacity, refusal, boats coming out at another hour."""

from datetime import date
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from spreadnet.decisions.hours.reach import hour_reach, met_in_an_hour
from spreadnet.evidence.estimating.traffic import TrafficDraw
from spreadnet.evidence.region import Settings

SETTINGS = Settings(
    name="x",
    season_first_day=date(2027, 6, 1),
    season_last_day=date(2027, 6, 28),
    species={},
    most_hours_per_landing_week=10.0,
)
BLOCKS = pd.DataFrame(
    {"day_type": ["weekday", "weekend"], "block": ["a", "a"], "hours_in_season": [100.0, 50.0]}
)
ONE_MONTH = np.array([[100.0], [50.0]])


def reach_of(
    launch_rate,
    retrieval_rate,
    refusal=0.0,
    ids=None,
    hands=5.0,
    spread=0.0,
    by_month=None,
    month_hours=ONE_MONTH,
):
    launch_rate = np.array(launch_rate, float)
    traffic = TrafficDraw(
        launches=launch_rate @ BLOCKS["hours_in_season"],
        launch_rate=launch_rate,
        retrieval_rate=np.array(retrieval_rate, float),
        refusal=refusal,
        area_exponent=0.2,
        by_month=np.ones_like(month_hours) if by_month is None else np.array(by_month),
        visit_spread=spread,
    )
    place = SimpleNamespace(
        settings=SETTINGS,
        day_blocks=BLOCKS,
        month_hours=np.array(month_hours, float),
        landing_ids=ids or [f"{k}" for k in range(len(launch_rate))],
        can_staff=np.ones(len(launch_rate), bool),
    )
    return hour_reach(SimpleNamespace(traffic=traffic, contacts_per_hour=hands), place)


def test_quiet_landing_worked_by_hand():
    """1 launch and 2 retrievals an hour on weekdays, 2 and 0 at weekends; 10% refuse.

    200 launches and 200 retrievals a season; with hands for all a weekday hour meets 2.7 boats and
    reaches 0.9 / 200 of those arriving and 1.8 / 200 of those leaving.
    """
    reach = reach_of([[1.0, 2.0]], [[2.0, 0.0]], refusal=0.1, hands=40.0)
    assert reach.boats == pytest.approx(np.array([[2.7, 1.8]]))
    assert reach.arriving == pytest.approx(np.array([[0.9 / 200, 1.8 / 200]]))
    assert reach.leaving == pytest.approx(np.array([[1.8 / 200, 0.0]]))


def test_a_busy_landing_is_capped_and_shared_between_directions():
    """60 launches and 40 retrievals an hour, hands for 5: 3 of those and 2 of these."""
    reach = reach_of([[60.0, 60.0]], [[40.0, 40.0]])
    assert reach.boats == pytest.approx(np.array([[5.0, 5.0]]))
    assert reach.passing == pytest.approx(np.array([[100.0, 100.0]]))
    assert reach.arriving == pytest.approx(np.full((1, 2), 3.0 / 9000))
    assert reach.leaving == pytest.approx(np.full((1, 2), 2.0 / 6000))


def test_one_boat_expected_and_hands_for_one_worked_by_hand():
    """Poisson: in exp(-1) of the hours nobody comes, in all others the crew has its one boat."""
    assert met_in_an_hour(np.array(1.0), 1.0, spread=0.0) == pytest.approx(1 - np.exp(-1))
    # hands for one and a half: half a boat more where two or more come
    more = 1 - np.exp(-1) + 0.5 * (1 - 2 * np.exp(-1))
    assert met_in_an_hour(np.array(1.0), 1.5, spread=0.0) == pytest.approx(more)


@pytest.mark.parametrize("spread", [0.0, 0.4, 1.0])
@pytest.mark.parametrize("hands", [0.5, 3.0, 8.3, 15.0])
def test_boats_met_are_the_mean_of_simulated_hours(hands, spread):
    rng = np.random.default_rng(8)
    passing, hours = np.array([0.2, 2.0, 8.0, 30.0]), 400_000
    busy = np.ones(hours) if spread == 0 else rng.gamma(spread**-2, spread**2, hours)
    boats = rng.poisson(passing[:, None] * busy)
    met = np.minimum(boats, hands)
    error = met.std(axis=1) / hours**0.5
    found = met_in_an_hour(passing, hands, spread=spread)
    assert (np.abs(found - met.mean(axis=1)) < 4 * error + 1e-5).all()
    assert (found < np.minimum(passing, hands) * (1 + 1e-12)).all()


@pytest.mark.parametrize("spread", [0.0, 0.4, 1.0])
def test_more_hands_and_more_boats_meet_more_and_ever_less_so(spread):
    hands = np.arange(0.0, 30.0, 0.25)
    by_hands = np.array([met_in_an_hour(np.array(6.0), h, spread=spread) for h in hands])
    by_boats = met_in_an_hour(np.linspace(0, 60, 200), 8.0, spread=spread)
    for met in (by_hands, by_boats):
        assert (np.diff(met) >= -1e-12).all()
        assert (np.diff(met, n=2) <= 1e-12).all()
    assert by_hands[0] == 0
    assert by_hands[-1] == pytest.approx(6.0, abs=0.2)


def test_no_stream_is_too_strong():
    assert met_in_an_hour(np.array([1e3, 1e6]), 12.0, spread=0.0) == pytest.approx([12, 12])
    assert met_in_an_hour(np.array([0.0, 1e-9]), 12.0, spread=0.4) == pytest.approx([0, 1e-9])


def test_an_hour_of_the_season_meets_the_mean_of_its_months():
    """A quiet and a busy month, 60 and 40 hours; the season's mean is what they give together."""
    hours = [[60.0, 40.0], [30.0, 20.0]]
    by_month = [[0.5, 1.75], [0.5, 1.75]]
    reach = reach_of([[4.0, 4.0]], [[4.0, 4.0]], by_month=by_month, month_hours=hours)
    quiet, busy = (met_in_an_hour(np.array(8 * f), 5.0, spread=0.0) for f in (0.5, 1.75))
    assert reach.boats == pytest.approx(np.full((1, 2), 0.6 * quiet + 0.4 * busy))
    assert reach.boats[0, 0] < met_in_an_hour(np.array(8.0), 5.0, spread=0.0)


def test_weeks_set_the_most_hours():
    assert reach_of([[1.0, 1.0]], [[1.0, 1.0]]).most_hours == pytest.approx(40.0)


def test_ties_at_capacity_go_to_where_more_boats_pass_then_to_the_id():
    rates = [[200.0, 60.0], [300.0, 60.0], [60.0, 60.0]]
    reach = reach_of(rates, [[0.0, 0.0]] * 3, ids=["c", "b", "a"])
    order = [divmod(int(cell), 2) for cell in reach.best_first(reach.boats)]
    assert order == [(1, 0), (0, 0), (2, 0), (2, 1), (1, 1), (0, 1)]


def test_a_landing_without_boats_reaches_none():
    reach = reach_of([[0.0, 0.0]], [[0.0, 0.0]])
    assert np.all(reach.arriving == 0)
    assert np.all(reach.boats == 0)
