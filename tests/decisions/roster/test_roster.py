"""The roster keeps its rules, leaves nothing open that can be filled, and moves little."""

import itertools
from datetime import date, timedelta

import networkx as nx
import numpy as np
import pandas as pd
import pytest

from spreadnet.decisions.roster.axis import RosterRules
from spreadnet.decisions.roster.roster import make_roster
from spreadnet.decisions.roster.tables import COLUMNS
from spreadnet.evidence.region import Block

BLOCKS = (Block(6, 10), Block(10, 14), Block(14, 18), Block(18, 22))
LABELS = [block.label for block in BLOCKS]
FIRST, LAST = date(2027, 5, 1), date(2027, 6, 11)  # a Saturday to a Friday, six weeks


def rules(**changed):
    given = {
        "season_first_day": FIRST,
        "season_last_day": LAST,
        "plan_from": FIRST,
        "holidays": (),
        "blocks": BLOCKS,
        "shift_hours": 4.0,
        "crew": 1,
        "most_shifts_per_landing_week": 3,
    }
    return RosterRules(**(given | changed))


def landings(count=4, gap_km=10.0):
    return pd.DataFrame(
        {
            "name": [f"Landing {k}" for k in range(count)],
            "easting_m": [gap_km * 1000.0 * k for k in range(count)],
            "northing_m": [5_000.0] * count,
        },
        index=pd.Index([f"A{k}" for k in range(count)], name="landing_id"),
    )


def needs(*rows):
    return pd.DataFrame(rows, columns=["landing_id", "day_type", "block", "shifts"])


def offers(rows):
    return pd.DataFrame(
        rows, columns=["code", "date", "block", "hours", "home_landing_id", "most_km"]
    ).assign(date=lambda t: pd.to_datetime(t["date"]))


def every_day(code, home="A0", block="any", hours=8.0, first=FIRST, last=LAST, km=np.nan):
    days = pd.date_range(first, last)
    return [(code, day, block, hours, home, km) for day in days]


def invented(seed, *, crew=1, people=5, shifts=18, share=0.4):
    """A random small season: needs, rules, landings and offers."""
    rng = np.random.default_rng([20270501, seed])
    table = needs(
        *(
            (
                f"A{rng.integers(4)}",
                str(rng.choice(["weekday", "weekend"])),
                str(rng.choice(LABELS)),
                1,
            )
            for _ in range(shifts)
        )
    )
    rows = []
    for k in range(people):
        home = f"A{rng.integers(4)}"
        reach = float(rng.choice([np.nan, 15.0, 25.0]))
        for day in pd.date_range(FIRST, LAST):
            if rng.random() < share:
                block = str(rng.choice([*LABELS, "any"]))
                rows.append((f"P{k}", day, block, float(rng.choice([3.0, 4.0, 8.0])), home, reach))
    given = rules(
        crew=crew,
        holidays=(date(2027, 5, 6), date(2027, 5, 31)),
        rest_hours=float(rng.choice([0.0, 11.0])),
        most_shifts_per_person_week=int(rng.integers(1, 4)),
        most_shifts_per_landing_week=int(rng.integers(1, 4)),
    )
    return table, {"rules": given, "landings": landings(), "people": offers(rows)}


def is_weekend(day, given):
    return day.weekday() >= 5 or day in given.holidays


def hours_of(clock):
    return int(clock[:2]) + int(clock[3:]) / 60


