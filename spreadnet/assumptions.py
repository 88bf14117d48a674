"""Every number that the model assumes, with range, unit and source: `assumptions.csv`."""

from __future__ import annotations

import csv
import difflib
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cache
from importlib import resources
from numbers import Real
from typing import TYPE_CHECKING, Any

import numpy as np
from scipy.special import expit, logit

from spreadnet.words import short_repr

if TYPE_CHECKING:
    from collections.abc import Iterable

    import pandas as pd

SCALES = ("linear", "log", "share")
LEAST = {"exponent of 1 or more": 1.0}  # units that say what no draw may fall below, but for 0
Z90 = 1.6448536269514722  # standard normal 95% point: low and high are read as a 90% range
FROM_ONE = "exponent of 1 or more"  # unit of numbers that no draw takes below 1


@short_repr
@dataclass(frozen=True, slots=True)
class Assumption:
    """
    One assumed number: the value used, the range drawn from, and where both come from.

    `low` and `high` are read as the ends of a 90% range around `value` on the stated scale
    (`linear`, `log`, or `share` for a number between 0 and 1), each side with its own spread.
    `basis` is `confirmed` (the number itself was seen in its source, for this very quantity), `from
    memory` (not seen there: remembered or quoted by others) or `assumption` (it stands in no
    source: chosen, or worked out from what `source` names).
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
        if self.unit == FROM_ONE and self.low < 1:
            message = f"Invalid '{self.name}': {self.low}. It must be 1 or more."
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
        least = 1.0 if self.unit == FROM_ONE else 0.0 if self.low >= 0 else -np.inf
        most = 1.0 if "share" in (self.unit, self.scale) else np.inf
        return float(np.clip(drawn, least, most))


@short_repr
@dataclass(frozen=True, slots=True)
class Assumptions:
    """A frozen set of assumptions, read by name: `assumptions["refusal"]` is its value."""

    entries: Mapping[str, Assumption]

    def __getitem__(self, name: str) -> float:
        return self.entries[name].value

    def with_changes(
        self, changes: Mapping[str, Any], *, source: str = "given in the call"
    ) -> Assumptions:
        """
        Copy with some values replaced, for `assumptions=` or as `region.toml` gives them.

        Parameters
        ----------
        changes : mapping
            Name to a number (which narrows the range to that number) or to a mapping with
            `value`, `low` and `high`.
        source : str
            Where the new values come from.

        Returns
        -------
        changed : Assumptions
            A new set; this one is unchanged.

        Raises
        ------
        ValueError
            If a name is unknown (the nearest known one is named), or a range does not hold its
            value.

        Examples
        --------
        >>> from spreadnet.assumptions import DEFAULT
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
            entries[name] = replace(entries[name], value=value, low=low, high=high, source=source)
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


def assumptions_of(rows: Iterable[Mapping[Any, Any]]) -> Assumptions:
    """
    Assumptions from the rows of a packaged table of text, in their order.

    Parameters
    ----------
    rows : iterable of mappings
        With `parameter` and the other fields of `Assumption`.

    Returns
    -------
    assumptions : Assumptions
        Numbers as written there.
    """
    numbers = {"value", "low", "high"}
    entries = {}
    for row in rows:
        fields = {f: row[f] for f in Assumption.__dataclass_fields__ if f != "name"}
        given: dict[str, Any] = {f: float(v) if f in numbers else v for f, v in fields.items()}
        entries[row["parameter"]] = Assumption(name=row["parameter"], **given)
    return Assumptions(entries)


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


@cache
def _packaged() -> Assumptions:
    """What `assumptions.csv` says."""
    file = resources.files("spreadnet").joinpath("assumptions.csv")
    with file.open(encoding="utf-8") as stream:
        return assumptions_of(csv.DictReader(stream))


def __getattr__(name: str) -> Assumptions:
    """Read `DEFAULT`, the numbers of `assumptions.csv`, when it is first asked for."""
    if name == "DEFAULT":
        return _packaged()
    message = f"module 'spreadnet.assumptions' has no attribute '{name}'"
    raise AttributeError(message)
