"""
Files of a folder exchanged for new ones, so that a kill at any instant loses neither.

While a run writes to a folder that is there, the folder holds `.spreadnet-writing` with

- `owner-MARK`: an empty file whose name tells which process it is (see `owner`),
- `new/`: what is written, until it takes its place,
- `old/`: what was there before, on its way out,
- a journal, written when `new/` is whole and on the disk: which files go and which come, with
  their hashes. Its name says what is being done, and changing it is the only thing that decides:
  `forward.json` (the new ones are put in place), `back.json` (the earlier ones are put back),
  `done.json` (either is whole, only `.spreadnet-writing` is to be cleared away).

Without a journal nothing was moved yet. Where a file lies tells whether it was moved, so each step
can be repeated, and whoever comes next goes on where a killed process stopped.
"""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import signal
import threading
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from spreadnet.errors import OutputError
from spreadnet.outputs.folders.hold import (
    NEW,
    OWNER,
    SCRATCH,
    WRITING,
    busy,
    clear_scratch,
    give_up,
    is_closed,
    take_over,
)

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping
    from types import FrameType

RECORD = "run.json"  # first to go and last to come: a folder with it is whole
OLD = "old"
FORWARD, BACK, DONE = "forward.json", "back.json", "done.json"
STOPS = ("SIGINT", "SIGTERM", "SIGHUP", "SIGBREAK")  # that may be put off for an instant
ANOTHER = "\n\nhint: choose another folder for `--out`"


@dataclass(frozen=True, slots=True, eq=False)
class _Journal:
    """Files that go and files that come, by name: size and hash of each."""

    out: dict[str, Mapping[str, Any]]
    come: dict[str, Mapping[str, Any]]


@contextmanager
def undisturbed() -> Iterator[None]:
    """
    Put off signals that would end the process until the block is done.

    Only those that raise an exception in this thread can be put off; one that ends the process at
    once is what the journal is for.

    Yields
    ------
    None
    """
    came: list[int] = []
    handlers: dict[int, Callable[[int, FrameType | None], Any]] = {}
    try:
        if threading.current_thread() is threading.main_thread():
            for number in (getattr(signal, name) for name in STOPS if hasattr(signal, name)):
                handler = signal.getsignal(number)
                if callable(handler):
                    handlers[number] = handler
                    signal.signal(number, lambda number, _: came.append(number))
        yield
    finally:
        for number, handler in handlers.items():
            signal.signal(number, handler)
        if came:
            handlers[came[0]](came[0], None)


def facts(file: Path) -> dict[str, Any]:
    """
    What tells whether a file was changed.

    Parameters
    ----------
    file : Path
        A plain file.

    Returns
    -------
    facts : dict
        `bytes`, the size, and `sha256`.
    """
    with file.open("rb") as stream:
        digest = hashlib.file_digest(stream, "sha256").hexdigest()
    return {"bytes": file.stat().st_size, "sha256": digest}


def is_changed(file: Path, recorded: Mapping[str, Any]) -> bool:
    """
    Whether a file is no longer what was recorded of it.

    Parameters
    ----------
    file : Path
        A plain file.
    recorded : mapping
        `bytes` and `sha256`.

    Returns
    -------
    changed : bool
    """
    return file.stat().st_size != recorded["bytes"] or facts(file) != dict(recorded)


def changed_files(target: Path, names: list[str]) -> OutputError:
    """
    Error for files of an earlier result that somebody changed.

    Parameters
    ----------
    target : Path
        The folder.
    names : list of str
        The files.

    Returns
    -------
    error : OutputError
    """
    return OutputError(
        f"`{target}` holds an earlier result of which was changed since: {', '.join(names)}"
        "\n\nhint: choose a new folder, or move what you changed elsewhere; changed files are "
        "never replaced"
    )


def came_meanwhile(target: Path) -> OutputError:
    """
    Error for what was not there when the writing began.

    Parameters
    ----------
    target : Path
        A file or a folder.

    Returns
    -------
    error : OutputError
    """
    message = f"`{target}` came into being during the run, with files in it; nothing was written"
    return OutputError(message + ANOTHER)


def clear(hold: Path) -> None:
    """
    Take a hold away, or give it up where files are in it that are needed still.

    Parameters
    ----------
    hold : Path
        `.spreadnet-writing` that this process holds.
    """
    state = _state(hold)
    if state == DONE or (state is None and not _unaccounted(hold)):
        for part in (OLD, NEW):
            shutil.rmtree(hold / part, ignore_errors=True)
        if not any(os.path.lexists(hold / part) for part in (OLD, NEW)):
            with suppress(OSError):  # the mark goes last: whoever holds it clears
                for file in sorted(hold.iterdir(), key=lambda file: file.name.startswith(OWNER)):
                    file.unlink()
                hold.rmdir()
    give_up(hold)


