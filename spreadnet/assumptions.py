"""Every number that the model assumes: value, range, unit, source."""

from __future__ import annotations

import difflib
from collections.abc import Mapping
from dataclasses import dataclass, replace
from numbers import Real
from typing import TYPE_CHECKING, Any

import numpy as np
from scipy.special import expit, logit

if TYPE_CHECKING:
    import pandas as pd

SCALES = ("linear", "log", "share")
Z90 = 1.6448536269514722  # standard normal 95% point: low and high are read as a 90% range


@dataclass(frozen=True, slots=True)
class Assumption:
    """
    One assumed number: the value used, the range drawn from, and where both come from.

    `low` and `high` are read as the ends of a 90% range around `value` on the stated scale
    (`linear`, `log`, or `share` for a number between 0 and 1), each side with its own spread.
    `basis` is `confirmed` (figure seen in its source), `from memory` (not seen there: remembered or
    quoted by others) or `assumption`.
    """

    name: str
    value: float
    low: float
    high: float
    unit: str
    scale: str
    meaning: str
    source: str
    basis: str

    def __post_init__(self) -> None:
        if self.scale not in SCALES:
            message = f"Invalid scale '{self.scale}' of '{self.name}'. One of {SCALES}."
            raise ValueError(message)
        ends = (self.low, self.value, self.high)
        if not all(np.isfinite(ends)) or not self.low <= self.value <= self.high:
            message = (
                f"Invalid range of '{self.name}'. {self.low} to {self.high} must hold {self.value}."
            )
            raise ValueError(message)
        if "share" in (self.unit, self.scale) and not 0 <= self.low <= self.high <= 1:
            message = f"Invalid '{self.name}': {self.low} to {self.high}. It must lie in 0 to 1."
            raise ValueError(message)
        if self.scale == "log" and self.low <= 0:
            message = f"Invalid '{self.name}': {self.low}. It must be above 0."
            raise ValueError(message)

    def at(self, z: float) -> float:
        """
        Value at a standard normal score: 0 is `value`, -1.645 is `low`, 1.645 is `high`.

        Examples
        --------
        >>> a = Assumption("x", 0.5, 0.3, 0.9, "share", "linear", "", "", "assumption")
        >>> round(a.at(0.0), 3), round(a.at(-Z90), 3), round(a.at(Z90), 3)
        (0.5, 0.3, 0.9)
        """
        end = self.high if z > 0 else self.low
        if z == 0 or end == self.value:
            return self.value
        share = abs(z) / Z90
        if self.scale == "log" and self.value > 0 and end > 0:
            drawn = self.value * (end / self.value) ** share
        elif self.scale == "share" and 0 < self.value < 1 and 0 < end < 1:
            drawn = float(expit(logit(self.value) + share * (logit(end) - logit(self.value))))
        else:
            drawn = self.value + share * (end - self.value)
        least = 0.0 if self.low >= 0 else -np.inf
        most = 1.0 if "share" in (self.unit, self.scale) else np.inf
        return float(np.clip(drawn, least, most))


@dataclass(frozen=True, slots=True)
class Assumptions:
    """A frozen set of assumptions, read by name: `assumptions["refusal"]` is its value."""

    entries: Mapping[str, Assumption]

    def __getitem__(self, name: str) -> float:
        return self.entries[name].value

    def with_changes(self, changes: Mapping[str, Any]) -> Assumptions:
        """
        Copy with some values replaced, as the `assumptions` of `region.toml` gives them.

        Parameters
        ----------
        changes : mapping
            Name to a number (which narrows the range to that number) or to a mapping with
            `value`, `low` and `high`.

        Returns
        -------
        changed : Assumptions
            A new set; this one is unchanged.

        Raises
        ------
        ValueError
            If a name is unknown (the nearest known one is named), a change is no number, or a
            range does not hold its value.

        Examples
        --------
        >>> DEFAULT.with_changes({"refusal": 0.1})["refusal"]
        0.1
        """
        entries = dict(self.entries)
        for name, change in changes.items():
            if name not in entries:
                near = difflib.get_close_matches(name, entries, n=1)
                hint = f" Did you mean '{near[0]}'?" if near else ""
                message = f"Unknown assumption '{name}'.{hint}"
                raise ValueError(message)
            given = _numbers(name, change)
            value = given["value"]
            low, high = given.get("low", value), given.get("high", value)
            entries[name] = replace(
                entries[name], value=value, low=low, high=high, source="region.toml"
            )
        return Assumptions(entries)

    def draw(self, rng: np.random.Generator) -> Assumptions:
        """Copy with every value drawn from its range, one score an entry, in entry order."""
        scores = rng.standard_normal(len(self.entries))
        drawn = {}
        for (name, entry), z in zip(self.entries.items(), scores, strict=True):
            value = entry.at(float(z))
            drawn[name] = replace(entry, value=value, low=value, high=value)
        return Assumptions(drawn)

    def table(self) -> pd.DataFrame:
        """All entries as a table, one row each, in order."""
        import pandas as pd

        columns = list(Assumption.__dataclass_fields__)
        return pd.DataFrame(
            [[getattr(e, c) for c in columns] for e in self.entries.values()], columns=columns
        ).set_index("name")


