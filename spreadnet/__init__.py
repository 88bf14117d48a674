"""
Rank boat landings by how much education there slows aquatic invasive species.

Names are loaded on first use, so that `import spreadnet` and the command line stay quick.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from spreadnet.assumptions import DEFAULT as DEFAULT_ASSUMPTIONS
    from spreadnet.chain import (
        assess,
        build_model,
        hindcast,
        rank_landings,
        season_plan,
        survey_next,
    )
    from spreadnet.decisions.plan import SeasonPlan
    from spreadnet.decisions.ranking import Assessment
    from spreadnet.errors import InputError, ModelError, OutputError, SpreadnetError, WorkerError
    from spreadnet.evidence.gather import Evidence, gather_evidence
    from spreadnet.evidence.read import check_region, read_region
    from spreadnet.evidence.region import Region
    from spreadnet.evidence.species import read_species
    from spreadnet.options import RunOptions
    from spreadnet.outputs.write import (
        assessment_map,
        write_hindcast,
        write_plan,
        write_results,
        write_survey,
    )
    from spreadnet.research import fit_movements

_WHERE = {
    "assess": "spreadnet.chain",
    "build_model": "spreadnet.chain",
    "hindcast": "spreadnet.chain",
    "rank_landings": "spreadnet.chain",
    "season_plan": "spreadnet.chain",
    "survey_next": "spreadnet.chain",
    "Assessment": "spreadnet.decisions.ranking.result",
    "SeasonPlan": "spreadnet.decisions.plan.plan",
    "InputError": "spreadnet.errors",
    "ModelError": "spreadnet.errors",
    "OutputError": "spreadnet.errors",
    "SpreadnetError": "spreadnet.errors",
    "WorkerError": "spreadnet.errors",
    "Evidence": "spreadnet.evidence.gather",
    "gather_evidence": "spreadnet.evidence.gather",
    "check_region": "spreadnet.evidence.read",
    "read_region": "spreadnet.evidence.read",
    "Region": "spreadnet.evidence.region",
    "read_species": "spreadnet.evidence.species.species",
    "fit_movements": "spreadnet.research.fit",
    "RunOptions": "spreadnet.options",
    "rank_chart": "spreadnet.outputs.charts",
    "value_chart": "spreadnet.outputs.charts",
    "assessment_map": "spreadnet.outputs.write",
    "write_hindcast": "spreadnet.outputs.write",
    "write_plan": "spreadnet.outputs.write",
    "write_results": "spreadnet.outputs.write",
    "write_survey": "spreadnet.outputs.write",
}

__all__ = [
    "DEFAULT_ASSUMPTIONS",
    "Assessment",
    "Evidence",
    "InputError",
    "ModelError",
    "OutputError",
    "Region",
    "RunOptions",
    "SeasonPlan",
    "SpreadnetError",
    "WorkerError",
    "assess",
    "assessment_map",
    "build_model",
    "check_region",
    "fit_movements",
    "gather_evidence",
    "hindcast",
    "rank_chart",
    "rank_landings",
    "read_region",
    "read_species",
    "season_plan",
    "survey_next",
    "value_chart",
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
