"""
Checks mutants one by one in a process of its own; started by `runner.py`.

Numbers come in on standard input. For each, one line of JSON goes out before the check begins
and one when it has ended, so that a hang or a crash is known to be that mutant's.
"""

from __future__ import annotations

import ctypes
import gc
import json
import os
import resource
import shutil
import struct
import sys
import time
import traceback
from dataclasses import replace
from pathlib import Path

from family_drivers import CANARY, World
from judge import baseline, canonical, judged
from mutants import Mutant, make, write

from spreadnet.evidence import region as region_module
from spreadnet.evidence.read import check_region
from spreadnet.evidence.species.species import read_species

SPECIES = tuple(read_species())  # read once: it takes longer than many a mutant
ADDRESS_SPACE = 6 * 2**30  # bytes; beyond it the machine would suffer before the figure is taken
IN_OPEN = 0x20
IN_ISDIR = 0x40000000


class Watch:
    """Files of a folder that are opened, as the kernel tells them; nothing where it can't."""

    def __init__(self, folder: Path) -> None:
        library = ctypes.CDLL(None, use_errno=True)
        self.handle = -1
        if hasattr(library, "inotify_init1"):
            self.handle = library.inotify_init1(os.O_NONBLOCK)
            library.inotify_add_watch(self.handle, os.fsencode(folder), IN_OPEN)

    def opened(self) -> list[str]:
        """Names of files opened since this was last asked."""
        found = []
        while self.handle >= 0:
            try:
                data = os.read(self.handle, 65536)
            except BlockingIOError:
                break
            while data:
                _, mask, _, length = struct.unpack_from("iIII", data)
                if not mask & IN_ISDIR:
                    found.append(data[16 : 16 + length].rstrip(b"\0").decode(errors="replace"))
                data = data[16 + length :]
        return sorted(set(found))


def peak_bytes() -> int:
    """Most memory held since `forget_peak`."""
    try:
        lines = Path("/proc/self/status").read_text().splitlines()
        return next(int(line.split()[1]) * 1024 for line in lines if line.startswith("VmHWM"))
    except (OSError, StopIteration):
        return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024


def forget_peak() -> None:
    """Give memory back and begin to count anew, where the system lets one."""
    gc.collect()
    library = ctypes.CDLL(None)
    if hasattr(library, "malloc_trim"):
        library.malloc_trim(0)
    try:
        Path("/proc/self/clear_refs").write_text("5")
    except OSError:
        return


def checked(mutant: Mutant, home: Path, watch: Watch) -> dict[str, object]:
    """What came of one mutant."""
    watch.opened()
    began = time.perf_counter()
    try:
        problems, region = check_region(home, species=SPECIES)
        seconds = time.perf_counter() - began
        peak = peak_bytes()
        outside = watch.opened()
        outcome, detail = judged(mutant.folder, mutant.right, problems, region)
        if outside:
            outcome, detail = "read outside", ", ".join(outside)
        elif CANARY in "".join(map(str, problems)) + _told(region):
            outcome, detail = "read outside", "the canary is in a table or message"
    except BaseException as error:  # any kind is a failure
        seconds, peak = time.perf_counter() - began, peak_bytes()
        last = traceback.extract_tb(error.__traceback__)[-1]
        where = f"{Path(last.filename).name}:{last.lineno} {last.name}"
        outcome, detail = "traceback", f"{type(error).__name__}: {error} at {where}"[:300]
    return {"outcome": outcome, "said": detail, "seconds": seconds, "peak": peak}


def _told(region: object) -> str:
    """All that a region holds, as text."""
    return "" if region is None else repr(canonical(region)) + repr(region.notes)  # type: ignore[attr-defined]


def main(seed: int, home: Path, outside: Path, url: str) -> None:
    """Check mutants until no number comes any more."""
    # Cells are compared row by row as files have them; that order changes nothing is tested apart.
    region_module.in_order = lambda rows, table: rows
    out = os.fdopen(os.dup(1), "w")
    os.dup2(2, 1)  # what a library prints may not come among the answers
    for place in range(3):
        baseline(place, outlines=False)
    resource.setrlimit(resource.RLIMIT_AS, (ADDRESS_SPACE, ADDRESS_SPACE))
    watch = Watch(outside)
    for line in sys.stdin:
        number = int(line)
        shutil.rmtree(home, ignore_errors=True)
        home.mkdir()
        mutant = make(seed, number, World(outside, f"{url}/{seed}-{number}"))
        write(mutant.folder, home)
        about = {
            "number": number,
            "family": mutant.family,
            "name": mutant.name,
            "verdict": mutant.right.verdict,
            "detail": mutant.detail[:400],
        }
        mutant = replace(mutant, folder=replace(mutant.folder, raw={}))  # large files are written
        forget_peak()
        print(json.dumps({**about, "begun": True}), file=out, flush=True)
        print(json.dumps({**about, **checked(mutant, home, watch)}), file=out, flush=True)


if __name__ == "__main__":
    main(int(sys.argv[1]), Path(sys.argv[2]), Path(sys.argv[3]), sys.argv[4])