def check_rules(roster, given, people):
    """Every rule, worked out anew from the finished table."""
    live = roster.shifts[roster.shifts["status"] != "cancelled"]
    assert not live.duplicated(["landing_id", "date", "start"]).any()
    assert live["uid"].is_unique
    assert live["shift_id"].is_unique
    week = live["date"].dt.isocalendar()[["year", "week"]].astype(int)
    by_week = [live["landing_id"], week["year"], week["week"]]
    assert live.groupby(by_week).size().max() <= given.most_shifts_per_landing_week
    held = {}
    offer = {} if people is None else dict(list(people.groupby(["code", "date"])))
    for row in live.to_dict("records"):
        day = row["date"].date()
        assert given.plan_from <= day <= given.season_last_day
        assert row["day_type"] == ("weekend" if is_weekend(day, given) else "weekday")
        first, last = (hours_of(part) for part in row["block"].split("-"))
        start, end = hours_of(row["start"]), hours_of(row["end"])
        assert first <= start
        assert end <= last
        assert end - start == given.shift_hours
        codes = row["people"].split("; ") if row["people"] else []
        assert len(codes) == len(set(codes)) <= given.crew
        assert row["status"] == ("planned" if len(codes) == given.crew else "open")
        for code in codes:
            rows = offer[code, row["date"]]
            assert any(
                o["block"] in ("any", row["block"]) and o["hours"] >= given.shift_hours
                for o in rows.to_dict("records")
            )
            held.setdefault(code, []).append((row["date"], start, end, row["landing_id"]))
    for code, mine in held.items():
        mine.sort()
        moments = [(d.toordinal() * 24 + s, d.toordinal() * 24 + e) for d, s, e, _ in mine]
        for (_, end), (start, _) in itertools.pairwise(moments):
            assert start - end >= given.rest_hours
        weeks = pd.Series([d.isocalendar()[:2] for d, *_ in mine]).value_counts()
        assert weeks.max() <= given.most_shifts_per_person_week
        for day in {d for d, *_ in mine}:
            worked = sum(e - s for d, s, e, _ in mine if d == day)
            assert worked <= offer[code, day]["hours"].max()


@pytest.mark.parametrize("crew", [1, 2])
@pytest.mark.parametrize("seed", range(12))
def test_every_rule_is_kept_on_random_seasons(seed, crew):
    table, given = invented(seed, crew=crew, people=4 + 2 * crew)
    roster = make_roster(table, **given)
    check_rules(roster, given["rules"], given["people"])
    reach = given["people"].groupby("code")[["home_landing_id", "most_km"]].first()
    places = given["landings"]["easting_m"] / 1000
    for row in roster.shifts[roster.shifts["people"] != ""].to_dict("records"):
        away = 0.0
        for code in row["people"].split("; "):
            km = abs(places[row["landing_id"]] - places[reach.loc[code, "home_landing_id"]])
            assert not km > reach.loc[code, "most_km"]
            away += 2 * km
        assert row["km"] == pytest.approx(away)
    assert roster.by_person["shifts"].sum() == sum(
        len(p.split("; ")) for p in roster.shifts["people"] if p
    )
    assert list(roster.shifts.columns) == list(COLUMNS)


@pytest.mark.parametrize("seed", range(4))
def test_the_order_of_rows_does_not_matter_and_nothing_is_changed(seed):
    table, given = invented(seed, crew=2)
    kept = {k: v.copy() for k, v in given.items() if isinstance(v, pd.DataFrame)}
    one = make_roster(table, **given)
    for name, before in kept.items():
        pd.testing.assert_frame_equal(given[name], before)
    mixed = {
        name: value.sample(frac=1, random_state=seed) if isinstance(value, pd.DataFrame) else value
        for name, value in given.items()
    }
    other = make_roster(table.sample(frac=1, random_state=seed), **mixed)
    pd.testing.assert_frame_equal(one.shifts, other.shifts)
    pd.testing.assert_frame_equal(one.by_person, other.by_person)
    assert one.notes == other.notes


# ---- nothing is left open that can be filled