def exchange(hold: Path, target: Path, *, held: Mapping[str, Mapping[str, Any]]) -> None:
    """
    Move earlier files out and new ones in; the other way round if anything goes wrong.

    Signals wait until all is done. `clear` must follow.

    Parameters
    ----------
    hold : Path
        What `take` made, with the new files in `new`.
    target : Path
        The folder.
    held : mapping of str to mapping
        Names of the earlier files, with size and hash of each.

    Raises
    ------
    OutputError
        If a file was changed or came meanwhile.
    OSError
        If the system refuses; what was there before is there again.
    """
    come = sorted((hold / NEW).iterdir(), key=lambda file: (file.name == RECORD, file.name))
    all_to_disk(hold / NEW)
    out = sorted(held, key=lambda name: (name != RECORD, name))
    journal = _Journal({name: held[name] for name in out}, {f.name: facts(f) for f in come})
    with undisturbed():
        draft = hold / "draft.json"
        with draft.open("wb") as stream:
            stream.write(json.dumps({"out": journal.out, "come": journal.come}).encode())
            stream.flush()
            os.fsync(stream.fileno())
        draft.rename(hold / FORWARD)
        _names_to_disk(hold)
        _go_on(hold, target, journal)


def recover(target: Path) -> str | None:
    """
    Finish or undo what killed runs left in a folder, and clear away what they left beside it.

    Parameters
    ----------
    target : Path
        A folder that a run wrote to or is to write to, or a file in it; it need not be there.

    Returns
    -------
    told : str or None
        What was done, as a sentence; None where there was nothing to do.

    Raises
    ------
    OutputError
        If files are being exchanged there by another run, or the exchange that was broken off can
        be neither finished nor undone; the message says where all files are.
    """
    if os.path.isfile(target):  # noqa: PTH113  (False also for a name that is too long)
        target = target.parent
    told = None
    with undisturbed():
        if os.path.lexists(target / WRITING):
            try:
                told = _recover_hold(target / WRITING, target)
            except OutputError:
                raise
            except OSError as error:
                raise _stuck(target, error) from error
        for place in (target, target.absolute().parent):
            if clear_scratch(place) and told is None:
                told = f"leftovers of a run that was broken off were deleted from `{place}`"
    return told


def _recover_hold(hold: Path, target: Path) -> str | None:
    """Go on where a process that is gone stopped."""
    with suppress(OSError):
        hold.rmdir()  # empty: nobody's, and nothing to tell
        return None
    if is_closed(hold) or not take_over(hold):
        if _state(hold) in (FORWARD, BACK):
            raise busy(target)  # the folder is not whole at this instant
        return None
    state, told = _state(hold), f"a run was broken off while it wrote to `{target}`: "
    try:
        if state in (FORWARD, BACK):
            told += _finish(hold, target)
        elif state == DONE or not (hold / NEW).exists():
            told += "its leftovers were deleted, the files there are whole"
        else:
            told += "what it had written was deleted, what was there before is as it was"
    finally:
        clear(hold)
    if state is None and _unaccounted(hold):
        message = f"`{hold / OLD}` may hold earlier files, of which no journal tells"
        raise OutputError(
            f"{message}\n\nhint: move them to where you want them and delete `{hold}`"
        )
    return told


def _unaccounted(hold: Path) -> bool:
    """Whether earlier files lie in a hold, as spreadnet left them before it kept a journal."""
    old = hold / OLD
    return old.is_dir() and any(old.iterdir())


def _finish(hold: Path, target: Path) -> str:
    """Forward, or back where that can't be; in words."""
    journal = _read_journal(hold)
    undone = "this was undone now, what was there before is back"
    if _state(hold) == BACK:
        _go_on(hold, target, journal)
        return undone
    try:
        _go_on(hold, target, journal)
    except OSError:
        if _state(hold) != DONE:
            raise
        return undone
    return "this was finished now, the new result is there"


def _go_on(hold: Path, target: Path, journal: _Journal) -> None:
    """Do what the journal's name says; what goes wrong on the way forward turns it back."""
    if _state(hold) == FORWARD:
        try:
            _forward(hold, target, journal)
            _decide(hold, FORWARD, DONE)
        except BaseException:
            if _state(hold) != DONE:
                _turn_back(hold, target, journal)
            raise
    else:
        _turn_back(hold, target, journal)


