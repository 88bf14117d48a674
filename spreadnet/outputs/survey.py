"""Where to survey next, as a table."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from spreadnet.evidence.read import as_region
from spreadnet.outputs.files.record import plain, version, write_record
from spreadnet.outputs.files.tables import write_csv
from spreadnet.outputs.folders.folder import whole_folder

if TYPE_CHECKING:
    from spreadnet.decisions.surveys.next import SurveyList
    from spreadnet.evidence.region import Region


def write_survey(
    survey: SurveyList,
    region: Region | str | Path,
    folder: str | Path,
    *,
    force: bool = False,
    made_on: date | None = None,
) -> list[Path]:
    """
    Write what one more survey shift at each landing would gain.

    Parameters
    ----------
    survey : SurveyList
        Result of `survey_next`.
    region : Region or path
        Names of landings.
    folder : path
        Where the files go; whole or not there.
    force : bool
        Whether an earlier result there may be replaced.
    made_on : date, optional
        Day in the record; today when left out.

    Returns
    -------
    files : list of Path
        `survey.csv`, most gain first, and `run.json`.

    Raises
    ------
    OutputError
        If the folder exists and may not be replaced, or can't be written.
    """
    folder, region = Path(folder), as_region(region)
    table = survey.table.copy()
    table.insert(0, "name", region.landings["name"])
    table = table.sort_values("survey_rank", kind="stable", na_position="last")
    with whole_folder(folder, force=force) as staged:
        files = [write_csv(table, staged / "survey.csv")]
        record = plain(
            {
                "spreadnet": version(),
                "made_on": made_on or date.today(),
                "survey_next": {
                    "region": region.settings.name,
                    "seasons": survey.seasons,
                    "survey_shift_hours": survey.shift_hours,
                    "avoided_by_an_education_shift": survey.shift_avoids,
                },
            }
        )
        files.append(write_record(record, staged / "run.json", files=files))
    return [folder / file.name for file in files]