def most_by_trying_all(table, given, people):
    """Most shifts with a whole crew, by trying every date and crew (brute force)."""
    units = [
        (row["landing_id"], row["day_type"], row["block"])
        for row in table.sort_values(["landing_id", "day_type", "block"]).to_dict("records")
        for _ in range(row["shifts"])
    ]
    offer = {}
    for row in people.to_dict("records"):
        offer.setdefault((row["date"].date(), row["block"]), []).append(row["code"])
    days = [FIRST + timedelta(k) for k in range((given.season_last_day - FIRST).days + 1)]
    best = 0

    def crews(day, block):
        who = sorted({*offer.get((day, block), []), *offer.get((day, "any"), [])})
        return itertools.combinations(who, given.crew)

    def allowed(code, day, start, taken):
        mine = [(d, s) for d, s, _, crew in taken if code in crew]
        week = sum(d.isocalendar()[:2] == day.isocalendar()[:2] for d, _ in mine)
        apart = given.shift_hours + given.rest_hours
        return week < given.most_shifts_per_person_week and all(
            abs((day - d).days * 24 + start - s) >= apart for d, s in mine
        )

    def go(position, taken):
        nonlocal best
        best = max(best, len(taken))
        if position == len(units) or len(taken) + len(units) - position <= best:
            return
        landing, day_type, block = units[position]
        start = hours_of(block[:5])
        for day in days:
            if (day_type == "weekend") != is_weekend(day, given):
                continue
            there = [(d, s) for d, s, place, _ in taken if place == landing]
            week = sum(d.isocalendar()[:2] == day.isocalendar()[:2] for d, _ in there)
            if (day, start) in there or week >= given.most_shifts_per_landing_week:
                continue
            for crew in crews(day, block):
                if all(allowed(code, day, start, taken) for code in crew):
                    go(position + 1, [*taken, (day, start, landing, crew)])
        go(position + 1, taken)

    go(0, [])
    return best


@pytest.mark.parametrize("crew", [1, 2])
@pytest.mark.parametrize("seed", range(10))
def test_as_many_shifts_have_crews_as_trying_everything_finds(seed, crew):
    rng = np.random.default_rng([7, seed, crew])
    given = rules(
        crew=crew,
        season_last_day=date(2027, 5, 12),
        most_shifts_per_landing_week=2,
        most_shifts_per_person_week=int(rng.integers(1, 4)),
        rest_hours=float(rng.choice([0.0, 11.0])),
    )
    table = needs(
        *(
            (f"A{rng.integers(2)}", str(rng.choice(["weekday", "weekend"])), LABELS[k % 2], 1)
            for k in range(5)
        )
    )
    rows = [
        (f"P{k}", FIRST + timedelta(int(d)), str(rng.choice([*LABELS[:2], "any"])), 8.0, None, None)
        for k in range(2 + crew)
        for d in rng.choice(12, 4, replace=False)
    ]
    people = offers(rows).drop_duplicates(["code", "date"])
    roster = make_roster(table, rules=given, landings=landings(), people=people)
    found = int((roster.shifts["status"] == "planned").sum())
    assert found == most_by_trying_all(table, given, people)
    assert len(roster.shifts) == 5


@pytest.mark.parametrize("seed", range(8))
def test_as_many_shifts_have_people_as_a_flow_finds(seed):
    """Where neither weeks nor rest bind, the most is a maximum flow (networkx)."""
    rng = np.random.default_rng([11, seed])
    table = needs(
        *(
            (f"A{k}", day_type, LABELS[0], int(rng.integers(1, 5)))
            for k in range(6)
            for day_type in ("weekday", "weekend")
        )
    )
    people = offers(
        [
            (f"P{p}", FIRST + timedelta(int(d)), LABELS[0], 4.0, f"A{rng.integers(6)}", 20.0)
            for p in range(6)
            for d in rng.choice(42, 6, replace=False)
        ]
    )
    home = people.groupby("code")["home_landing_id"].first()
    people["home_landing_id"] = people["code"].map(home)
    given = rules(most_shifts_per_landing_week=7, most_shifts_per_person_week=7)
    roster = make_roster(table, rules=given, landings=landings(6), people=people)
    graph = nx.DiGraph()
    for need in table.itertuples():
        graph.add_edge("source", ("need", need.Index), capacity=need.shifts)
        for row in people.itertuples():
            day = row.date.date()
            near = abs(int(row.home_landing_id[1]) - int(need.landing_id[1])) <= 2
            if near and (need.day_type == "weekend") == is_weekend(day, given):
                graph.add_edge(("need", need.Index), (need.landing_id, day), capacity=1)
                graph.add_edge((need.landing_id, day), (row.code, day), capacity=1)
                graph.add_edge((row.code, day), "sink", capacity=1)
    most = nx.maximum_flow_value(graph, "source", "sink")
    assert (roster.shifts["status"] == "planned").sum() == most
    assert len(roster.shifts) == table["shifts"].sum()


