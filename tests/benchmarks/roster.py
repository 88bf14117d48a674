"""
Rosters of made seasons against frozen figures of the search by exchanges that stood before.

`python tests/benchmarks/roster.py FILE` writes the figures of the code as it stands;
`tests/data/roster_seasons.csv` was written so at commit 28cadb3, before the whole-number model, and
`tests/data/roster_demo_needs.csv` holds what the demo's plans asked of it. Seconds are of the
processor, so that a busy machine does not count.
"""

import csv
import resource
import sys
import time
from datetime import date, timedelta
from pathlib import Path

import numpy as np
import pandas as pd

import spreadnet
from spreadnet.decisions.roster.axis import RosterRules
from spreadnet.decisions.roster.roster import make_roster
from spreadnet.evidence.region import Block

BLOCKS = (Block(6, 10), Block(10, 14), Block(14, 18), Block(18, 22))
LABELS = [block.label for block in BLOCKS]
FIRST = date(2027, 5, 1)
DATA = Path(__file__).parents[1] / "data"
FROZEN = DATA / "roster_seasons.csv"
DEMO = Path(__file__).parents[2] / "demo_region"
SEASONS = 200
# hours of the demo: most open, largest share, km
DEMO_BARS = {260: (0, 0.50, 5350), 320: (0, 0.75, 7550), 400: (3, 0.77, 9250)}
# people, crew, whether they offer every day: most open, as the search by exchanges left
LARGE_BARS = {
    (40, 1, True): 0,
    (40, 1, False): 350,
    (200, 1, False): 0,
    (40, 2, True): 213,
    (40, 2, False): 994,
    (200, 2, False): 297,
}


def made_season(seed):
    """Arguments of `make_roster` for a season drawn from a seed, up to 300 shifts."""
    rng = np.random.default_rng([20270601, seed])
    weeks, n_landings = int(rng.integers(6, 21)), int(rng.integers(4, 41))
    n_people, crew = int(rng.integers(4, 26)), 1 + int(rng.random() < 0.35)
    last = FIRST + timedelta(7 * weeks - 1)
    rules = RosterRules(
        season_first_day=FIRST,
        season_last_day=last,
        plan_from=FIRST,
        holidays=(date(2027, 5, 31), date(2027, 7, 5)),
        blocks=BLOCKS,
        shift_hours=4.0,
        crew=crew,
        most_shifts_per_landing_week=int(rng.integers(2, 6)),
        rest_hours=float(rng.choice([0.0, 11.0])),
        most_shifts_per_person_week=int(rng.integers(2, 6)),
    )
    ids = [f"A{k:02d}" for k in range(n_landings)]
    landings = pd.DataFrame(
        {
            "name": [f"Landing {k}" for k in range(n_landings)],
            "easting_m": rng.uniform(0, 80_000, n_landings).round(),
            "northing_m": rng.uniform(0, 60_000, n_landings).round(),
        },
        index=pd.Index(ids, name="landing_id"),
    )
    people, places = [], 0
    for k in range(n_people):
        home, share = str(rng.choice(ids)), rng.uniform(0.1, 0.6)
        reach = float(rng.choice([np.nan, np.nan, 25.0, 40.0, 60.0]))
        days = [day for day in pd.date_range(FIRST, last) if rng.random() < share]
        places += min(len(days), weeks * rules.most_shifts_per_person_week)
        for day in days:
            block = str(rng.choice([*LABELS, "any", "any", "any"]))
            people.append((f"P{k:02d}", day, block, float(rng.choice([4.0, 8.0])), home, reach))
    most = min(300, weeks * n_landings * rules.most_shifts_per_landing_week, 0.45 * places / crew)
    shifts = int(rng.integers(15, max(int(most), 15) + 1))
    worth = rng.gamma(1.0, size=n_landings) + 0.1
    needs = pd.DataFrame(
        {
            "landing_id": rng.choice(ids, shifts, p=worth / worth.sum()),
            "day_type": rng.choice(["weekday", "weekend"], shifts),
            "block": rng.choice(LABELS, shifts, p=[0.15, 0.35, 0.35, 0.15]),
            "shifts": 1,
        }
    )
    columns = ["code", "date", "block", "hours", "home_landing_id", "most_km"]
    return {
        "needs": needs,
        "rules": rules,
        "landings": landings,
        "people": pd.DataFrame(people, columns=columns),
    }


