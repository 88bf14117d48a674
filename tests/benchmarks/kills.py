"""
Commands killed at random instants of writing and exchange: what is left, and what comes next.

A process runs the whole command line, but its `run` copies a result that was prepared, so that
500 kills take minutes. Kills are aimed at the writing, at the checks after it, and at the exchange.
"""

import contextlib
import hashlib
import io
import json
import random
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path
from unittest.mock import patch

from spreadnet.cli import main, options
from spreadnet.outputs.folders import exchange
from spreadnet.outputs.folders.folder import refuse_if_taken, whole_folder

KILLS = 500
SIGNALS = ("SIGKILL", "SIGTERM", "SIGINT")
PLACES = ("earlier", "earlier", "earlier", "empty", "new")  # what is there before, by its share
PHASES = ("writing", "checking", "moving")
SIZES = {"map.html": 3_000_000, "region.gpkg": 1_500_000, "plan.html": 900_000} | {
    f"table_{number:02}.csv": 20_000 * (1 + number % 5) for number in range(20)
}
LEFT = ("old whole", "new whole", "neither whole")
THEN = {
    "this was finished": "restored forward",
    "this was undone": "restored back",
    "what it had written was deleted": "unfinished files deleted",
    "leftovers": "leftovers deleted",
}
WRONG = ("lost", "next command failed", "untrue message")


def prepare(folder, *, seed):
    """A result as a run leaves it, of random bytes."""
    folder.mkdir()
    chance, outputs = random.Random(seed), []
    for name, size in SIZES.items():
        data = chance.randbytes(size)
        (folder / name).write_bytes(data)
        digest = hashlib.sha256(data).hexdigest()
        outputs.append({"file": name, "bytes": size, "sha256": digest})
    record = {"spreadnet": "0.1.0", "seed": seed, "outputs": outputs}
    (folder / "run.json").write_text(json.dumps(record))


def copy_result(given):
    """In place of `command_run`: no model, the same writing."""
    refuse_if_taken(Path(given.out), force=given.force)
    print("writing", flush=True)
    with whole_folder(given.out, force=given.force) as folder:
        for file in sorted(Path(given.region).iterdir()):
            shutil.copyfile(file, folder / file.name)
        print("checking", flush=True)
    print("end", flush=True)
    return 0


def command(*words):
    """The command line with that `run`; `check` only reads."""
    with (
        patch.object(options, "command_run", copy_result),
        patch.object(options, "command_check", lambda given: 0),
    ):
        return main([str(word) for word in words])


def saying_when_moving(*words):
    """The same in a process that is to be killed, which says when files begin to be moved."""
    go_on = exchange._go_on

    def said(*places):
        print("moving", flush=True)
        go_on(*places)

    with patch.object(exchange, "_go_on", said):
        return command(*words)


def started(source, out):
    """A process that writes."""
    return subprocess.Popen(
        [sys.executable, __file__, "run", str(source), "--out", str(out), "--force"],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )


def durations(place, results):
    """Seconds from each word that a process says to the next, the longest of three."""
    longest = {}
    for number in range(3):
        out = place / f"timed{number}"
        shutil.copytree(results["old"], out)
        process, last, began = started(results["new"], out), None, 0.0
        for line in process.stdout:
            if last:
                longest[last] = max(longest.get(last, 0.0), time.perf_counter() - began)
            last, began = line.strip(), time.perf_counter()
        process.communicate()
        shutil.rmtree(out)
    return longest


def visible(folder):
    """Names and hashes of what a user sees in a folder; None where there is none."""
    if not folder.is_dir():
        return None
    return {
        file.name: hashlib.sha256(file.read_bytes()).hexdigest()
        for file in folder.iterdir()
        if not file.name.startswith(".spreadnet-")
    }


def killed(out, results, *, number, at, wait):
    """Start a process, kill it; its last words, or None if it ended before the signal came."""
    process = started(results["new"], out)
    for line in process.stdout:
        if line.strip() == at:
            break
    until = time.perf_counter() + wait
    while time.perf_counter() < until:
        time.sleep(0)
    process.send_signal(number)
    _, told = process.communicate(timeout=60)
    expected = -number if number == signal.SIGKILL else 128 + number
    return told if process.returncode == expected else None


def outcome(place, results, *, kind, name, at, wait):
    """What one kill leaves and what becomes of it; None if the process was quicker."""
    out = place / "out"
    if kind != "new":
        out.mkdir()
    if kind == "earlier":
        shutil.copytree(results["old"], out, dirs_exist_ok=True)
    before, after = visible(out), visible(results["new"])
    told = killed(out, results, number=getattr(signal, name), at=at, wait=wait)
    if told is None:
        return None
    found = visible(out)
    left = LEFT[0] if found == before else LEFT[1] if found == after else LEFT[2]
    seen = [left]
    claimed = {"nothing was written": LEFT[0], "all was written": LEFT[1]}
    seen += [
        "untrue message" for words, state in claimed.items() if words in told and left != state
    ]
    errors = io.StringIO()
    with contextlib.redirect_stderr(errors), contextlib.redirect_stdout(io.StringIO()):
        if wait * 1e6 % 2 < 1:  # every second time a command that reads comes between
            seen += ["next command failed"] * (command("check", out) != 0)
            seen += ["lost"] * (visible(out) not in (before, after))
        seen += ["next command failed"] * (command("run", results["next"], "--out", out, "--force"))
    seen += ["lost"] * (visible(out) != visible(results["next"]))
    seen += ["lost"] * any(".spreadnet-" in path.name for path in place.rglob("*"))
    seen += [word for words, word in THEN.items() if words in errors.getvalue()][:1]
    return seen


def kills(count, *, seed=1):
    """Counts of what came of kills, by signal."""
    chance = random.Random(seed)
    found = {name: Counter() for name in SIGNALS}
    with tempfile.TemporaryDirectory() as folder:
        results = {name: Path(folder, name) for name in ("old", "new", "next")}
        for number, result in enumerate(results.values()):
            prepare(result, seed=number)
        longest = durations(Path(folder), results)
        done = 0
        while done < count:
            place = Path(tempfile.mkdtemp(dir=folder))
            name, kind = SIGNALS[done % len(SIGNALS)], chance.choice(PLACES)
            at = chance.choice(PHASES if kind != "new" else PHASES[:2])
            wait = chance.uniform(0, longest[at])
            seen = outcome(place, results, kind=kind, name=name, at=at, wait=wait)
            if seen is not None:
                found[name].update(["kills", *seen])
                done += 1
            shutil.rmtree(place)
    return found


def rows():
    found = kills(KILLS)
    for name, counts in found.items():
        for what in ("kills", *LEFT, *THEN.values(), *WRONG):
            bar = 0 if what in WRONG else float("inf")
            row = {"name": f"{name}: {what}", "figure": counts[what], "bar": bar}
            yield row | {"unit": f"of {KILLS} kills", "ok": counts[what] <= bar}


if __name__ == "__main__":
    sys.exit(saying_when_moving(*sys.argv[1:]))
