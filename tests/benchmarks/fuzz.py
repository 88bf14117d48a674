"""Ten thousand mutants of a region folder through `check`: what came of them, by family."""

import os
import sys
from collections import Counter
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "fuzz"))

from runner import GOOD, MOST_BYTES, MOST_SECONDS, run

MUTANTS = 10_000
SEED = 9
BAD = (
    *("traceback", "hang", "crash", "memory", "request made", "read outside", "meaning changed"),
    *("good refused", "secret told", "false alarm", "bare refusal", "half accepted"),
)


def rows():
    results = []
    for result in run(SEED, range(MUTANTS), workers=os.cpu_count() or 1):
        results.append(result)
        if result.outcome not in GOOD:
            print(result, file=sys.stderr, flush=True)
    counts = Counter((r.family, r.outcome) for r in results)
    for family in sorted({r.family for r in results}):
        for outcome in GOOD:
            figure = counts[family, outcome]
            yield row(f"mutants of {family}, {outcome}", figure, float("inf"), "mutants")
    total = Counter(r.outcome for r in results)
    for outcome in (*BAD, *sorted(set(total) - {*BAD, *GOOD})):
        yield row(f"mutants in all, {outcome}", total[outcome], 0, "mutants")
    yield row("longest check of a mutant", max(r.seconds for r in results), MOST_SECONDS, "s")
    most = max(r.peak for r in results)
    yield row("most memory of a check", most / 1e9, MOST_BYTES / 1e9, "GB at the peak")


def row(name, figure, bar, unit):
    return {"name": name, "figure": figure, "bar": bar, "unit": unit, "ok": figure <= bar}