def _turn_back(hold: Path, target: Path, journal: _Journal) -> None:
    """Put the earlier files back; if even that fails, say where all files are."""
    try:
        if _state(hold) == FORWARD:
            _decide(hold, FORWARD, BACK)
        _back(hold, target, journal)
        _decide(hold, BACK, DONE)
    except OSError as error:
        raise _stuck(target, error) from error


def _decide(hold: Path, before: str, after: str) -> None:
    """Change what is being done, in one step, once all before it is on the disk."""
    for place in (hold.parent, hold / OLD, hold / NEW):
        _names_to_disk(place)
    (hold / before).rename(hold / after)
    _names_to_disk(hold)


def _forward(hold: Path, target: Path, journal: _Journal) -> None:
    """Earlier files out, then new ones in; files that lie where they should stay there."""
    old, new = hold / OLD, hold / NEW
    old.mkdir(exist_ok=True)
    for name in journal.out:
        if not os.path.lexists(old / name):
            (target / name).rename(old / name)
    changed = [name for name, recorded in journal.out.items() if is_changed(old / name, recorded)]
    if changed:
        raise changed_files(target, sorted(changed))
    for name in journal.come:
        if os.path.lexists(new / name):
            if os.path.lexists(target / name):
                raise came_meanwhile(target / name)
            (new / name).rename(target / name)
        elif not os.path.lexists(target / name):
            raise OutputError(f"`{target / name}` was deleted while results were exchanged")


def _back(hold: Path, target: Path, journal: _Journal) -> None:
    """New files out, then earlier ones in; what somebody changed meanwhile stays where it is."""
    old, new = hold / OLD, hold / NEW
    new.mkdir(exist_ok=True)
    for name in reversed(journal.come):
        placed = name not in journal.out or os.path.lexists(old / name)
        there = os.path.lexists(target / name) and not os.path.lexists(new / name)
        if placed and there and not is_changed(target / name, journal.come[name]):
            (target / name).rename(new / name)
    for name in reversed(journal.out):
        if os.path.lexists(old / name):
            if os.path.lexists(target / name):
                raise FileExistsError(17, f"`{target / name}` is in the way")
            (old / name).rename(target / name)


def _stuck(target: Path, error: OSError) -> OutputError:
    """Error for an exchange that went neither way."""
    hold = target / WRITING
    return OutputError(
        f"can't put the files in `{target}` in order: {error.strerror or error}\n\n"
        f"hint: nothing is lost: earlier files are in `{hold / OLD}`, new ones in `{hold / NEW}`, "
        "unless in their place; mend the cause, and the next command goes on"
    )


def _read_journal(hold: Path) -> _Journal:
    """The journal, whose names can't lead out of the folder, whoever wrote it."""
    state = _state(hold)
    try:
        read = json.loads((hold / str(state)).read_bytes())
        out, come = (
            {
                str(n): {"bytes": int(f["bytes"]), "sha256": str(f["sha256"])}
                for n, f in part.items()
            }
            for part in (read["out"], read["come"])
        )
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError) as error:
        raise OSError(f"`{hold / str(state)}` can't be read") from error
    links = any((hold / part).is_symlink() for part in (OLD, NEW))
    if links or any(_leads_out(name) for name in (*out, *come)):
        raise OSError(f"`{hold / str(state)}` was not written by spreadnet")
    return _Journal({**out}, {**come})


def _leads_out(name: str) -> bool:
    """Whether a name is none of a file right in the folder."""
    plain = Path(name).name == name and name not in ("", "..") and not {*"\\:\0"} & {*name}
    return not plain or name.startswith(SCRATCH)


def _state(hold: Path) -> str | None:
    """Name of the journal; None where there is none yet."""
    return next((name for name in (DONE, BACK, FORWARD) if os.path.lexists(hold / name)), None)


def all_to_disk(folder: Path) -> None:
    """
    Have the system write a folder's files to the disk itself, and then their names.

    Parameters
    ----------
    folder : Path
        What must be whole after a power cut too.
    """
    for file in folder.iterdir():
        with file.open("rb+") as stream:
            os.fsync(stream.fileno())
    _names_to_disk(folder)


def _names_to_disk(folder: Path) -> None:
    """Have the system write which files a folder holds; some systems do not do this."""
    with suppress(OSError):
        number = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(number)
        finally:
            os.close(number)