def test_dates_are_found_where_only_moving_others_makes_room():
    """Two a week over two weeks: four shifts fit only if weekdays leave the weekend its place."""
    given = rules(
        season_first_day=date(2027, 5, 3),
        plan_from=date(2027, 5, 3),
        season_last_day=date(2027, 5, 14),  # second week without a weekend
        most_shifts_per_landing_week=2,
    )
    table = needs(("A0", "weekday", LABELS[0], 2), ("A0", "weekend", LABELS[0], 2))
    roster = make_roster(table, rules=given, landings=landings())
    assert len(roster.shifts) == 4
    check_rules(roster, given, None)
    assert [note.code for note in roster.notes] == ["no-people"]


# ---- dates


def test_shifts_are_spread_over_the_season():
    table = needs(("A0", "weekend", LABELS[1], 6), ("A1", "weekday", LABELS[0], 3))
    roster = make_roster(table, rules=rules(), landings=landings())
    weeks = roster.shifts["date"].dt.isocalendar().week
    at = roster.shifts["landing_id"]
    assert weeks[at == "A0"].nunique() == 6
    gaps = roster.shifts.loc[at == "A1", "date"].sort_values().diff().dt.days.dropna()
    assert gaps.between(7, 21).all()


def test_holidays_count_as_weekend():
    given = rules(
        season_last_day=date(2027, 5, 7),
        season_first_day=date(2027, 5, 3),
        plan_from=date(2027, 5, 3),
        holidays=(date(2027, 5, 5),),
    )
    table = needs(("A0", "weekend", LABELS[0], 2))
    roster = make_roster(table, rules=given, landings=landings())
    assert roster.shifts["date"].tolist() == [pd.Timestamp("2027-05-05")]
    (note,) = [note for note in roster.notes if note.code == "shifts-without-date"]
    assert note.text.startswith("1 shift could not get a date (Landing 0, weekend 06:00-10:00: 1)")


def test_a_long_block_holds_two_shifts_one_after_the_other():
    given = rules(
        blocks=(Block(8, 16),),
        season_last_day=date(2027, 5, 1),
        most_shifts_per_landing_week=5,
    )
    table = needs(("A0", "weekend", "08:00-16:00", 3))
    roster = make_roster(table, rules=given, landings=landings())
    assert roster.shifts[["start", "end"]].to_numpy().tolist() == [
        ["08:00", "12:00"],
        ["12:00", "16:00"],
    ]
    assert roster.shifts["uid"].nunique() == 2
    assert [note.code for note in roster.notes] == ["shifts-without-date", "no-people"]


def test_shifts_worked_count_in_the_week_of_the_first_day_only():
    given = rules(
        plan_from=date(2027, 5, 6),
        season_last_day=date(2027, 5, 7),
        most_shifts_per_landing_week=2,
    )
    table = needs(("A0", "weekday", LABELS[0], 2))
    worked = pd.DataFrame(
        {"date": pd.to_datetime(["2027-05-03", "2027-05-01"]), "landing_id": ["A0", "A0"]}
    )
    roster = make_roster(table, rules=given, landings=landings(), worked=worked)
    assert len(roster.shifts) == 1
    assert len(make_roster(table, rules=given, landings=landings()).shifts) == 2


# ---- people


def test_people_wait_for_each_others_rest():
    """22:00 to 06:00 is 8 hours: too short by the default of 11, enough where 8 is asked."""
    table = needs(("A0", "weekend", LABELS[3], 1), ("A1", "weekend", LABELS[0], 1))
    people = offers(
        [
            ("P1", "2027-05-01", LABELS[3], 4.0, None, None),
            ("P1", "2027-05-02", LABELS[0], 4.0, None, None),
        ]
    )
    strict = make_roster(table, rules=rules(), landings=landings(), people=people)
    loose = make_roster(table, rules=rules(rest_hours=8.0), landings=landings(), people=people)
    assert sorted(strict.shifts["status"]) == ["open", "planned"]
    assert sorted(loose.shifts["status"]) == ["planned", "planned"]
    (note,) = strict.notes
    assert note.code == "shifts-lacking-people"
    assert note.text.startswith("1 of 2 shifts lack people, 1 in all")