def large_season(*, people, crew, every_day, shifts=2000, landings=500):
    """Arguments of `make_roster` for a state: 2,000 shifts at 500 landings on 140 days."""
    rng = np.random.default_rng([20270602, people, crew, every_day])
    last = FIRST + timedelta(139)
    ids = [f"A{k:03d}" for k in range(landings)]
    points = rng.uniform(0, 200_000, (landings, 2)).round()
    least, most = (1.0, 1.0) if every_day else (0.15, 0.6) if people < 100 else (0.05, 0.3)
    rows = []
    for k in range(people):
        share, home = rng.uniform(least, most), str(rng.choice(ids))
        reach = np.nan if every_day else float(rng.choice([60.0, 90.0, 150.0]))
        rows += [
            (f"P{k:03d}", day, "any", 8.0, home, reach)
            for day in pd.date_range(FIRST, last)
            if rng.random() < share
        ]
    return {
        "needs": pd.DataFrame(
            {
                "landing_id": rng.choice(ids, shifts),
                "day_type": rng.choice(["weekday", "weekend"], shifts),
                "block": rng.choice(LABELS, shifts),
                "shifts": 1,
            }
        ),
        "rules": RosterRules(
            season_first_day=FIRST,
            season_last_day=last,
            plan_from=FIRST,
            holidays=(),
            blocks=BLOCKS,
            shift_hours=4.0,
            crew=crew,
            most_shifts_per_landing_week=3,
        ),
        "landings": pd.DataFrame(
            {
                "name": [f"Landing {k}" for k in range(landings)],
                "easting_m": points[:, 0],
                "northing_m": points[:, 1],
            },
            index=pd.Index(ids, name="landing_id"),
        ),
        "people": pd.DataFrame(
            rows, columns=["code", "date", "block", "hours", "home_landing_id", "most_km"]
        ),
    }


def figures(roster, given):
    """What a roster is worth: filled first, then fair, then short ways and even weeks."""
    rules, shifts = given["rules"], roster.shifts
    crews = shifts["people"].str.split("; ").map(lambda codes: len([c for c in codes if c]))
    by = roster.by_person[roster.by_person["days_offered"] > 0]
    share = by["share_of_offer"]
    return {
        "undated": int(given["needs"]["shifts"].sum()) - len(shifts),
        "open": int((shifts["status"] == "open").sum()),
        "places": int(crews.sum()),
        "largest_share": round(float(share.max()), 6),
        "smallest_share": round(float(share.min()), 6),
        "idle": int((by["shifts"] == 0).sum()),
        "squares": round(float((by["shifts"] ** 2 / by["days_offered"]).sum()), 6),
        "km": round(float(by["km"].sum()), 3),
        "days_from_even": round(days_from_even(shifts, rules), 4),
    }


def days_from_even(shifts, rules):
    """Mean days between a shift and its place if its landing's were at equal distances."""
    length = (rules.season_last_day - rules.season_first_day).days + 1
    phases, away = np.arange(0.05, 1, 0.05), 0.0
    for _, days in shifts.groupby("landing_id")["date"]:
        at = np.sort((days - pd.Timestamp(rules.season_first_day)).dt.days.to_numpy()) + 0.5
        even = length * (np.arange(len(at)) + phases[:, None]) / len(at)
        away += float(np.abs(at - even).sum(axis=1).min())
    return away / max(len(shifts), 1)


def measured(given):
    """Figures of one season, with its seconds."""
    began = time.process_time()
    roster = make_roster(given["needs"], **{k: v for k, v in given.items() if k != "needs"})
    return roster, figures(roster, given), time.process_time() - began


