"""Step three of the chain: from evidence and movement to ranked landings."""

from __future__ import annotations

from typing import TYPE_CHECKING

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from spreadnet.decisions.draws import any_new, avoided_by, run_draws, run_model, setting_of
from spreadnet.decisions.hindcast import region_skill
from spreadnet.decisions.hours import WAYS, Met, place_busiest, place_equally, place_ranked
from spreadnet.decisions.ranking.engine_check import check_engine, why_apart
from spreadnet.decisions.ranking.landings import landing_table
from spreadnet.decisions.ranking.real_hours import exact_effects
from spreadnet.decisions.ranking.result import Assessment
from spreadnet.decisions.ranking.uncertainty import FIRST, rank_moves, redrawn_number, region_shares
from spreadnet.evidence.estimating import surveys_for_detection
from spreadnet.evidence.region import Note
from spreadnet.model.distance import lake_points, landing_lake_positions
from spreadnet.model.estimates import best_estimates
from spreadnet.model.inputs import place_of
from spreadnet.model.spread import lake_network, trips_table
from spreadnet.words import GROUPS_ONLY, counted, figure, skill_lines

if TYPE_CHECKING:
    from collections.abc import Mapping

    import networkx as nx
    from numpy.typing import NDArray

    from spreadnet.decisions.draws import Draws, Run
    from spreadnet.decisions.ranking.engine_check import EngineCheck
    from spreadnet.evidence.gather import Evidence
    from spreadnet.evidence.region import Region
    from spreadnet.model.movement import Movement
    from spreadnet.options import Settled

    Array = NDArray[np.floating]

WHOLE = 0.995  # share of trips above which no word is lost on those left out
FEW_DRAWS, ENOUGH_DRAWS = 50, 200
SMALLEST_CHANCE = 0.001  # chances below this are left out of the table by season
WORTH_A_WORD = 0.1  # share of rank variance that is named
SMALLEST_SHARE = 0.01  # edges below this share of trips at both ends are left out


def decide(
    region: Region,
    evidence: Evidence,
    movement: Movement,
    *,
    options: Settled,
) -> Assessment:
    """
    Rank the landings, compare ways of placing the hours, and describe the network.

    Parameters
    ----------
    region : Region
        The input.
    evidence : Evidence
        Step one.
    movement : Movement
        Step two.
    options : Settled
        Seasons, draws, seed, workers, and who is told as the draws go on.

    Returns
    -------
    assessment : Assessment
        Tables in the region's order.

    Raises
    ------
    ValueError
        If the evidence or the movement is of another region.
    """
    _check(region, evidence, movement)
    skill = region_skill(region, evidence, movement)
    seasons, draws, seed = options.seasons, options.draws, options.seed
    place = place_of(region, evidence, movement)
    run = run_model(best_estimates(evidence, movement), movement, place=place, seasons=seasons)
    hours = _hours(region.settings.hours, run)
    met = Met.of(run.reach, evidence, next(iter(run.inputs.values())))
    redrawn = redrawn_number(draws)
    setting = setting_of(
        evidence, movement, place=place, best=run, hours=hours, seed=seed, redrawn=redrawn
    )
    drawn = run_draws(setting, range(draws), workers=options.workers, step=options.progress.step)
    checks = check_engine(run, seed=seed)
    exact = exact_effects(run)
    moved = rank_moves(drawn.scores, drawn.redrawn, factor=exact.factor, ids=place.landing_ids)
    landings = landing_table(
        region,
        evidence,
        run=run,
        exact=exact,
        scores=drawn.scores,
        moved=moved,
        hours=hours,
        met=met,
    )
    lakes = _lake_table(region, evidence, run=run, drawn=drawn, known=setting.known)
    trips, held = _trip_lines(region, movement, run)
    moves = region_shares(*moved, first=_first(landings))
    return Assessment(
        region=region,
        evidence=evidence,
        movement=movement,
        landings=landings,
        lakes=lakes,
        trips=trips,
        network=_network(region, lakes, trips),
        comparison=_comparison(region, run, drawn, hours=hours, met=met),
        totals=_totals(run, drawn, checks),
        by_season=_by_season(region, run, drawn),
        skill=skill,
        rank_variance=moves,
        calibration=run.calibration,
        seasons=seasons,
        draws=draws,
        seed=seed,
        notes=(
            *(Note("skill", line) for line in skill_lines(skill, _labels(evidence))),
            *region.notes,
            *_notes(evidence, movement, run=run, landings=landings, drawn=draws, held=held),
            *_engine_notes(region, evidence, checks),
            *_source_note(moves),
        ),
    )


