"""All benchmarks as one table: `python tests/benchmarks`. Exit 1 when a bar is missed."""

import importlib.util
import math
import os
import sys
from pathlib import Path

# Ratios are only fair with one thread a library on both sides.
for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(name, "1")


def load(path):
    """Module of one benchmark file, by its path."""
    spec = importlib.util.spec_from_file_location(f"benchmark_{path.stem}", path)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def main(wanted):
    here = Path(__file__).parent
    missed = 0
    print(f"{'benchmark':<66}{'figure':>12}{'bar':>12}  {'unit':<22}")
    for path in sorted(here.glob("*.py")):
        if path.name.startswith("_") or (wanted and path.stem not in wanted):
            continue
        for row in load(path).rows():
            missed += not row["ok"]
            mark = "" if row["ok"] else "  MISSED"
            bar = f"{row['bar']:.4g}" if math.isfinite(row["bar"]) else "none"
            print(f"{row['name']:<66}{row['figure']:>12.4g}{bar:>12}  {row['unit']}{mark}")
            sys.stdout.flush()
    return 1 if missed else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
