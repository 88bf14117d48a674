"""
What do dated finds say of how readily introductions take hold, and where does it hide?

The chance that an introduction founds a population from when lakes were found infested, and which
lakes without a find are likeliest infested unseen.
"""

from spreadnet.model.finds.establishment import (
    Calibration,
    History,
    calibrate,
    history,
    past_hazard,
    past_introductions,
)
from spreadnet.model.finds.unseen import unseen_by_exposure

__all__ = [
    "Calibration",
    "History",
    "calibrate",
    "history",
    "past_hazard",
    "past_introductions",
    "unseen_by_exposure",
]