def _check(region: Region, evidence: Evidence, movement: Movement) -> None:
    """Refuse parts that belong to another region."""
    same = (
        evidence.traffic.table.index.equals(region.landings.index)
        and set(evidence.species) == set(region.settings.species)
        and all(len(s.probability) == len(region.lakes) for s in evidence.status.values())
        and np.array_equal(movement.area_ha, region.lakes["area_ha"].to_numpy(float))
        and np.array_equal(
            movement.landing_lake, landing_lake_positions(region.landings, region.lakes)
        )
    )
    if not same:
        message = "Invalid evidence or movement. They must be made from the same region."
        raise ValueError(message)


def _first(landings: gpd.GeoDataFrame) -> NDArray[np.bool_]:
    """Landings that the region's shares of rank variance are about."""
    return (landings["rank"].fillna(len(landings) + FIRST) <= FIRST).to_numpy(bool)


def _hours(budget: float, run: Run) -> dict[str, Array]:
    """The same hours in each way."""
    placed = (
        place_ranked(budget, run.reach, value=run.value_after),
        place_busiest(budget, run.reach),
        place_equally(budget, run.reach),
    )
    return dict(zip(WAYS, placed, strict=True))


def _comparison(
    region: Region, run: Run, drawn: Draws, *, hours: dict[str, Array], met: Met
) -> pd.DataFrame:
    """Whom hours placed in each way meet, and avoided with 90% intervals and cost."""
    cost_per_hour = region.settings.cost_per_hour
    low, high = np.quantile(drawn.avoided, [0.05, 0.95], axis=0)
    best = avoided_by(run, hours)
    first = drawn.avoided[:, [0]]
    table = pd.DataFrame(
        {
            "hours_a_season": [placed.sum() for placed in hours.values()],
            "landings": [int((placed.sum(axis=1) > 0).sum()) for placed in hours.values()],
            **pd.DataFrame([met.season(placed) for placed in hours.values()]).to_dict("list"),
            "avoided": best,
            "avoided_low": np.minimum(low, best),
            "avoided_high": np.maximum(high, best),
            "chance_ranked_is_better": (first > drawn.avoided).mean(axis=0),
        },
        index=pd.Index(WAYS, name="way"),
    )
    table.loc[WAYS[0], "chance_ranked_is_better"] = np.nan
    if cost_per_hour is not None:
        cost = table["hours_a_season"] * run.seasons * cost_per_hour
        table["cost"] = cost
        table["cost_per_infestation_avoided"] = cost / table["avoided"].where(table["avoided"] > 0)
    return table


def _totals(run: Run, drawn: Draws, checks: Mapping[str, EngineCheck]) -> pd.DataFrame:
    """New infestations without education, by species: expected and simulated, 90% intervals."""
    rows = {}
    for name, chance in run.new_infestations().items():
        low, high = np.quantile(drawn.totals[name], [0.05, 0.95])
        ends = np.quantile(drawn.simulated[name], [0.05, 0.95], method="inverted_cdf")
        rows[name] = {
            "infested_now": float(run.inputs[name].initial.sum()),
            "new_infestations": float(chance.sum()),
            "low": min(float(low), float(chance.sum())),
            "high": max(float(high), float(chance.sum())),
            "simulated": checks[name].simulated,
            "simulated_error": checks[name].error,
            "futures": checks[name].futures,
            "one_future_low": float(ends[0]),
            "one_future_high": float(ends[1]),
        }
    return pd.DataFrame.from_dict(rows, orient="index").rename_axis("species")


def _by_season(region: Region, run: Run, drawn: Draws) -> pd.DataFrame:
    """Chance of a new infestation of each lake by the end of each season, both ways."""
    parts = []
    futures = next(iter(drawn.simulated.values())).size
    for name, one in run.inputs.items():
        expected = -(1 - one.initial) * np.expm1(-run.paths[name].cumulative_hazard[1:])
        simulated = drawn.counts[name] / futures
        season, lake = np.nonzero(np.maximum(expected, simulated) >= SMALLEST_CHANCE)
        parts.append(
            pd.DataFrame(
                {
                    "lake_id": region.lakes.index[lake],
                    "species": name,
                    "season": season + 1,
                    "expected": expected[season, lake],
                    "simulated": simulated[season, lake],
                }
            ).sort_values(["lake_id", "season"], kind="stable", ignore_index=True)
        )
    return pd.concat(parts, ignore_index=True)


