"""How well the demo's known truth is recovered, over the ten regions of the recovery test."""

import importlib.util
import sys
import tempfile
from pathlib import Path

import pandas as pd

import spreadnet

TEST = Path(__file__).parents[1] / "demo" / "test_demo_recovery.py"
sys.path.insert(0, str(TEST.parents[1]))  # for what tests share
FIGURES = {
    "launches_visited": "launches over truth where counted",
    "launches_visited_covered": "their 90% intervals cover",
    "launches_unvisited": "launches over truth where not counted",
    "launches_unvisited_covered": "their 90% intervals cover (not counted)",
    "gaps_covered": "90% intervals of gap rates cover",
    "hidden_expected": "infestations expected unseen, a region",
    "hidden": "infestations truly unseen, a region",
    "log_distance_covered": "90% intervals of the distance exponent cover",
    "score_covered": "90% intervals of what 100 hours avoid cover",
    "rank_covered": "90% intervals of ranks cover",
    "rank_agreement": "rank correlation with the truth, ranking",
    "busiest_agreement": "rank correlation with the truth, busiest first",
    "new_infestations": "new infestations over truth",
}


def rows():
    spec = importlib.util.spec_from_file_location("demo_recovery", TEST)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    maker, found = module.load_maker(), []
    for seed in module.SEEDS:
        made = maker.make_region(seed)
        with tempfile.TemporaryDirectory() as folder:
            maker.write_region(made, Path(folder))
            region = spreadnet.read_region(folder)
        result = spreadnet.assess(region, draws=60, seed=1)
        found.append(module.compare(maker, made, region, result))
    means = pd.DataFrame(found)[list(FIGURES)].mean()
    for name, words in FIGURES.items():
        row = {"name": words, "figure": means[name], "bar": float("inf"), "ok": True}
        yield row | {"unit": f"mean of {len(found)} regions"}