def _numbers(name: str, change: Any) -> dict[str, float]:
    """The numbers of a change by their part in it; no words, no yes or no, nothing beside them."""
    given = change if isinstance(change, Mapping) else {"value": change}
    for part, number in given.items():
        if part not in ("value", "low", "high"):
            message = f"Unknown part of '{name}'. It takes value, low and high, nothing else."
            raise ValueError(message)
        if isinstance(number, bool) or not isinstance(number, Real):
            message = f"Invalid {part} of '{name}'. It must be a number."
            raise ValueError(message)
    return {part: float(number) for part, number in given.items()}


def _entries() -> Mapping[str, Assumption]:
    rows: list[tuple[str, float, float, float, str, str, str, str, str]] = [
        (
            "launches_per_hour",
            1.6,
            0.4,
            6.0,
            "boats per hour",
            "log",
            "boats launched an hour at a middling landing, used where no visit counted boats",
            "52,000 boats in 32,000 hours, Wisconsin 2009 (state newsletter, quoted 2010)",
            "from memory",
        ),
        (
            "weekend_ratio",
            2.5,
            1.5,
            4.0,
            "ratio",
            "log",
            "launches an hour on weekends and holidays over weekdays, before any are counted",
            "none found",
            "assumption",
        ),
        (
            "refusal",
            0.03,
            0.005,
            0.16,
            "share",
            "share",
            "boat parties that do not want to talk, where visits do not count them",
            "Massachusetts DCR 2004: near 0 at most ramps, 15.6% at one pair",
            "confirmed",
        ),
        (
            "education_check_together",
            0.48,
            0.30,
            0.70,
            "ratio",
            "share",
            "gaps left when an educator goes over the boat with the boater, over gaps left without",
            "Angell et al. 2024, Quantifying the effectiveness of three AIS prevention methods: "
            "79.2% against 56.4% removed, so 0.208 / 0.436",
            "confirmed",
        ),
        (
            "education_talk_only",
            0.75,
            0.50,
            0.99,
            "ratio",
            "share",
            "gaps left after talk alone, over gaps left without",
            "none found",
            "assumption",
        ),
        (
            "outside_infested",
            0.20,
            0.05,
            0.50,
            "share",
            "share",
            "boats from waters outside the region whose last water holds the species",
            "none found",
            "assumption",
        ),
        (
            "distance_exponent",
            2.0,
            1.0,
            3.5,
            "no unit",
            "linear",
            "how fast trips fall with distance, used only where no interviews name another lake",
            "Bossenbroek et al. 2001, Ecol Appl 11:1778, about 2",
            "from memory",
        ),
        (
            "area_exponent",
            0.5,
            0.3,
            1.0,
            "no unit",
            "linear",
            "how a lake's pull grows with its area, used where no interviews name another lake",
            "none found",
            "assumption",
        ),
        (
            "water_temperature_c",
            20.0,
            10.0,
            28.0,
            "degrees C",
            "linear",
            "temperature of water held in boats between trips",
            "none found",
            "assumption",
        ),
        (
            "occupancy",
            0.10,
            0.02,
            0.35,
            "share",
            "share",
            "chance that a lake never surveyed holds a species, before the region's are seen",
            "none found",
            "assumption",
        ),
        (
            "cool_damp_share",
            0.10,
            0.02,
            0.40,
            "share",
            "share",
            "share of trips made in cool damp weather, in which what is attached lives longer",
            "none found",
            "assumption",
        ),
        (
            "share_same",
            0.55,
            0.3,
            0.8,
            "share",
            "share",
            "boats whose last or next water is the lake they are on, before any answers",
            "none found",
            "assumption",
        ),
        (
            "share_other",
            0.2,
            0.05,
            0.4,
            "share",
            "share",
            "the same for another lake of the region",
            "none found",
            "assumption",
        ),
        (
            "share_outside",
            0.1,
            0.02,
            0.25,
            "share",
            "share",
            "the same for a water outside the region",
            "none found",
            "assumption",
        ),
        (
            "share_none",
            0.15,
            0.05,
            0.35,
            "share",
            "share",
            "the same for no water: first use, stored since last season, or no trip planned",
            "none found",
            "assumption",
        ),
        (
            "share_concentration",
            4.0,
            1.0,
            16.0,
            "boats",
            "log",
            "how alike landings are in these shares: boats that the shares of the region count for",
            "none found",
            "assumption",
        ),
        (
            "gap_plug",
            0.2,
            0.09,
            0.54,
            "share",
            "share",
            "boats with the drain plug left closed, before any are checked",
            "NACo award page 2013: 18%, then 9%; undergraduate symposium 2023: 54% of 109",
            "confirmed",
        ),
        (
            "gap_plants",
            0.16,
            0.05,
            0.25,
            "share",
            "share",
            "boats with plants attached, before any are checked",
            "16% of 52,000 boats, Wisconsin 2009 (state newsletter, quoted 2010); range assumed",
            "from memory",
        ),
        (
            "gap_animals",
            0.03,
            0.01,
            0.08,
            "share",
            "share",
            "boats with mussels, snails or other animals attached, before any are checked",
            "AWI 2017: an invasive species of any kind on 3.8% of 83,063 boats; range assumed",
            "confirmed",
        ),
        (
            "gap_mud",
            0.1,
            0.03,
            0.25,
            "share",
            "share",
            "boats with mud attached, before any are checked",
            "none found",
            "assumption",
        ),
        (
            "gap_water",
            0.15,
            0.05,
            0.35,
            "share",
            "share",
            "boats with water held in a compartment, before any are checked",
            "none found",
            "assumption",
        ),
        (
            "gap_precision",
            12.0,
            2.0,
            80.0,
            "boats",
            "log",
            "how alike landings are in a gap rate: boats that the rate of the region counts for",
            "none found",
            "assumption",
        ),
        (
            "ballast_share",
            0.05,
            0.01,
            0.2,
            "share",
            "share",
            "boats that take on water as ballast, before kinds of boat are noted",
            "none found",
            "assumption",
        ),
        (
            "traffic_shape",
            2.0,
            0.5,
            8.0,
            "no unit",
            "log",
            "how alike landings of the same size are in traffic (1 over the squared spread)",
            "none found",
            "assumption",
        ),
        (
            "visit_spread",
            0.4,
            0.15,
            1.0,
            "ratio",
            "log",
            "spread of launches an hour between like visits to one landing, beyond chance",
            "none found",
            "assumption",
        ),
        (
            "days_out_mean",
            14.0,
            7.0,
            28.0,
            "days",
            "log",
            "mean of the days past five of a boat that is out of water for more than five",
            "none found",
            "assumption",
        ),
        (
            "days_out_quick",
            0.25,
            0.2,
            0.45,
            "share",
            "share",
            "boats launched in another water within five days",
            "Wisconsin ramps, another water in the last 5 days: 44% in 2005, 25% in 2009 (quoted)",
            "from memory",
        ),
        (
            "found_anyway",
            0.5,
            0.2,
            0.8,
            "share",
            "share",
            "chance that an infestation becomes known in a lake that no survey looked at",
            "none found; the public is often the first to report (Kraft 1993, second-hand)",
            "assumption",
        ),
        (
            "lanes_exponent",
            0.5,
            -0.16,
            1.16,
            "no unit",
            "linear",
            "how launches grow with ramp lanes, before any are counted",
            "none found; more lanes, more boats is common practice",
            "assumption",
        ),
        (
            "stalls_exponent",
            0.3,
            -0.11,
            0.71,
            "no unit",
            "linear",
            "how launches grow with trailer stalls, before any are counted",
            "none found; more stalls, more boats is common practice",
            "assumption",
        ),
        (
            "lake_area_exponent",
            0.2,
            -0.05,
            0.45,
            "no unit",
            "linear",
            "how launches at a landing grow with lake area, before any are counted",
            "none found",
            "assumption",
        ),
        (
            "block_spread",
            0.7,
            0.35,
            1.4,
            "log ratio",
            "log",
            "spread of launches an hour between time blocks, before any are counted",
            "none found",
            "assumption",
        ),
        (
            "month_spread",
            0.5,
            0.25,
            1.0,
            "log ratio",
            "log",
            "spread of launches an hour between months, before any are counted",
            "none found",
            "assumption",
        ),
        (
            "arriving_bound",
            3.0,
            2.0,
            6.0,
            "ratio",
            "log",
            "most that a landing's gap rate on arriving may be over or under the region's",
            "none found",
            "assumption",
        ),
        (
            "unvisited_ratio",
            0.7,
            0.4,
            1.0,
            "ratio",
            "log",
            "launches at landings nobody counted at, over landings of the same size counted at",
            "none found; people go where boats are (common practice)",
            "assumption",
        ),
    ]
    return {row[0]: Assumption(*row) for row in rows}


DEFAULT = Assumptions(_entries())