def _lake_table(
    region: Region,
    evidence: Evidence,
    *,
    run: Run,
    drawn: Draws,
    known: Mapping[str, NDArray[np.bool_]],
) -> gpd.GeoDataFrame:
    """Status and chances of each lake, in the region's order."""
    lakes = region.lakes
    table = lakes[["name", "area_ha"]].copy()
    chances = run.chances_if_free()
    low, high = np.quantile(drawn.new_any, [0.05, 0.95], axis=0)
    chance = any_new(run, known)
    full = np.all(list(known.values()), axis=0)
    table["new_infestation_chance"] = np.where(full, np.nan, chance)
    table["new_infestation_low"] = np.where(full, np.nan, np.minimum(low, chance))
    table["new_infestation_high"] = np.where(full, np.nan, np.maximum(high, chance))
    for name, status in evidence.status.items():
        table[f"status_{name}"] = status.words
        table[f"infested_chance_{name}"] = run.inputs[name].initial
        table[f"new_infestation_chance_{name}"] = np.where(status.known, np.nan, chances[name])
        table[f"habitat_{name}"] = run.inputs[name].habitat
        detection = evidence.species[name].values["detection"]
        missing = surveys_for_detection(detection) - status.surveys
        table[f"surveys_to_be_sure_{name}"] = np.where(
            status.known, 0, np.maximum(missing, 0)
        ).astype(int)
    flows = next(iter(run.inputs.values()))
    lake = flows.landing_lake
    table["landings"] = np.bincount(lake, minlength=len(lakes))
    table["trips_in"] = np.bincount(lake, flows.trips.arriving(), minlength=len(lakes))
    table["trips_out"] = np.bincount(lake, flows.trips.leaving(), minlength=len(lakes))
    table["worth"] = lakes["worth"].to_numpy(float)
    table["geometry"] = lakes.geometry
    return table.set_geometry("geometry", crs=lakes.crs)


def _node_columns(lakes: gpd.GeoDataFrame) -> pd.DataFrame:
    """Attributes of the nodes: the lake table with a point in place of the outline."""
    points = lakes.geometry.representative_point().to_crs("EPSG:4326")
    return lakes.drop(columns="geometry").assign(longitude=points.x, latitude=points.y)


def _trip_lines(region: Region, movement: Movement, run: Run) -> tuple[gpd.GeoDataFrame, float]:
    """Trips between lakes as lines from landing to landing, and the share of trips they hold."""
    middles = region.lakes.geometry.representative_point()
    points = lake_points(
        region.landings.geometry.get_coordinates().to_numpy(),
        movement.landing_lake,
        middles.get_coordinates().to_numpy(),
    )
    edges = trips_table(
        run.inputs, region.lakes.index, points=points, smallest_share=SMALLEST_SHARE
    )
    position = pd.Series(np.arange(len(region.lakes)), index=region.lakes.index)
    ends = np.stack(
        [points[position[edges[c]].to_numpy()] for c in ("from_lake_id", "to_lake_id")], axis=1
    )
    carried = [c for c in edges.columns if c.startswith("introductions_")]
    edges.insert(3, "introductions", edges[carried].sum(axis=1))
    lines = shapely.linestrings(ends) if len(edges) else []
    trips = next(iter(run.inputs.values())).trips
    held = edges["trips"].sum() / max(float(trips.leaving().sum()), 1e-300)
    return gpd.GeoDataFrame(edges, geometry=lines, crs=region.crs), float(held)


def _engine_notes(
    region: Region, evidence: Evidence, checks: Mapping[str, EngineCheck]
) -> list[Note]:
    """How the expected course compares with simulated futures."""
    notes = []
    names = list(region.lakes["name"])
    for name, check in checks.items():
        text = (
            f"{evidence.species[name].label}: {check.futures:,} simulated courses give "
            f"{figure(check.simulated)} new infestations (standard error {figure(check.error)}), "
            f"the expected course {figure(check.expected)}"
        )
        if check.apart:
            text += (
                f", {abs(check.ratio - 1):.0%} {'more' if check.ratio > 1 else 'less'}: "
                f"{why_apart(check, names)}; trust the simulated number, and the order of landings "
                "more than what they avoid"
            )
        notes.append(Note("engines-apart" if check.apart else "engines-agree", text))
    return notes


