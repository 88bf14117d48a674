"""What a run will do without, said before it is run."""

from __future__ import annotations

from collections.abc import Collection

import numpy as np
import pandas as pd

from spreadnet.evidence.personal import brief
from spreadnet.evidence.region import REQUIRED_TABLES, TABLES, Note, Region, Settings

_TEXTS = {
    "streams": "no streams: species spread by boats alone",
    "visits": "no visits: traffic of every landing is assumed from lanes, stalls and lake area",
    "contacts": "no contacts: where boats go and what they carry are assumed, not seen here",
    "movements": "",  # interviews are the usual way: their absence is not worth a word
    "hours": "",
    "promised": "",
}
SHOWN = 5
MUCH = 0.2  # share of visit hours in no time block that is worth a word


def without_notes(region: Region) -> list[Note]:
    """
    Notes on the tables and answers that are not there, and what is done in their stead.

    Parameters
    ----------
    region : Region
        Its tables with defaults filled.

    Returns
    -------
    notes : list of Note
        In the order of the tables.
    """
    notes = []
    landings, lakes, settings = region.landings, region.lakes.index, region.settings
    if len(landings) == 1:
        notes.append(Note("one-landing", "one landing only: there is nothing to rank it against"))
    bare = set(lakes) - set(landings["lake_id"])
    if bare:
        shown = _few(bare)
        text = f"{len(bare)} of {len(lakes)} lakes have no landing ({shown}): nobody can be met"
        notes.append(
            Note(
                "lake-without-landing",
                f"{text} there, and boats that come from them count as boats from outside",
            )
        )
    notes += _status_notes(region.status, settings, lakes)
    for table in TABLES:
        if table not in REQUIRED_TABLES and _TEXTS[table] and getattr(region, table).empty:
            notes.append(Note(f"no-{table}", _TEXTS[table]))
    notes += _interview_notes(region)
    notes += _outside_blocks(region.visits, settings)
    for key in ("hours", "most_hours_per_landing_week"):
        if getattr(settings, key) == 0:
            notes.append(Note("no-hours", f"{key} is 0 in region.toml, so no hours will be placed"))
    return notes


def _few(ids: Collection[str]) -> str:
    """The first few ids, in order, for a note."""
    return ", ".join(map(brief, sorted(ids)[:SHOWN])) + (" ..." if len(ids) > SHOWN else "")


def _outside_blocks(visits: pd.DataFrame, settings: Settings) -> list[Note]:
    """Hours of visits that lie in no time block: they tell little of when boats come."""
    start, end = visits["start"].to_numpy(float), visits["end"].to_numpy(float)
    whole = float(np.nansum(end - start))
    inside = sum(
        np.nansum(np.clip(np.minimum(end, b.last) - np.maximum(start, b.first), 0, None))
        for b in settings.blocks
    )
    if whole <= 0 or inside >= (1 - MUCH) * whole:
        return []
    text = f"visits: {1 - inside / whole:.0%} of their hours lie in no time block of region.toml"
    return [Note("outside-blocks", f"{text} and count for the nearest one")]


def _status_notes(status: pd.DataFrame, settings: Settings, lakes: Collection[str]) -> list[Note]:
    """All lakes infested, none infested, no dated finds, and species not in scope."""
    notes = []
    outside = sorted(set(status["species"]) - set(settings.species))
    if outside:
        text = f"status rows of {', '.join(outside)} are not used: not in `species` of region.toml"
        notes.append(Note("species-not-in-scope", text))
    for name in settings.species:
        rows = status[status["species"] == name]
        present = rows[rows["status"] == "present"]
        infested = set(present["lake_id"])
        if infested >= set(lakes):
            text = f"{name}: all lakes are infested, so there is no new infestation to avoid"
            notes.append(Note("all-infested", text))
        if not infested:
            text = f"{name}: no lake is infested; it can come only from outside the region or from"
            notes.append(Note("none-infested", f"{text} lakes where it was overlooked"))
        elif present["first_found"].isna().all():
            text = f"{name}: no dated finds, so how fast it spreads is taken from its stated range"
            notes.append(Note("no-dated-finds", f"{text}: compare landings, not absolute numbers"))
    found_gone = status["first_found"].notna() & (status["status"] == "absent")
    if found_gone.any():
        text = f"{int(found_gone.sum())} status rows are absent with a first find: taken as gone"
        notes.append(Note("found-but-absent", text))
    return notes


def _interview_notes(region: Region) -> list[Note]:
    """No interview that names another lake; lakes named that nobody launches at."""
    contacts, visits, landings = region.contacts, region.visits, region.landings
    if contacts.empty:
        return []
    here = contacts["visit_id"].map(visits["landing_id"]).map(landings["lake_id"])
    water = contacts["last_water"].fillna(contacts["next_water"])
    named = water.notna() & ~water.isin(["outside", "none"])
    notes = []
    if not (named & (water != here)).any() and region.movements.empty:
        text = "no interview names another lake: trips between lakes follow the assumed fall with"
        notes.append(Note("no-other-lake", f"{text} distance and pull of area"))
    bare = set(water[named]) - set(landings["lake_id"])
    if bare:
        text = f"contacts name {len(bare)} lakes that have no landing: {_few(bare)}"
        notes.append(Note("water-without-landing", text))
    return notes
