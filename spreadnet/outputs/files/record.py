"""`run.json`: what was run, on what, with which assumptions, and what came out."""

from __future__ import annotations

import hashlib
import importlib.metadata
import json
import math
import platform
from dataclasses import asdict
from datetime import date
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
import pyproj

from spreadnet.model.fast import fast_available
from spreadnet.model.finds import learned_table
from spreadnet.words import CAUTIONS

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from pathlib import Path

    from spreadnet.decisions.hindcast import Hindcast
    from spreadnet.decisions.plan import SeasonPlan
    from spreadnet.decisions.ranking import Assessment
    from spreadnet.decisions.surveys import SurveyList
    from spreadnet.evidence.region import Region

LIBRARIES = ("numpy", "scipy", "pandas", "networkx", "geopandas", "shapely", "pyproj", "folium")
RANKING = (
    *("rank", "rank_low", "rank_high", "chance_first_5", "chance_first_10", "chance_first_20"),
    *("avoided_per_100_hours", "avoided_low", "avoided_high", "uncertain_mostly"),
)


def run_number(assessment: Assessment) -> str:
    """
    Short number that stands for inputs, settings, seed and version.

    Printed on every output, so that a page can be traced to the run that made it.

    Parameters
    ----------
    assessment : Assessment
        Result of `assess`.

    Returns
    -------
    number : str
        Eight hexadecimal digits; the same for the same inputs, options and version.
    """
    parts = [version(), str(assessment.seed), str(assessment.draws), str(assessment.seasons)]
    parts += [f"{s.table} {s.sha256}" for s in assessment.region.sources]
    parts += [f"{n} {w}" for n, w in assessment.region.settings.species.items()]
    evidence, movement = assessment.evidence, assessment.movement
    values = [evidence.assumptions, *(one.values for one in evidence.species.values())]
    parts += [f"{e.name} {e.value} {e.low} {e.high}" for v in values for e in v.entries.values()]
    parts += [movement.kind, *(f"{c:.9g}" for c in movement.coefficients)]
    parts.append(f"{assessment.trips['trips'].sum():.9g}")  # tells own laws apart
    return hashlib.sha256("\n".join(parts).encode()).hexdigest()[:8]


def version() -> str:
    """Version of spreadnet that is installed."""
    return importlib.metadata.version("spreadnet")


def libraries() -> dict[str, str]:
    """Versions of the libraries that results depend on; rosters on SciPy's HiGHS to the letter."""
    return {name: importlib.metadata.version(name) for name in LIBRARIES}


def run_record(
    assessment: Assessment, *, timings: Mapping[str, float], made_on: date
) -> dict[str, Any]:
    """
    Everything needed to tell what a result rests on, as plain data.

    Parameters
    ----------
    assessment : Assessment
        Result of `assess`.
    timings : mapping of stage to seconds
        How long each stage took.
    made_on : date
        Day of the run.

    Returns
    -------
    record : dict
        Ready for JSON: no path, no user name, no missing numbers.
    """
    region, evidence = assessment.region, assessment.evidence
    settings = asdict(region.settings)
    settings["blocks"] = [block.label for block in region.settings.blocks]
    record = {
        "spreadnet": version(),
        "run": run_number(assessment),
        "made_on": made_on,
        "python": platform.python_version(),
        "libraries": libraries(),
        "proj": pyproj.proj_version_str,
        "compiled_code": fast_available(),
        "seed": assessment.seed,
        "draws": assessment.draws,
        "seasons": assessment.seasons,
        "settings": settings,
        "crs": region.crs,
        "inputs": [asdict(source) for source in region.sources],
        "notes": [asdict(note) for note in assessment.notes],
        "counts": {
            "lakes": len(region.lakes),
            "landings": len(region.landings),
            "visits": len(region.visits),
            "contacts": len(region.contacts),
            "streams": len(region.streams),
        },
        "assumptions": evidence.assumptions.table(),
        "species": {
            name: {
                "label": one.label,
                "group": one.group,
                "drying": one.drying,
                "values": one.values.table(),
            }
            for name, one in evidence.species.items()
        },
        "traffic": {"kappa": evidence.traffic.kappa, "phi": evidence.traffic.phi},
        "education_ratio": evidence.gaps.education_ratio,
        "education_answers": evidence.gaps.education_counts,
        "occupancy": {
            name: {"value": s.occupancy, "low": s.occupancy_low, "high": s.occupancy_high}
            for name, s in evidence.status.items()
        },
        "movement": assessment.movement.summary(),
        "establishment": {name: asdict(c) for name, c in assessment.calibration.items()},
        "learned_from_finds": learned_table(assessment.movement.finds),
        "skill": assessment.skill.reset_index(),
        "new_infestations_without_education": assessment.totals,
        "same_hours_three_ways": assessment.comparison,
        "rank_variance_of_the_first_20": assessment.rank_variance,
        "ranking": assessment.landings.sort_values("rank", kind="stable")[list(RANKING)],
        "timings_s": {stage: round(seconds, 3) for stage, seconds in timings.items()},
    }
    return plain(record)


