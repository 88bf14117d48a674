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
from spreadnet.model.finds.calibration import Calibration
from spreadnet.model.finds.fit import FEWEST_FINDS, PRIORS, FindsFit, fit_finds
from spreadnet.model.finds.hazard import NAMES, Finds, finds_of, log_likelihood
from spreadnet.model.finds.learned import Learned, SpeciesTold, Told, learned_table
from spreadnet.model.finds.region_finds import learn_finds
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
    "Learned",
    "NextSeason",
    "SpeciesTold",
    "Told",
    "Waters",
    "ahead_of",
    "finds_of",
    "fit_finds",
    "foretold_finds",
    "learn_finds",
    "learned_table",
    "log_likelihood",
    "next_season",
    "unseen_by_exposure",
    "wandered",
    "waters",
]