@pytest.mark.parametrize("block", ["05:00-15:00", "06:00-10:00"])
def test_offers_hold_the_blocks_that_lie_within_them(block):
    people = offers([("P1", "2027-05-01", block, 4.0, None, None)])
    table = needs(("A0", "weekend", LABELS[0], 1), ("A0", "weekend", LABELS[3], 1))
    roster = make_roster(table, rules=rules(), landings=landings(), people=people)
    assert roster.shifts.set_index("block")["people"].to_dict() == {LABELS[0]: "P1", LABELS[3]: ""}


def test_hours_of_a_day_are_not_passed():
    people = offers(every_day("P1", hours=7.9))
    table = needs(*(("A0", "weekend", label, 6) for label in LABELS[:2]))
    given = rules(rest_hours=0.0, most_shifts_per_landing_week=4)
    roster = make_roster(table, rules=given, landings=landings(), people=people)
    done = roster.shifts[roster.shifts["people"] != ""]
    assert done["date"].is_unique
    check_rules(roster, given, people)


def test_shares_of_what_people_offered_are_even():
    people = offers(
        every_day("P1")
        + every_day("P2", last=FIRST + timedelta(20))
        + every_day("P3", first=LAST - timedelta(13))
    )
    table = needs(*((f"A{k}", "weekend", LABELS[k], 5) for k in range(4)))
    roster = make_roster(table, rules=rules(), landings=landings(), people=people)
    assert (roster.shifts["status"] == "planned").all()
    share = roster.by_person["share_of_offer"]
    assert share.max() - share.min() <= 1 / 14  # one shift of who offered least
    assert roster.by_person["days_offered"].tolist() == [42, 21, 14]
    assert roster.by_person["hours"].tolist() == (roster.by_person["shifts"] * 4.0).tolist()


@pytest.mark.parametrize("seed", range(6))
def test_no_single_hand_over_would_make_shares_more_even(seed):
    table, given = invented(seed, people=6, share=0.6)
    roster = make_roster(table, **given)
    held = roster.by_person["shifts"]
    offer = roster.by_person["days_offered"]
    now = (held**2 / offer).sum()
    for position in roster.shifts.index[roster.shifts["people"] != ""]:
        mine = roster.shifts.loc[position, "people"]
        for other in held.index.drop(mine):
            changed = held.copy()
            changed[[mine, other]] += [-1, 1]
            if (changed**2 / offer).sum() >= now - 1e-9:
                continue
            moved = roster.shifts.copy()
            moved.loc[position, "people"] = other
            with pytest.raises((AssertionError, KeyError)):
                check_rules(
                    type(roster)(moved, roster.by_person, ()), given["rules"], given["people"]
                )
                assert near_enough(moved.loc[position], other, given)


def near_enough(row, code, given):
    mine = given["people"][given["people"]["code"] == code].iloc[0]
    east = given["landings"]["easting_m"] / 1000
    km = abs(east[row["landing_id"]] - east[mine["home_landing_id"]])
    return not km > mine["most_km"]


def test_near_people_go_where_shares_are_the_same_anyhow():
    people = offers(every_day("P1", home="A3") + every_day("P2", home="A0"))
    table = needs(("A0", "weekend", LABELS[0], 3), ("A3", "weekend", LABELS[0], 3))
    roster = make_roster(table, rules=rules(cost_per_km=0.5), landings=landings(), people=people)
    assert dict(zip(roster.shifts["landing_id"], roster.shifts["people"], strict=True)) == {
        "A0": "P2",
        "A3": "P1",
    }
    assert roster.by_person["km"].tolist() == [0.0, 0.0]


def test_ways_are_summed_there_and_back_and_priced():
    people = offers(every_day("P1", home="A3"))
    table = needs(("A0", "weekend", LABELS[0], 2))
    roster = make_roster(table, rules=rules(cost_per_km=0.5), landings=landings(), people=people)
    assert roster.shifts["km"].tolist() == [60.0, 60.0]
    assert roster.notes[0].text == "Travel of 120 km costs 60 at 0.5 a km."


