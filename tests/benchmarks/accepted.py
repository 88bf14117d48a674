"""What `check` accepts, `run` and `plan` finish: 300 accepted mutants and how they ended."""

import contextlib
import io
import sys
import tempfile
import time
import traceback
import warnings
from collections import Counter
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))
from accepted_mutants import finish, mutant

ACCEPTED = 300
SLOW_S = 20.0  # house rule for a tiny region, both commands


def rows():
    ends, slowest, number = Counter(), 0.0, 0
    while ends["finished"] + ends["told"] + ends["fault"] < ACCEPTED:
        with tempfile.TemporaryDirectory() as place, warnings.catch_warnings():
            warnings.simplefilter("error")
            region = Path(place) / "region"
            region.mkdir()
            changes = mutant(number, region)
            began, said = time.perf_counter(), io.StringIO()
            try:
                with contextlib.redirect_stdout(said), contextlib.redirect_stderr(said):
                    end = finish(region, Path(place))
            except Exception:
                end = "fault"
                print(f"mutant {number} ({', '.join(changes)}):\n{traceback.format_exc(limit=-4)}")
            ends[end] += 1
            slowest = max(slowest, time.perf_counter() - began)
            number += 1
    for end, words in (
        ("refused", "refused by check"),
        ("finished", "finished, all files there"),
        ("told", "told why there is no plan, ranking there"),
    ):
        yield row(f"mutants of a region {words}", ends[end], float("inf"), "mutants")
    yield row("mutants of a region ended by another error", ends["fault"], 0, "mutants")
    yield row("the slowest of them, run and plan", slowest, SLOW_S, "s")


def row(name, figure, bar, unit):
    return {"name": name, "figure": figure, "bar": bar, "unit": unit, "ok": figure <= bar}
