"""
Mutants by hand.

`python tests/fuzz 17 --seed 1` checks mutant 17 of seed 1 and says what came of it, `--keep DIR`
writes its folder there as well; `python tests/fuzz --count 10000` checks the first 10,000, and
`--only drivers people` of these only some families.
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from mutants import FAMILIES, family_of
from runner import GOOD, keep, run, table


def main() -> int:
    """Exit 1 when a mutant fails."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("numbers", nargs="*", type=int)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--count", type=int, default=0)
    parser.add_argument("--workers", type=int, default=1)
    parser.add_argument("--only", nargs="*", default=sorted(FAMILIES))
    parser.add_argument("--keep", type=Path)
    given = parser.parse_args()
    numbers = given.numbers or [
        n for n in range(given.count) if family_of(given.seed, n)[0] in given.only
    ]
    if given.keep is not None:
        for number in given.numbers:
            keep(given.seed, number, given.keep / f"{given.seed}-{number}")
    results = []
    for result in run(given.seed, numbers, workers=given.workers):
        results.append(result)
        if result.outcome not in GOOD or given.numbers:
            print(result, flush=True)
    print(table(results))
    print(f"longest {max(r.seconds for r in results):.1f} s,", end=" ")
    print(f"most memory {max(r.peak for r in results) / 1e9:.2f} GB")
    return int(any(r.outcome not in GOOD for r in results))


if __name__ == "__main__":
    sys.exit(main())
