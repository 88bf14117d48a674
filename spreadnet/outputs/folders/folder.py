"""Result folders that are either whole or not there, and never take a stranger's files."""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import stat
import tempfile
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import TYPE_CHECKING, Any

from spreadnet.errors import OutputError

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

RECORD = "run.json"  # first to go and last to come: a folder with it is whole
SCRATCH = ".spreadnet-"
WRITING = f"{SCRATCH}writing"  # in a folder while a run writes there: one at a time
SYSTEM = frozenset({".DS_Store", "Thumbs.db", "desktop.ini", "lost+found"})  # left where they are
LONGEST = "network.graphml"
ANOTHER = "\n\nhint: choose another folder for `--out`"


@contextmanager
def whole_folder(target: str | Path, *, force: bool = False) -> Iterator[Path]:
    """
    Folder to write into whose files take their place only when all has gone well.

    A new folder is written beside its place and renamed, which the system does in one step. A
    folder that exists stays the same folder (it may be a link, a mounted disk or where the user
    stands): its files are exchanged at the end. An error or an interruption leaves what was there
    before.

    Parameters
    ----------
    target : path
        Where the finished files go.
    force : bool
        Whether an earlier result may be replaced: a folder with a `run.json` of spreadnet that
        lists all other files in it, none changed since.

    Yields
    ------
    folder : Path
        An empty folder to write into.

    Raises
    ------
    OutputError
        If the target may not be replaced, or the place can't be written to.
    """
    target = Path(target)
    with _explained(target):
        _held(target, force=force)
        with _staging(target) as new:
            yield new
            held = _held(target, force=force)  # again: anything may have come meanwhile
            if new.parent.name == WRITING:
                _exchange(new, target, held=held or [])
            else:
                _rename(new, target)


def refuse_if_taken(target: str | Path, *, force: bool) -> None:
    """
    Stop early, before the work, where the result could not be put.

    The place is tried by making a folder with a file there, and taking them away again.

    Parameters
    ----------
    target : path
        Where the finished files would go.
    force : bool
        Whether an earlier result may be replaced.

    Raises
    ------
    OutputError
        If something is there that may not be replaced, or nothing can be written there; the
        message says how to go on.
    """
    target = Path(target)
    with _explained(target):
        _held(target, force=force)
        if os.path.lexists(target / WRITING):
            raise _busy(target)
        with _staging(target, trial=True) as new:
            (new / LONGEST).touch()
            _is_folder(target)  # names that are too long show only once those above are there


@contextmanager
def _explained(target: Path) -> Iterator[None]:
    """Errors of the system as one that says what was to be done and what came of it."""
    try:
        yield
    except OutputError:
        raise
    except OSError as error:
        message = f"can't write to `{target}`: {error.strerror or error}; nothing was written"
        raise OutputError(message + ANOTHER) from error


def _busy(target: Path) -> OutputError:
    """Another run holds the folder, or one was killed while it did."""
    return OutputError(
        f"another run is writing to `{target}`, or was broken off while it did; nothing was "
        f"written\n\nhint: wait for it; if there is none, delete `{target / WRITING}` "
        "(earlier files may be in it)"
    )


def _came_meanwhile(target: Path) -> OutputError:
    """What is said of a folder that was not there when the writing began."""
    message = f"`{target}` came into being during the run, with files in it; nothing was written"
    return OutputError(message + ANOTHER)


@contextmanager
def _staging(target: Path, *, trial: bool = False) -> Iterator[Path]:
    """Empty folder on the target's own disk: inside it, or beside its place; gone at the end."""
    made: list[Path] = []
    hold: Path | None = None
    try:
        if not target.is_dir():
            parent = target.absolute().parent
            made = _make(parent)
            hold = Path(tempfile.mkdtemp(prefix=SCRATCH, dir=parent))
        elif trial:
            hold = Path(tempfile.mkdtemp(prefix=SCRATCH, dir=target))
        else:
            hold = _lock(target)
        new = hold / "new"
        new.mkdir()
        yield new
    finally:
        if hold is not None and not _only_copy(hold, target):
            shutil.rmtree(hold, ignore_errors=True)
        with suppress(OSError):  # not empty: the result is in it
            for folder in reversed(made):
                folder.rmdir()


def _make(folder: Path) -> list[Path]:
    """Make a folder with those above it; return the new ones, outermost first."""
    missing: list[Path] = []
    while not folder.is_dir():
        missing.insert(0, folder)
        folder = folder.parent
    made = []
    try:
        for one in missing:
            one.mkdir()
            made.append(one)
    except BaseException:
        for one in reversed(made):
            one.rmdir()
        raise
    return made