def test_nobody_goes_further_than_they_said():
    people = offers(every_day("P1", home="A3", km=29.9))
    table = needs(("A0", "weekend", LABELS[0], 2), ("A1", "weekend", LABELS[0], 2))
    roster = make_roster(table, rules=rules(), landings=landings(), people=people)
    by_landing = roster.shifts.groupby("landing_id")["status"].first()
    assert by_landing.to_dict() == {"A0": "open", "A1": "planned"}


def test_without_people_shifts_are_dated_and_open():
    table = needs(("A0", "weekend", LABELS[0], 2))
    for people in (None, offers([])):
        roster = make_roster(table, rules=rules(), landings=landings(), people=people)
        assert roster.shifts["status"].tolist() == ["open", "open"]
        assert roster.shifts["km"].isna().all()
        assert not len(roster.by_person)
        assert roster.shifts["date"].dtype == "datetime64[s]"


# ---- promised, previous


def test_promised_shifts_are_kept_and_counted():
    promised = pd.DataFrame(
        {
            "date": pd.to_datetime(["2027-05-08", "2027-05-09", "2027-05-08"]),
            "landing_id": ["A0", "A0", "A1"],
            "block": [LABELS[0], LABELS[0], LABELS[0]],
            "code": ["P1", None, "P9"],
        }
    )
    table = needs(("A0", "weekend", LABELS[0], 3), ("A1", "weekend", LABELS[0], 1))
    people = offers(every_day("P1") + every_day("P2"))
    roster = make_roster(
        table,
        rules=rules(most_shifts_per_landing_week=2),
        landings=landings(),
        people=people,
        promised=promised,
    )
    kept = roster.shifts[roster.shifts["status"] == "promised"]
    assert kept[["landing_id", "people"]].to_numpy().tolist() == [
        ["A0", "P1"],
        ["A1", "P9"],
        ["A0", ""],
    ]
    assert len(roster.shifts) == 4
    (new,) = roster.shifts[roster.shifts["status"] == "planned"].to_dict("records")
    assert new["date"].isocalendar().week != 18  # its week is full
    assert np.isnan(roster.by_person.loc["P9", "share_of_offer"])


def test_promised_crews_are_made_whole():
    promised = pd.DataFrame(
        {"date": ["2027-05-08"], "landing_id": ["A0"], "block": [LABELS[0]], "code": ["P1"]}
    )
    roster = make_roster(
        needs(("A0", "weekend", LABELS[0], 1)),
        rules=rules(crew=2),
        landings=landings(),
        people=offers(every_day("P2")),
        promised=promised,
    )
    assert roster.shifts[["people", "status"]].to_numpy().tolist() == [["P1; P2", "promised"]]


@pytest.mark.parametrize("seed", range(8))
def test_planning_again_without_news_changes_nothing(seed):
    table, given = invented(seed, crew=1 + seed % 2, people=7, share=0.5)
    one = make_roster(table, **given)
    full = one.shifts["status"] == "planned"
    again = make_roster(table, previous=one.shifts, **given)
    check_rules(again, given["rules"], given["people"])
    merged = one.shifts[full].merge(again.shifts, on="uid", suffixes=("", "_again"))
    assert len(merged) == full.sum()
    for column in ("date", "start", "people", "shift_id", "sequence"):
        assert merged[column].equals(merged[f"{column}_again"])


@pytest.mark.parametrize("seed", range(8))
def test_when_somebody_falls_out_the_shifts_of_all_others_stay(seed):
    table, given = invented(seed, crew=1 + seed % 2, people=7, share=0.5)
    one = make_roster(table, **given)
    people = given["people"][given["people"]["code"] != "P2"]
    two = make_roster(table, previous=one.shifts, **(given | {"people": people}))
    check_rules(two, given["rules"], people)
    assert set(one.shifts["uid"]) <= set(two.shifts["uid"])
    others = (one.shifts["status"] == "planned") & ~one.shifts["people"].str.contains("P2")
    columns = ["uid", "date", "start", "people", "status", "sequence"]
    kept = two.shifts[two.shifts["uid"].isin(one.shifts.loc[others, "uid"])]
    pd.testing.assert_frame_equal(
        kept[columns].reset_index(drop=True), one.shifts.loc[others, columns].reset_index(drop=True)
    )
    both = one.shifts.merge(two.shifts, on="uid", suffixes=("", "_2"))
    moved = (both[["date", "people"]].to_numpy() != both[["date_2", "people_2"]].to_numpy()).any(1)
    assert (both["sequence_2"] - both["sequence"] >= moved).all()


