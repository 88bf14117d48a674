"""A season plan: the demo as a whole process, and 2,000 shifts in a region the size of a state."""

import subprocess
import sys
import tempfile
import time
from datetime import date
from pathlib import Path

import spreadnet
from spreadnet.decisions.draws.parallel import one_thread
from spreadnet.decisions.draws.run import run_model
from spreadnet.decisions.shifts.objective import Avoided
from spreadnet.decisions.shifts.region_rules import plan_rules
from spreadnet.decisions.shifts.search import search
from spreadnet.model.estimates import best_estimates
from spreadnet.model.inputs import place_of

TESTS = Path(__file__).parents[1]
DEMO = TESTS.parent / "demo_region"
SHIFTS, SHIFT_HOURS = 2000, 4


def rows():
    with tempfile.TemporaryDirectory() as folder:
        words = ["plan", str(DEMO), "--out", str(Path(folder, "plan"))]
        command = [sys.executable, "-m", "spreadnet.cli", *words]
        seconds = []
        for _ in range(3):
            began = time.perf_counter()
            subprocess.run([*command, "--force"], check=True, capture_output=True)
            seconds.append(time.perf_counter() - began)
        yield row("spreadnet plan demo_region, best of 3", min(seconds), 5, "s, whole process")
        region = Path(folder, "region")
        maker = [sys.executable, "-P", str(TESTS / "large_region.py"), str(region)]
        subprocess.run([*maker, "--size", "state"], check=True)
        yield from state(spreadnet.read_region(region))


@one_thread
def state(region):
    evidence = spreadnet.gather_evidence(region)
    movement = spreadnet.build_model(region, evidence)
    began = time.perf_counter()
    place = place_of(region, evidence, movement)
    run = run_model(best_estimates(evidence, movement), movement, place=place, seasons=5)
    rules = plan_rules(region, run.reach, hours=SHIFTS * SHIFT_HOURS, plan_from=date(2027, 5, 15))
    found = search(Avoided.of(run, rules), rules)
    seconds = time.perf_counter() - began
    yield row(f"plan of {found.shifts.sum():,} shifts, state", seconds, 120, "s, at most")
    yield row("the same, slopes worked out", found.slopes, 30, "slopes, at most")
    yield row("the same, gap to the bound", found.gap, 0.001, "share, at most")
    missing = SHIFTS - int(found.shifts.sum())
    yield row("the same, shifts not placed", missing, 0, "shifts")


def row(name, figure, bar, unit):
    return {"name": name, "figure": figure, "bar": bar, "unit": unit, "ok": figure <= bar}
