"""
Kill a process before each thing that it does to files, and see what is left: one line of JSON each.

python tests/outputs/folders/kill_steps.py FOLDER

Processes are forked and kill themselves, so what happens is the same every time. Each state that a
killed writer leaves is put in order by processes that are killed too, before each of their steps.
"""

import hashlib
import itertools
import json
import os
import re
import shutil
import signal
import sys
from pathlib import Path

from spreadnet.outputs.folders.exchange import recover
from spreadnet.outputs.folders.folder import whole_folder

STEPS = {"os.rename", "os.remove", "os.rmdir", "os.mkdir", "open"}
OLD, NEW = ("landings.csv", "map.html", "brief.html"), ("landings.csv", "map.html", "plan.csv")


def fill(folder, text, names=("landings.csv", "map.html")):
    """Files with a record that lists them, as a run leaves them."""
    outputs = []
    for name in names:
        data = f"{text} {name}".encode()
        (folder / name).write_bytes(data)
        digest = hashlib.sha256(data).hexdigest()
        outputs.append({"file": name, "bytes": len(data), "sha256": digest})
    record = {"spreadnet": "0.1.0", "text": text, "outputs": outputs}
    (folder / "run.json").write_text(json.dumps(record))


def contents(folder):
    """Every file below a folder with what it holds, hidden ones too."""
    return {
        str(path.relative_to(folder)): path.read_text() if path.is_file() else None
        for path in folder.rglob("*")
    }


def killed(work, *, step, place):
    """Do work in a process that is killed before a step; False if it ended before it got there."""
    child = os.fork()
    if child == 0:
        count = itertools.count()

        def hook(event, arguments):
            path, mode, _ = arguments if event == "open" else (place, "w", 0)
            changes = (
                event in STEPS and str(path).startswith(str(place)) and mode not in (None, "rb")
            )
            if changes and next(count) == step:
                os.kill(os.getpid(), signal.SIGKILL)

        sys.addaudithook(hook)
        try:
            work()
        except OSError:
            os._exit(1)
        os._exit(0)
    _, status = os.waitpid(child, 0)
    return os.waitstatus_to_exitcode(status) == -signal.SIGKILL


def prepared(place, kind):
    """The folder before anything is written, and the same as contents."""
    place.mkdir()
    out = place / "out"
    if kind != "new":
        out.mkdir()
    if kind in ("earlier", "undone"):
        fill(out, "old", OLD)
    return out, contents(place)


def writer(out, text, *, failing=None):
    """Work that writes a result; a rename fails on the way if asked to."""

    def write():
        rename, count = os.rename, itertools.count()

        def failing_rename(source, goal, **words):
            if next(count) == failing:
                raise OSError(28, "No space left on device")
            rename(source, goal, **words)

        os.rename = failing_rename
        try:
            with whole_folder(out, force=True) as folder:
                fill(folder, text, NEW)
        finally:
            os.rename = rename

    return write


def name_of(found, before, after):
    """Which of two states a place is in."""
    return "old" if found == before else "new" if found == after else "neither"


def shown(place):
    """Contents as a user sees them, without what hides."""
    return {n: text for n, text in contents(place).items() if ".spreadnet-" not in n}


def steps(place, kind):
    """What each kill of one kind of writer leaves, and what becomes of it."""
    finished, seen = place / "finished", set()
    out, before = prepared(finished, kind)
    writer(out, "new")()
    after = contents(finished)
    for step in itertools.count():
        left = place / f"{kind}{step}"
        out, _ = prepared(left, kind)
        failing = 6 if kind == "undone" else None
        if not killed(writer(out, "new", failing=failing), step=step, place=left):
            shutil.rmtree(left)
            break
        row = {"kind": kind, "step": step, "left": name_of(shown(left), before, after)}
        names = {re.sub(r"-[0-9a-z-]{20,}", "", name) for name in contents(left)}
        moving = any(name.endswith(("forward.json", "back.json")) for name in names)
        state = frozenset(name for name in names if moving or "new/" not in name)
        row["nested"] = (
            []
            if state in seen or kind in ("empty", "new")
            else [*nested(left, before=before, after=after)]
        )
        seen.add(state)
        row["told"] = recover(out)
        row["restored"] = name_of(contents(left), before, after)
        row["again"] = recover(out)
        writer(out, "newer")()
        row["next"] = (out / "map.html").read_text() == "newer map.html"
        row["clean"] = contents(left).keys() == after.keys()
        yield row
        shutil.rmtree(left)
    shutil.rmtree(finished)


def nested(left, *, before, after):
    """What the next command makes of it when the one that puts it in order is killed too."""
    for step in itertools.count():
        copy = left.with_name("copy")
        shutil.copytree(left, copy)
        there = killed(lambda: recover(copy / "out"), step=step, place=copy)  # noqa: B023
        recover(copy / "out")
        yield name_of(contents(copy), before, after)
        shutil.rmtree(copy)
        if not there:
            return


if __name__ == "__main__":
    os.fsync = lambda _: None  # what is killed here is processes, not the power
    for one in ("earlier", "undone", "empty", "new"):
        for found in steps(Path(sys.argv[1]), one):
            print(json.dumps(found))