def test_who_falls_out_is_replaced_on_the_same_date():
    table = needs(("A0", "weekend", LABELS[0], 4))
    both = every_day("P1") + every_day("P2")
    one = make_roster(table, rules=rules(), landings=landings(), people=offers(both))
    out = one.shifts["people"] == "P1"
    again = make_roster(
        table,
        rules=rules(),
        landings=landings(),
        people=offers(every_day("P2")),
        previous=one.shifts,
    )
    assert again.shifts["uid"].tolist() == one.shifts["uid"].tolist()
    assert again.shifts["date"].tolist() == one.shifts["date"].tolist()
    assert again.shifts["sequence"].tolist() == out.astype(int).tolist()


def test_a_shift_that_must_move_keeps_its_identity():
    table = needs(("A0", "weekend", LABELS[0], 1))
    one = make_roster(
        table,
        rules=rules(),
        landings=landings(),
        people=offers([("P1", "2027-05-08", "any", 4.0, None, None)]),
    )
    again = make_roster(
        table,
        rules=rules(),
        landings=landings(),
        people=offers([("P1", "2027-05-22", "any", 4.0, None, None)]),
        previous=one.shifts,
    )
    (before,), (after,) = one.shifts.to_dict("records"), again.shifts.to_dict("records")
    assert after["date"] == pd.Timestamp("2027-05-22")
    assert (after["uid"], after["shift_id"]) == (before["uid"], before["shift_id"])
    assert (before["sequence"], after["sequence"]) == (0, 1)


def test_what_is_no_longer_needed_is_cancelled_and_can_come_back():
    four, two = (needs(("A0", "weekend", LABELS[0], count)) for count in (4, 2))
    people = offers(every_day("P1"))
    given = {"rules": rules(), "landings": landings(), "people": people}
    one = make_roster(four, **given)
    less = make_roster(two, previous=one.shifts, **given)
    gone = less.shifts[less.shifts["status"] == "cancelled"]
    assert len(gone) == 2
    assert (gone["sequence"] == 1).all()
    assert less.by_person.loc["P1", "shifts"] == 2
    still = make_roster(two, previous=less.shifts, **given)
    pd.testing.assert_frame_equal(still.shifts, less.shifts)
    back = make_roster(four, previous=less.shifts, **given)
    assert back.shifts["uid"].is_unique
    assert (back.shifts["status"] != "cancelled").sum() == 4
    revived = back.shifts[back.shifts["uid"].isin(gone["uid"]) & (back.shifts["sequence"] == 2)]
    assert (revived["status"] == "planned").all()


def test_earlier_shifts_may_come_back_from_a_file_as_text():
    given = {"rules": rules(), "landings": landings(), "people": offers(every_day("P1"))}
    table = needs(("A0", "weekend", LABELS[0], 3))
    one = make_roster(table, **given)
    text = one.shifts.astype(str)
    pd.testing.assert_frame_equal(make_roster(table, previous=text, **given).shifts, one.shifts)


def test_days_before_the_plan_are_left_alone():
    table = needs(("A0", "weekend", LABELS[0], 6))
    one = make_roster(table, rules=rules(), landings=landings())
    later = rules(plan_from=date(2027, 5, 22))
    again = make_roster(
        needs(("A0", "weekend", LABELS[0], 3)),
        rules=later,
        landings=landings(),
        previous=one.shifts,
    )
    assert again.shifts["date"].min() >= pd.Timestamp("2027-05-22")
    assert set(again.shifts["uid"]) == set(
        one.shifts.loc[one.shifts["date"] >= "2027-05-22", "uid"]
    )


# ---- arguments, size