def _lock(target: Path) -> Path:
    """Take the folder for this run; making a folder either succeeds or finds it there."""
    hold = target / WRITING
    try:
        hold.mkdir()
    except FileExistsError:
        raise _busy(target) from None
    return hold


def _only_copy(hold: Path, target: Path) -> bool:
    """Whether earlier files lie in the scratch folder because they could not be put back."""
    old = hold / "old"
    return old.is_dir() and any(old.iterdir()) and not (target / RECORD).exists()


def _held(target: Path, *, force: bool) -> list[str] | None:
    """Files in the target that may be replaced; None where there is no folder."""
    if not _is_folder(target):
        return None
    entries = {
        entry.name: stat.S_ISREG(entry.stat(follow_symlinks=False).st_mode)
        for entry in os.scandir(target)
        if entry.name not in SYSTEM and not entry.name.startswith(SCRATCH)
    }
    if not entries:
        return []
    listed = _listed(target / RECORD) if entries.get(RECORD) else {}
    strange = sorted(n for n, plain in entries.items() if not plain or n not in {*listed, RECORD})
    if not listed or strange:
        shown = [*strange, *sorted(entries)][0]
        message = (
            f"`{target}` holds files that spreadnet did not write, or not as part of a result with "
            f"its `{RECORD}`, such as `{shown}`\n\n"
            "hint: choose a new folder; a folder with other files is never replaced"
        )
        raise OutputError(message)
    changed = sorted(n for n in entries if n != RECORD and _changed(target / n, listed[n]))
    if changed:
        message = (
            f"`{target}` holds an earlier result of which was changed since: {', '.join(changed)}"
            "\n\nhint: choose a new folder, or move what you changed elsewhere; changed files are "
            "never replaced"
        )
        raise OutputError(message)
    if not force:
        message = f"`{target}` holds an earlier result\n\nhint: add `--force` to replace it"
        raise OutputError(message)
    return sorted(entries)


def _is_folder(target: Path) -> bool:
    """Whether the target is a folder; False if nothing is there and a folder could be."""
    try:
        mode = target.stat().st_mode  # not `exists`, which hides names that are too long
    except (FileNotFoundError, NotADirectoryError):
        for place in (target, *target.absolute().parents):
            if place.is_symlink() and not place.exists():
                message = f"`{place}` is a link to something that is not there{ANOTHER}"
                raise OutputError(message) from None
            if place.exists() and not place.is_dir():
                message = f"`{place}` is a file, so no folder can be made in it{ANOTHER}"
                raise OutputError(message) from None
        return False
    if not stat.S_ISDIR(mode):
        message = f"`{target}` is a file, not a folder{ANOTHER}"
        raise OutputError(message)
    return True


def _listed(record: Path) -> dict[str, Mapping[str, Any]]:
    """Files that a run's record lists, by name; nothing if it is no record of spreadnet."""
    try:
        read = json.loads(record.read_text(encoding="utf-8"))
        outputs = read["outputs"] if "spreadnet" in read else []
        return {
            str(one["file"]): {"bytes": one["bytes"], "sha256": one["sha256"]} for one in outputs
        }
    except (ValueError, KeyError, TypeError, RecursionError):
        return {}


def _changed(file: Path, recorded: Mapping[str, Any]) -> bool:
    """Whether a file is no longer what the record says it was."""
    if file.stat().st_size != recorded["bytes"]:
        return True
    with file.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest() != recorded["sha256"]


def _rename(new: Path, target: Path) -> None:
    """Give a new folder its name; the system refuses where a folder with files is by now."""
    try:
        new.rename(target)
    except OSError:
        if os.path.lexists(target):
            raise _came_meanwhile(target) from None
        raise


def _exchange(new: Path, target: Path, *, held: list[str]) -> None:
    """Move earlier files out and new ones in; the other way round if anything goes wrong."""
    old = new.parent / "old"
    old.mkdir()
    out = sorted(held, key=lambda name: name != RECORD)
    come = sorted((file.name for file in new.iterdir()), key=lambda name: name == RECORD)
    moves = [(target / name, old / name) for name in out]
    moves += [(new / name, target / name) for name in come]
    tried: list[tuple[Path, Path]] = []
    try:
        for source, goal in moves:
            if os.path.lexists(goal):
                raise _came_meanwhile(goal)
            tried.append((source, goal))
            source.rename(goal)
    except BaseException:
        for source, goal in reversed(tried):
            if goal.exists() and not source.exists():
                _put_back(goal, source)
        raise


def _put_back(moved: Path, place: Path) -> None:
    """Undo one move; if even that fails, say where the earlier files are."""
    try:
        moved.rename(place)
    except OSError as error:
        message = (
            f"can't put `{place}` back: {error.strerror or error}\n\nhint: earlier files are in "
            f"`{moved.parent}`"
        )
        raise OutputError(message) from error
