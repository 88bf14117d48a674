"""A region the size of a state: a whole run, and 1,000 draws with and without compiled code."""

import json
import os
import subprocess
import sys
import tempfile
import threading
import time
from pathlib import Path

TESTS = Path(__file__).parents[1]
RANK = """
import sys, spreadnet
region = spreadnet.read_region(sys.argv[1])
evidence = spreadnet.gather_evidence(region)
movement = spreadnet.build_model(region, evidence)
import time
if __name__ == "__main__":
    began = time.perf_counter()
    spreadnet.rank_landings(region, evidence, movement=movement, draws=1000, workers=2)
    print(time.perf_counter() - began)
"""


def rows():
    with tempfile.TemporaryDirectory() as folder:
        region, out = Path(folder, "region"), Path(folder, "out")
        maker = [sys.executable, "-P", str(TESTS / "large_region.py"), str(region)]
        subprocess.run([*maker, "--size", "state"], check=True)
        words = [sys.executable, "-m", "spreadnet.cli", "run", str(region), "--out", str(out)]
        seconds, peak, _ = measured([*words, "--draws", "200"], {})
        yield row("spreadnet run, state, 200 draws, 2 processors", seconds, 120, "s, whole process")
        yield row("the same, memory of all processes", peak / 2**30, 2, "GiB at the peak")
        for stage, spent in json.loads((out / "run.json").read_text("utf-8"))["timings_s"].items():
            yield row(f"  of it {stage}", spent, float("inf"), "s")
        script = Path(folder, "rank.py")
        script.write_text(RANK)
        for fast, bar, most in (("1", 180, 1), ("0", float("inf"), float("inf"))):
            name = "with `fast`" if fast == "1" else "without it"
            _, peak, told = measured(
                [sys.executable, "-P", str(script), str(region)], {"SPREADNET_FAST": fast}
            )
            yield row(f"ranking with 1,000 draws, state, {name}", float(told), bar, "s")
            yield row("the same, memory of all processes", peak / 2**30, most, "GiB at the peak")


def row(name, figure, bar, unit):
    return {"name": name, "figure": figure, "bar": bar, "unit": unit, "ok": figure <= bar}


def measured(words, settings):
    """Seconds of a command, the most memory that it and its processes held, and what it told."""
    began = time.perf_counter()
    child = subprocess.Popen(
        words,
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        text=True,
        start_new_session=True,
        env={**os.environ, **settings},
    )
    peaks = [0]
    watch = threading.Thread(target=watched, args=(child, peaks))
    watch.start()
    told, _ = child.communicate()
    watch.join()
    if child.returncode:
        raise RuntimeError(f"a command failed with exit code {child.returncode}")
    return time.perf_counter() - began, max(peaks), told


def watched(child, peaks):
    """Look at the memory of a session's processes until it ends; pages shared count once."""
    while child.poll() is None:
        total = 0
        for place in Path("/proc").glob("[0-9]*"):
            try:
                session = place.joinpath("stat").read_text().rsplit(")", 1)[1].split()[3]
                if int(session) == child.pid:
                    for line in place.joinpath("smaps_rollup").read_text().splitlines():
                        if line.startswith("Pss:"):
                            total += int(line.split()[1]) * 1024
            except (OSError, IndexError, ValueError):
                continue
        peaks.append(total)
        time.sleep(0.3)
