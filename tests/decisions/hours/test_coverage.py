"""What an hour reaches, worked by hand: capacity, refusal, boats coming out at another hour."""

from datetime import date

import numpy as np
import pandas as pd
import pytest

from spreadnet.decisions.hours.reach import hour_reach
from spreadnet.evidence.estimating.traffic import TrafficDraw
from spreadnet.evidence.region import Settings

SETTINGS = Settings(
    name="x",
    season_first_day=date(2027, 6, 1),
    season_last_day=date(2027, 6, 28),
    species={},
    contacts_per_hour=5.0,
    most_hours_per_landing_week=10.0,
)
BLOCKS = pd.DataFrame(
    {"day_type": ["weekday", "weekend"], "block": ["a", "a"], "hours_in_season": [100.0, 50.0]}
)


def reach_of(launch_rate, retrieval_rate, refusal=0.0, ids=None):
    launch_rate = np.array(launch_rate, float)
    ids = ids or [f"{k}" for k in range(len(launch_rate))]
    traffic = TrafficDraw(
        launches=launch_rate @ BLOCKS["hours_in_season"],
        launch_rate=launch_rate,
        retrieval_rate=np.array(retrieval_rate, float),
        refusal=refusal,
        area_exponent=0.0,
    )
    staffed = np.ones(len(launch_rate), bool)
    return hour_reach(traffic, SETTINGS, day_blocks=BLOCKS, ids=ids, can_staff=staffed)


def test_quiet_landing_worked_by_hand():
    """1 launch and 2 retrievals an hour on weekdays, 2 and 0 at weekends; 10% refuse.

    200 launches and 200 retrievals a season; a weekday hour meets 2.7 boats and reaches
    0.9 / 200 of those arriving and 1.8 / 200 of those leaving.
    """
    reach = reach_of([[1.0, 2.0]], [[2.0, 0.0]], refusal=0.1)
    assert reach.boats == pytest.approx(np.array([[2.7, 1.8]]))
    assert reach.arriving == pytest.approx(np.array([[0.9 / 200, 1.8 / 200]]))
    assert reach.leaving == pytest.approx(np.array([[1.8 / 200, 0.0]]))


def test_a_busy_landing_is_capped_and_shared_between_directions():
    """6 launches and 4 retrievals an hour, hands for 5: half of each."""
    reach = reach_of([[6.0, 6.0]], [[4.0, 4.0]])
    assert reach.boats == pytest.approx(np.array([[5.0, 5.0]]))
    assert reach.passing == pytest.approx(np.array([[10.0, 10.0]]))
    assert reach.arriving == pytest.approx(np.full((1, 2), 3.0 / 900))
    assert reach.leaving == pytest.approx(np.full((1, 2), 2.0 / 600))


def test_weeks_set_the_most_hours():
    assert reach_of([[1.0, 1.0]], [[1.0, 1.0]]).most_hours == pytest.approx(40.0)


def test_ties_at_capacity_go_to_where_more_boats_pass_then_to_the_id():
    rates = [[20.0, 6.0], [30.0, 6.0], [6.0, 6.0]]
    reach = reach_of(rates, [[0.0, 0.0]] * 3, ids=["c", "b", "a"])
    order = [divmod(int(cell), 2) for cell in reach.best_first(reach.boats)]
    assert order == [(1, 0), (0, 0), (2, 0), (2, 1), (1, 1), (0, 1)]


def test_a_landing_without_boats_reaches_none():
    reach = reach_of([[0.0, 0.0]], [[0.0, 0.0]])
    assert np.all(reach.arriving == 0)
    assert np.all(reach.boats == 0)
