"""The species that spreadnet knows: every number with its range, source and basis."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from importlib import resources
from typing import Any

import numpy as np
import pandas as pd

from spreadnet.assumptions import Assumptions, assumptions_of
from spreadnet.words import short_repr

HABITAT_RULES = ("calcium", "clarity", "none")
BASES = ("confirmed", "from memory", "assumption")


@short_repr
@dataclass(frozen=True, slots=True)
class Species:
    """
    One species or group of species, with every number assumed about it.

    Attributes
    ----------
    name : str
        Name used in files, e.g. `dreissenid_mussel`.
    label : str
        Name as people say it.
    group : str
        `mussel`, `waterflea`, `plant` or `snail`.
    habitat_rule : str
        What says whether a lake suits it: `calcium`, `clarity` (with depth) or `none`.
    drying : str
        What five days dry does to it, in a plain sentence.
    values : Assumptions
        Every number, read by name: `species.values["carry_plants"]`.
    """

    name: str
    label: str
    group: str
    habitat_rule: str
    drying: str
    values: Assumptions

    def draw(self, rng: np.random.Generator) -> Species:
        """Copy with every number drawn from its range."""
        return replace(self, values=self.values.draw(rng))

    def with_changes(self, changes: Mapping[str, Any]) -> Species:
        """
        Copy with some numbers replaced, given as for `Assumptions.with_changes`.

        Examples
        --------
        >>> mussel = read_species()["dreissenid_mussel"]
        >>> mussel.with_changes({"allee_exponent": 1.86}).values["allee_exponent"]
        1.86
        """
        return replace(self, values=self.values.with_changes(changes, source="region.toml"))


def _packaged(file: str) -> pd.DataFrame:
    """Read a packaged table as text: 'none' is a rule here, never a missing value."""
    with (
        resources.files("spreadnet.evidence.species")
        .joinpath(file)
        .open(encoding="utf-8") as stream
    ):
        return pd.read_csv(stream, dtype=str, keep_default_na=False)


def read_species() -> Mapping[str, Species]:
    """
    All species that ship with spreadnet, in the order of the table.

    The numbers live in one table, `evidence/species.csv`, so that a reader can check each
    against its source and change it by name.

    Returns
    -------
    species : mapping
        Name to `Species`.

    Notes
    -----
    `basis` is `confirmed` when the number itself was seen in its source, for this very quantity;
    `from memory` when it is literature knowledge that was not seen there; `assumption` when it
    stands in no source but is a choice within what is known, or is worked out from a figure seen
    (a last viable time read as 5% alive): then the source says from which.

    Examples
    --------
    >>> species = read_species()
    >>> list(species)[:2]
    ['dreissenid_mussel', 'spiny_waterflea']
    >>> species["spiny_waterflea"].label, species["spiny_waterflea"].habitat_rule
    ('Spiny waterflea', 'none')
    >>> species["curly_leaf_pondweed"].values["mud_air_hours"]
    323.0
    """
    numbers = dict(iter(_packaged("species.csv").groupby("species", sort=False)))
    return {
        row["species"]: Species(
            name=row["species"],
            label=row["label"],
            group=row["group"],
            habitat_rule=row["habitat_rule"],
            drying=row["drying"],
            values=assumptions_of(numbers[row["species"]].to_dict("records")),
        )
        for row in _packaged("species_names.csv").to_dict("records")
    }


def species_table() -> pd.DataFrame:
    """
    Every number of every species, for printing.

    Returns
    -------
    table : DataFrame
        Index `species`, `parameter`; columns `value`, `low`, `high`, `unit`, `scale`, `meaning`,
        `source`, `basis`.

    Examples
    --------
    >>> species_table().loc[("mystery_snail", "detection"), ["value", "low", "high"]].tolist()
    [0.4, 0.15, 0.8]
    """
    tables = {name: one.values.table() for name, one in read_species().items()}
    return pd.concat(tables, names=["species", "parameter"])
