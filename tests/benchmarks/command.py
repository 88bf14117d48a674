"""The command line as a whole process: time and memory of a run, time of the help."""

import os
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

REGION = Path(__file__).parents[2] / "demo_region"


def timed(words):
    """Seconds of a command, run as a user would."""
    began = time.perf_counter()
    subprocess.run([sys.executable, "-m", "spreadnet.cli", *words], check=True, capture_output=True)
    return time.perf_counter() - began


def rows():
    helps = [timed(["--help"]) for _ in range(5)]
    yield row("spreadnet --help, median of 5", statistics.median(helps), 0.2, "s, whole process")
    with tempfile.TemporaryDirectory() as folder:
        words = ["run", str(REGION), "--out", str(Path(folder, "out")), "--draws", "200"]
        began = time.perf_counter()
        child = subprocess.Popen(
            [sys.executable, "-m", "spreadnet.cli", *words],
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        _, status, usage = os.wait4(child.pid, 0)
        child.returncode = os.waitstatus_to_exitcode(status)
        seconds = time.perf_counter() - began
        if child.returncode:
            raise RuntimeError(f"the run failed with exit code {child.returncode}")
    unit_kib = 1 if sys.platform != "darwin" else 1 / 1024
    yield row("spreadnet run demo_region, 200 draws", seconds, 20, "s, whole process")
    peak = usage.ru_maxrss * unit_kib / 1024
    yield row("spreadnet run demo_region, 200 draws, peak memory", peak, 600, "MiB, whole process")


def row(name, figure, bar, unit):
    return {"name": name, "figure": figure, "bar": bar, "unit": unit, "ok": figure <= bar}