@pytest.mark.parametrize(
    ("row", "message"),
    [
        (("B9", "weekend", LABELS[0], 1), "Invalid landing_id 'B9'"),
        (("A0", "sunday", LABELS[0], 1), "Invalid day_type 'sunday'"),
        (("A0", "weekend", "05:00-06:00", 1), "Invalid block '05:00-06:00'"),
        (("A0", "weekend", LABELS[0], -1), "Invalid shifts '-1'"),
    ],
)
def test_needs_that_name_nothing_known_are_refused(row, message):
    with pytest.raises(ValueError, match=message):
        make_roster(needs(row), rules=rules(), landings=landings())


@pytest.mark.parametrize(
    ("changed", "message"),
    [
        ({"crew": 0}, "Invalid crew '0'"),
        ({"shift_hours": 0.0}, "Invalid shift_hours"),
        ({"rest_hours": -1.0}, "Invalid rest_hours"),
        ({"season_first_day": date(2028, 1, 1)}, "Invalid season_first_day"),
    ],
)
def test_rules_that_can_not_be_kept_are_refused(changed, message):
    with pytest.raises(ValueError, match=message):
        rules(**changed)


@pytest.mark.parametrize(
    "changed",
    [
        {"promised": {"landing_id": "B9"}},
        {"promised": {"block": "01:00-02:00"}},
        {"promised": {"date": "2062-05-08"}},
        {"people": {"home_landing_id": "B9"}},
        {"people": {"block": "mornings"}},
    ],
)
def test_tables_that_name_nothing_known_are_refused(changed):
    promised = {"date": "2027-05-08", "landing_id": "A0", "block": LABELS[0], "code": "P1"}
    people = dict(zip(offers([]).columns, every_day("P1")[0], strict=True))
    tables = {
        "promised": pd.DataFrame([promised | changed.get("promised", {})]),
        "people": pd.DataFrame([people | changed.get("people", {})]),
    }
    with pytest.raises(ValueError, match="Invalid"):
        make_roster(needs(), rules=rules(), landings=landings(), **tables)


def test_an_empty_plan_is_an_empty_roster():
    roster = make_roster(needs(), rules=rules(), landings=landings(), people=offers([]))
    assert list(roster.shifts.columns) == list(COLUMNS)
    assert not len(roster.shifts)
    assert roster.notes == ()


@pytest.mark.parametrize("crew", [1, 2])
@pytest.mark.parametrize("count", [4, 12, 30])
def test_asked_only_for_the_fill_as_many_stay_open(crew, count):
    given = rules(crew=crew)
    table = needs(*((f"A{k}", "weekend", label, count // 4) for k in range(4) for label in LABELS))
    people = offers([*every_day("P1"), *every_day("P2", home="A3"), *every_day("P3", km=15.0)])
    quick, whole = (
        make_roster(table, rules=given, landings=landings(), people=people, fill_only=only)
        for only in (True, False)
    )
    check_rules(quick, given, people)
    assert status_counts(quick) == status_counts(whole)


def status_counts(roster):
    """Shifts planned and open."""
    return roster.shifts["status"].value_counts().to_dict()


@pytest.mark.slow
@pytest.mark.parametrize("crew", [1, 2])
def test_a_season_of_many_windows_is_whole_and_fair(crew):
    """600 shifts at 150 landings with 40 people on 140 days: crews of two get rough answers."""
    rng = np.random.default_rng(5)
    given = rules(season_last_day=FIRST + timedelta(139), crew=crew)
    places = landings(150, gap_km=0.4)
    table = needs(
        *(
            (str(landing), str(day_type), str(label), 1)
            for landing, day_type, label in zip(
                rng.choice(places.index, 600),
                rng.choice(["weekday", "weekend"], 600),
                rng.choice(LABELS, 600),
                strict=True,
            )
        )
    )
    people = offers(
        [
            row
            for k in range(40)
            for row in every_day(f"P{k:02d}", home=f"A{k * 3}", last=given.season_last_day)
        ]
    )
    roster = make_roster(table, rules=given, landings=places, people=people)
    check_rules(roster, given, people)
    assert len(roster.shifts) == 600
    assert set(roster.shifts["status"]) == {"planned"}
    share = roster.by_person["share_of_offer"]
    assert share.max() - share.min() < 0.03