def plan_record(plan: SeasonPlan) -> dict[str, Any]:
    """
    What a plan rests on.

    Parameters
    ----------
    plan : SeasonPlan
        Result of `season_plan`.

    Returns
    -------
    record : dict
        Ready for JSON.
    """
    return plain(
        {
            "region": plan.region.settings.name,
            "hours": plan.hours,
            "hours_worked_before": plan.hours_worked,
            "plan_from": plan.plan_from,
            "seasons": plan.seasons,
            "draws": plan.draws,
            "seed": plan.seed,
            "avoided": plan.avoided,
            "straight_line": plan.straight_line,
            "slopes_worked_out": plan.slopes,
            "kinds_of_shifts": plan.kinds,
            "ways": plan.ways,
            "value_of_hours": plan.value,
            "rules": plan.rules,
            "spreading": plan.spreading,
            "notes": [asdict(note) for note in plan.notes],
        }
    )


def hindcast_record(result: Hindcast) -> dict[str, Any]:
    """
    What a hindcast rests on, and its scores.

    Parameters
    ----------
    result : Hindcast
        Result of `hindcast`.

    Returns
    -------
    record : dict
        Ready for JSON.
    """
    return plain(
        {
            "hindcast": {
                "region": result.region,
                "from_year": result.from_year,
                "through": result.through,
                "draws": result.draws,
                "seed": result.seed,
            },
            "finds": result.finds,
            "scores": result.scores,
            "notes": [asdict(note) for note in result.notes],
        }
    )


def survey_record(survey: SurveyList, region: Region) -> dict[str, Any]:
    """
    What a list of surveys rests on.

    Parameters
    ----------
    survey : SurveyList
        Result of `survey_next`.
    region : Region
        Its name is kept.

    Returns
    -------
    record : dict
        Ready for JSON.
    """
    return plain(
        {
            "region": region.settings.name,
            "seasons": survey.seasons,
            "survey_shift_hours": survey.shift_hours,
            "avoided_by_an_education_shift": survey.shift_avoids,
            "lakes_to_survey": survey.lakes[survey.lakes["survey_rank"].notna()],
        }
    )


def write_record(record: Mapping[str, Any], path: Path, *, files: Sequence[Path] = ()) -> Path:
    """
    Write the record with the cautions, and the size and hash of each output file.

    Parameters
    ----------
    record : mapping
        As `run_record` gives it.
    path : Path
        File to write.
    files : sequence of Path
        Output files written so far.

    Returns
    -------
    path : Path
        The file written.
    """
    outputs = [
        {
            "file": file.name,
            "bytes": file.stat().st_size,
            "sha256": hashlib.sha256(file.read_bytes()).hexdigest(),
        }
        for file in files
    ]
    whole = {"cautions": CAUTIONS, **record, "outputs": outputs}
    text = json.dumps(whole, indent=1, allow_nan=False, ensure_ascii=False)
    path.write_text(text + "\n", encoding="utf-8")
    return path


def plain(value: Any) -> Any:
    """
    Nested data as JSON holds it: dates as text, tables as lists of rows, no NaN.

    Examples
    --------
    >>> plain({"a": np.float64("nan"), "b": date(2027, 5, 1), "c": (np.int64(2),)})
    {'a': None, 'b': '2027-05-01', 'c': [2]}
    """
    if isinstance(value, pd.DataFrame):
        return [plain(row) for row in value.reset_index().to_dict("records")]
    if isinstance(value, dict) or hasattr(value, "items"):
        return {str(key): plain(item) for key, item in value.items()}
    if isinstance(value, (list, tuple)):
        return [plain(item) for item in value]
    if value is pd.NA or value is pd.NaT:
        return None
    if isinstance(value, np.generic):
        return plain(value.item())
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    if isinstance(value, date):
        return value.isoformat()
    return value
