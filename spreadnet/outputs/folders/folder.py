"""Result folders that are either whole or not there, and never take a stranger's files."""

from __future__ import annotations

import json
import os
import shutil
import stat
import warnings
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import TYPE_CHECKING, Any

from spreadnet.errors import OutputError
from spreadnet.outputs.folders.exchange import (
    ANOTHER,
    RECORD,
    all_to_disk,
    came_meanwhile,
    changed_files,
    clear,
    exchange,
    facts,
    is_changed,
    recover,
    undisturbed,
)
from spreadnet.outputs.folders.hold import NEW, SCRATCH, WRITING, busy, scratch, take

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

SYSTEM = frozenset({".DS_Store", "Thumbs.db", "desktop.ini", "lost+found"})  # left where they are
LONGEST = "network.graphml"


@contextmanager
def whole_folder(target: str | Path, *, force: bool = False) -> Iterator[Path]:
    """
    Folder to write into whose files take their place only when all has gone well.

    A new folder is written beside its place and renamed, which the system does in one step. A
    folder that exists stays the same folder (it may be a link, a mounted disk or where the user
    stands): its files are exchanged at the end. An error or an interruption leaves what was there
    before. A kill at any instant leaves the old or the new files whole, or what `recover` needs to
    make them so; that is done first, here too, and a warning says so.

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
        put_in_order(target)
        _held(target, force=force)
        with _staging(target) as new:
            yield new
            held = _held(target, force=force)  # again: anything may have come meanwhile
            if new.parent.name == WRITING:
                exchange(new.parent, target, held=held or {})
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
        put_in_order(target)
        _held(target, force=force)
        if os.path.lexists(target / WRITING):
            raise busy(target)
        with _staging(target, trial=True) as new:
            (new / LONGEST).touch()
            _is_folder(target)  # names that are too long show only once those above are there


def put_in_order(target: Path) -> None:
    """
    Finish or undo what killed runs left; a warning says so.

    Parameters
    ----------
    target : Path
        A folder that is to be written to; it need not be there.

    Raises
    ------
    OutputError
        If that can be neither finished nor undone, or another run is writing there.
    """
    told = recover(target)
    if told is not None:
        warnings.warn(told, stacklevel=2)


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


@contextmanager
def _staging(target: Path, *, trial: bool = False) -> Iterator[Path]:
    """Empty folder on the target's own disk: inside it, or beside its place; gone at the end."""
    made: list[Path] = []
    hold: Path | None = None
    try:
        with undisturbed():
            if not target.is_dir():
                parent = target.absolute().parent
                made = _make(parent)
                hold = scratch(parent)
            else:
                hold = scratch(target) if trial else take(target)
        yield hold / NEW
    finally:
        with undisturbed():
            if hold is not None and hold.name == WRITING:
                clear(hold)
            elif hold is not None:
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


def _held(target: Path, *, force: bool) -> dict[str, Mapping[str, Any]] | None:
    """Files in the target that may be replaced; None where there is no folder."""
    if not _is_folder(target):
        return None
    entries = {
        entry.name: stat.S_ISREG(entry.stat(follow_symlinks=False).st_mode)
        for entry in os.scandir(target)
        if entry.name not in SYSTEM and not entry.name.startswith(SCRATCH)
    }
    if not entries:
        return {}
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
    listed = {name: listed.get(name) or facts(target / name) for name in sorted(entries)}
    changed = [name for name, recorded in listed.items() if is_changed(target / name, recorded)]
    if changed:
        raise changed_files(target, changed)
    if not force:
        message = f"`{target}` holds an earlier result\n\nhint: add `--force` to replace it"
        raise OutputError(message)
    return listed


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


def _rename(new: Path, target: Path) -> None:
    """Give a new folder its name; the system refuses where a folder with files is by now."""
    all_to_disk(new)
    try:
        new.rename(target)
    except OSError:
        if os.path.lexists(target):
            raise came_meanwhile(target) from None
        raise
