"""
What do dated finds say of where a species goes next, and where does it hide?

What draws a species to a lake, fitted to when lakes were found infested; the hazard of every lake
next season; and which lakes without a find are likeliest infested unseen.
"""

from spreadnet.model.finds.ahead import (
    Ahead,
    NextSeason,
    ahead_of,
    foretold_finds,
    next_season,
    wandered,
)
from spreadnet.model.finds.establishment import (
    Calibration,
    History,
    calibrate,
    history,
    past_hazard,
    past_introductions,
)
from spreadnet.model.finds.fit import FEWEST_FINDS, PRIORS, FindsFit, fit_finds
from spreadnet.model.finds.hazard import NAMES, Finds, finds_of, log_likelihood
from spreadnet.model.finds.unseen import unseen_by_exposure
from spreadnet.model.finds.waters import Waters, waters

__all__ = [
    "FEWEST_FINDS",
    "NAMES",
    "PRIORS",
    "Ahead",
    "Calibration",
    "Finds",
    "FindsFit",
    "History",
    "NextSeason",
    "Waters",
    "ahead_of",
    "calibrate",
    "finds_of",
    "fit_finds",
    "foretold_finds",
    "history",
    "log_likelihood",
    "next_season",
    "past_hazard",
    "past_introductions",
    "unseen_by_exposure",
    "wandered",
    "waters",
]