def _source_note(shares: pd.DataFrame) -> list[Note]:
    """Which data would settle the order most."""
    largest = shares[shares["share"] >= WORTH_A_WORD]
    if shares["share"].isna().any() or largest.empty:
        return []
    parts = [
        f"{group} {row['share']:.0%}"
        + ("" if np.isnan(row["standard_error"]) else f" (+-{row['standard_error']:.0%})")
        for group, row in largest.iterrows()
    ]
    text = f"the uncertainty of the first {FIRST} ranks comes from: {', '.join(parts)}"
    return [Note("rank-variance", text)]


def _notes(
    evidence: Evidence,
    movement: Movement,
    *,
    run: Run,
    landings: gpd.GeoDataFrame,
    drawn: int,
    held: float,
) -> list[Note]:
    """What to keep in mind when reading the result."""
    notes = list(movement.notes)
    if not evidence.counted and not movement.finds.species and landings["rank"].notna().any():
        notes.append(Note(GROUPS_ONLY, _groups_words(landings)))
    unvisited = int((~landings["visited"].astype(bool)).sum())
    if unvisited:
        notes.append(
            Note(
                "unvisited",
                f"at {unvisited} of {len(landings)} landings boats were never counted: their "
                "traffic is estimated from landings like them",
            )
        )
    notes += _calibration_notes(evidence, run)
    if not evidence.traffic.timed:
        text = (
            "counts do not tell at what time of day most boats pass, so no best time is named: any "
            "time, in daylight"
        )
        if (evidence.traffic.table["hours"] > 0).any() and not evidence.traffic.table[
            "counted"
        ].any():
            text += (
                "; landings where nobody counted keep the traffic that is assumed, so their rank "
                "rests on that alone"
            )
        notes.append(Note("not-timed", text))
    if 0 < held < WHOLE:
        text = (
            f"trips between lakes: those listed and in the network hold {held:.0%} of all; the "
            f"others are below {SMALLEST_SHARE:.0%} of the trips at both their lakes"
        )
        notes.append(Note("trips-listed", text))
    if drawn < FEW_DRAWS:
        text = f"{drawn} repeats are too few for intervals to act on; {ENOUGH_DRAWS} are usual"
        notes.append(Note("few-draws", text))
    if landings["rank"].isna().all():
        notes.append(
            Note(
                "no-ranking",
                "there is no ranking: nowhere does an hour of education avoid a new infestation "
                "that counts (all lakes infested or sure to be, no trips, or weights of 0)",
            )
        )
    return notes


def _network(region: Region, lakes: gpd.GeoDataFrame, trips: gpd.GeoDataFrame) -> nx.DiGraph:
    """The lakes as a graph."""
    return lake_network(
        pd.DataFrame(_node_columns(lakes)),
        pd.DataFrame(trips.drop(columns="geometry")),
        streams=region.streams,
    )


def _labels(evidence: Evidence) -> dict[str, str]:
    """Names of species for people."""
    return {name: one.label for name, one in evidence.species.items()}


def _groups_words(landings: gpd.GeoDataFrame) -> str:
    """That the order goes no further than groups, and how many landings the first holds."""
    number, groups = int((landings["rank_group"] == 1).sum()), int(landings["rank_group"].max())
    text = (
        "not enough evidence to rank beyond groups: no boat was counted, no boater asked, and too "
        f"few finds have a date; {counted(number, 'landing')} of {len(landings)} can't be told "
        "from the first"
    )
    return text if groups > 1 else f"{text}, so it is no order at all"


def _calibration_notes(evidence: Evidence, run: Run) -> list[Note]:
    """What the speed of spread of each species was learned from."""
    notes = []
    for name, fit in run.calibration.items():
        label = evidence.species[name].label
        if fit.basis == "finds":
            text = f"{label}: speed of spread learned from {fit.finds} dated finds"
            if fit.first_year is not None:
                text += f", {fit.first_year} to {fit.last_year}"
            notes.append(Note("calibrated", text))
        elif fit.basis == "given":
            text = f"{label}: the establishment chance {fit.establish:g} of region.toml is used"
            notes.append(Note("establish-given", text))
        else:
            notes.append(
                Note(
                    "not-calibrated",
                    f"{label}: too few dated finds after the first year "
                    f"({fit.finds}) to learn how "
                    "fast it spreads here; absolute numbers rest on a wide stated range, so use "
                    "them only to compare landings",
                )
            )
    return notes