def demo_season(hours):
    """Arguments of `make_roster` for the demo, with what a plan of so many hours asked for."""
    region = spreadnet.read_region(DEMO)
    settings, points = region.settings, region.landings.geometry.get_coordinates()
    needs = pd.read_csv(DATA / "roster_demo_needs.csv")
    return {
        "needs": needs[needs["hours"] == hours].drop(columns="hours"),
        "rules": RosterRules(
            season_first_day=settings.season_first_day,
            season_last_day=settings.season_last_day,
            plan_from=settings.season_first_day,
            holidays=settings.holidays,
            blocks=settings.blocks,
            shift_hours=settings.shift_hours,
            crew=settings.crew,
            most_shifts_per_landing_week=int(
                settings.most_hours_per_landing_week / settings.shift_hours
            ),
            rest_hours=settings.rest_hours,
            most_shifts_per_person_week=settings.most_shifts_per_person_week,
        ),
        "landings": pd.DataFrame(
            {
                "name": region.landings["name"],
                "easting_m": points["x"],
                "northing_m": points["y"],
            }
        ),
        "people": region.hours,
        "promised": region.promised,
    }


def frozen():
    """Figures of the search by exchanges, a dict of numbers for each season."""
    with FROZEN.open(encoding="utf-8") as file:
        table = list(csv.DictReader(file))
    return {
        int(row["season"]): {name: float(value) for name, value in row.items()} for row in table
    }


def compared(found, before):
    """What of one season is worse than before: empty where nothing is."""
    worse = []
    if found["undated"] + found["open"] > before["undated"] + before["open"]:
        worse.append("more are open")
    if found["places"] == before["places"]:
        if found["squares"] > before["squares"] * 1.001:
            worse.append("shares are less even")
        if found["idle"] > before["idle"]:
            worse.append("more people have no shift")
    return worse


def rows():
    for hours, (most, share, km) in DEMO_BARS.items():
        _, found, seconds = measured(demo_season(hours))
        name = f"roster of the demo, {hours} h"
        yield row(f"{name}, open", found["open"], most, "shifts, at most")
        yield row(f"{name}, largest share", found["largest_share"], share, "at most")
        yield row(f"{name}, ways", found["km"], km, "km, at most")
        yield row(f"{name}, time", seconds, 1, "s, at most")
    yield from season_rows()
    for (people, crew, every_day), most in LARGE_BARS.items():
        given = large_season(people=people, crew=crew, every_day=every_day)
        _, found, seconds = measured(given)
        name = f"2,000 shifts, {people} people, crew {crew}{', every day' if every_day else ''}"
        yield row(f"{name}, open", found["open"], most, "shifts, at most")
        yield row(f"{name}, time", seconds, 60, "s, at most")
    memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    yield row("rosters, most memory", memory, 400, "MB, at most")


def season_rows():
    """Rows of all made seasons together."""
    before, ways, even, spread, seconds, worse = frozen(), [], [], [], [], []
    for seed in range(SEASONS):
        _, found, spent = measured(made_season(seed))
        worse += compared(found, before[seed])
        if found["places"] == before[seed]["places"]:
            ways.append(found["km"] / before[seed]["km"])
        even.append(found["days_from_even"])
        spread.append(found["largest_share"] - found["smallest_share"])
        seconds.append(spent)
    yield row("made seasons, figures worse than before", len(worse), 0, "seasons")
    yield row("made seasons, ways against before", np.mean(ways), 0.7, "mean, at most")
    yield row("made seasons, from equal distances", np.mean(even), 2.4, "days, mean, at most")
    yield row("made seasons, largest less smallest share", np.mean(spread), 0.16, "mean, at most")
    yield row("made seasons, middle time", np.median(seconds), 3, "s, at most")
    yield row("made seasons, longest time", np.max(seconds), 30, "s, at most")


def row(name, figure, bar, unit):
    return {"name": name, "figure": float(figure), "bar": bar, "unit": unit, "ok": figure <= bar}


def write(path, seeds=range(SEASONS)):
    """Figures of the code as it stands, a row a season."""
    with Path(path).open("w", newline="", encoding="utf-8") as file:
        table = None
        for seed in seeds:
            given = made_season(seed)
            _, found, seconds = measured(given)
            row = {"season": seed, "shifts": len(given["needs"]), "crew": given["rules"].crew}
            row |= found | {"seconds": round(seconds, 2)}
            if table is None:
                table = csv.DictWriter(file, list(row))
                table.writeheader()
            table.writerow(row)
            file.flush()


if __name__ == "__main__":
    write(sys.argv[1])
