"""
Rank boat landings by how much education there slows aquatic invasive species.

Names are loaded on first use, so that `import spreadnet` and the command line stay quick.
"""

from __future__ import annotations

import importlib
import sys
import types
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from spreadnet.assess import (
        assess,
        build_model,
        hindcast,
        rank_landings,
        season_plan,
        survey_next,
    )
    from spreadnet.assumptions import DEFAULT as DEFAULT_ASSUMPTIONS
    from spreadnet.decisions.assessment import Assessment
    from spreadnet.decisions.plan import SeasonPlan
    from spreadnet.errors import InputError, ModelError, OutputError, SpreadnetError
    from spreadnet.evidence.gather import Evidence, gather_evidence
    from spreadnet.evidence.read import check_region, read_region
    from spreadnet.evidence.region import Region
    from spreadnet.evidence.species import read_species
    from spreadnet.model.movement_table import fit_movements
    from spreadnet.outputs.hindcast import write_hindcast
    from spreadnet.outputs.plan import write_plan
    from spreadnet.outputs.results import assessment_map, write_results
    from spreadnet.outputs.survey import write_survey

_WHERE = {
    "build_model": "spreadnet.assess",
    "hindcast": "spreadnet.assess",
    "rank_landings": "spreadnet.assess",
    "season_plan": "spreadnet.assess",
    "survey_next": "spreadnet.assess",
    "Assessment": "spreadnet.decisions.assessment",
    "SeasonPlan": "spreadnet.decisions.plan",
    "InputError": "spreadnet.errors",
    "ModelError": "spreadnet.errors",
    "OutputError": "spreadnet.errors",
    "SpreadnetError": "spreadnet.errors",
    "Evidence": "spreadnet.evidence.gather",
    "gather_evidence": "spreadnet.evidence.gather",
    "check_region": "spreadnet.evidence.read",
    "read_region": "spreadnet.evidence.read",
    "Region": "spreadnet.evidence.region",
    "read_species": "spreadnet.evidence.species",
    "fit_movements": "spreadnet.model.movement_table",
    "assessment_map": "spreadnet.outputs.results",
    "write_hindcast": "spreadnet.outputs.hindcast",
    "write_plan": "spreadnet.outputs.plan",
    "write_results": "spreadnet.outputs.results",
    "write_survey": "spreadnet.outputs.survey",
}

__all__ = [
    "DEFAULT_ASSUMPTIONS",
    "Assessment",
    "Evidence",
    "InputError",
    "ModelError",
    "OutputError",
    "Region",
    "SeasonPlan",
    "SpreadnetError",
    "assess",
    "assessment_map",
    "build_model",
    "check_region",
    "fit_movements",
    "gather_evidence",
    "hindcast",
    "rank_landings",
    "read_region",
    "read_species",
    "season_plan",
    "survey_next",
    "write_hindcast",
    "write_plan",
    "write_results",
    "write_survey",
]


def __getattr__(name: str) -> Any:
    """Load a public name from its module when it is first asked for."""
    if name == "DEFAULT_ASSUMPTIONS":
        return importlib.import_module("spreadnet.assumptions").DEFAULT
    if name in _WHERE:
        return getattr(importlib.import_module(_WHERE[name]), name)
    message = f"module 'spreadnet' has no attribute '{name}'"
    raise AttributeError(message)


def __dir__() -> list[str]:
    return sorted(__all__)


class _Package(types.ModuleType):
    """The package, with `assess` always the function, never the module of the same name."""

    @property
    def assess(self) -> Any:
        """The function, loaded on first use."""
        return importlib.import_module("spreadnet.assess").assess

    @assess.setter
    def assess(self, _module: types.ModuleType) -> None:
        """Ignore the module that the import system would put in its place."""


sys.modules[__name__].__class__ = _Package
