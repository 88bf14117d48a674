"""What words ask of the results they tell of; any object with these parts will do."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Protocol

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    import pandas as pd


class Note(Protocol):
    """Something to keep in mind."""

    @property
    def code(self) -> str:
        """What it is of."""

    @property
    def text(self) -> str:
        """In words."""


class Settings(Protocol):
    """What `region.toml` says."""

    @property
    def name(self) -> str:
        """Name of the region."""

    @property
    def hours(self) -> float:
        """Educator hours a season."""

    @property
    def species(self) -> Mapping[str, float]:
        """What one infestation of each species counts."""

    @property
    def shift_hours(self) -> float:
        """Length of a shift."""

    @property
    def season_days(self) -> int:
        """Days of the season."""

    @property
    def most_hours_per_landing_week(self) -> float:
        """Hours that a landing takes in a week."""


class Place(Protocol):
    """A region."""

    @property
    def settings(self) -> Settings:
        """What `region.toml` says."""

    @property
    def lakes(self) -> pd.DataFrame:
        """Lakes by id."""

    @property
    def landings(self) -> pd.DataFrame:
        """Landings by id."""


class Ranked(Protocol):
    """A ranking: tables by landing, way and species."""

    @property
    def notes(self) -> Sequence[Note]:
        """What to keep in mind."""

    @property
    def region(self) -> Place:
        """The input."""

    @property
    def evidence(self) -> Any:
        """Species by name, and traffic."""

    @property
    def landings(self) -> pd.DataFrame:
        """Landings by id."""

    @property
    def comparison(self) -> pd.DataFrame:
        """The same hours, by way."""

    @property
    def totals(self) -> pd.DataFrame:
        """New infestations without education, by species."""

    @property
    def seasons(self) -> int:
        """Seasons looked ahead."""


class Planned(Protocol):
    """A season plan: shifts by landing and time, and the same hours by way."""

    @property
    def region(self) -> Place:
        """The input."""

    @property
    def table(self) -> pd.DataFrame:
        """Shifts by landing, day type and block."""

    @property
    def kinds(self) -> pd.DataFrame:
        """Totals by kind of shift."""

    @property
    def ways(self) -> pd.DataFrame:
        """The same hours, by way."""

    @property
    def hours(self) -> float:
        """Hours a season."""

    @property
    def avoided(self) -> float:
        """Avoided by the plan."""

    @property
    def straight_line(self) -> float:
        """Avoided, were each shift placed anew worth as much as the next one is here."""

    @property
    def seasons(self) -> int:
        """Seasons looked ahead."""


class Foretold(Protocol):
    """Finds foretold, and what came."""

    @property
    def region(self) -> str:
        """Name of the region."""

    @property
    def from_year(self) -> int:
        """First year foretold."""

    @property
    def through(self) -> int:
        """Last year foretold."""

    @property
    def finds(self) -> pd.DataFrame:
        """Finds before and since, by species."""

    @property
    def scores(self) -> pd.DataFrame:
        """Scores by species and predictor."""


class Surveyed(Protocol):
    """What one more survey shift at each landing would gain."""

    @property
    def table(self) -> pd.DataFrame:
        """Gain by landing."""

    @property
    def shift_hours(self) -> float:
        """Length of the survey shift."""

    @property
    def shift_avoids(self) -> float:
        """What one shift of education avoids where the last hours are placed."""

    @property
    def seasons(self) -> int:
        """Seasons looked ahead."""

    @property
    def drawn(self) -> bool:
        """Whether the intervals hold all that is unsure."""

    @property
    def lakes(self) -> pd.DataFrame:
        """Gain of knowing the status of lakes."""
