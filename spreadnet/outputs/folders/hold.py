"""Who may write to a folder: one process at a time, and none that is gone stands in the way."""

from __future__ import annotations

import os
import secrets
import shutil
from contextlib import suppress
from pathlib import Path

from spreadnet.errors import OutputError
from spreadnet.outputs.folders.owner import is_gone, mark, process_number

SCRATCH = ".spreadnet-"
WRITING = f"{SCRATCH}writing"  # in a folder while a run writes there
NEW = "new"
OWNER, RELEASED = "owner-", "owner-none"


def scratch(place: Path) -> Path:
    """
    Make a folder to work in, whose name says which process may still need it.

    Parameters
    ----------
    place : Path
        Where to make it.

    Returns
    -------
    folder : Path
        With an empty folder `new` in it.
    """
    folder = place / f"{SCRATCH}{mark()}-{secrets.token_hex(3)}"
    folder.mkdir()
    (folder / NEW).mkdir()
    return folder


def take(target: Path) -> Path:
    """
    Hold a folder for this process.

    The hold gets its name with the owner's mark in it already: giving a folder the name of another
    succeeds only where there is none, or an empty one.

    Parameters
    ----------
    target : Path
        A folder that is there.

    Returns
    -------
    hold : Path
        `.spreadnet-writing` in it, with an empty folder `new`.

    Raises
    ------
    OutputError
        If another process holds it.
    """
    hold = target / WRITING
    made = scratch(target)
    try:
        (made / f"{OWNER}{mark()}").touch()
        if os.name == "nt":  # where a name that is taken is never given, not even an empty folder's
            with suppress(OSError):
                hold.rmdir()
        made.rename(hold)
    except OSError:
        if os.path.lexists(hold):
            raise busy(target) from None
        raise
    finally:
        shutil.rmtree(made, ignore_errors=True)
    return hold


def take_over(hold: Path) -> bool:
    """
    Hold for this process what one that is gone held.

    Parameters
    ----------
    hold : Path
        `.spreadnet-writing` in a folder.

    Returns
    -------
    taken : bool
        False if its process may be at work still, or another one was quicker.
    """
    mine = hold / f"{OWNER}{mark()}"
    try:
        if not _owners(hold):  # deleted by hand
            (hold / RELEASED).touch()
        before = _owners(hold)
        if not all(_given_up(name) for name in before):
            return False
        (hold / before[0]).rename(mine)  # of two who try this, one finds the old name gone
        for name in before[1:]:
            (hold / name).unlink(missing_ok=True)
        if _owners(hold) == [mine.name]:
            return True
        mine.unlink()
    except (FileNotFoundError, IndexError):
        pass
    return False


def give_up(hold: Path) -> None:
    """
    Leave a hold, with what is in it, to whoever comes next.

    Parameters
    ----------
    hold : Path
        `.spreadnet-writing` that this process holds.
    """
    with suppress(OSError):
        (hold / f"{OWNER}{mark()}").rename(hold / RELEASED)


def is_closed(hold: Path) -> bool:
    """
    Whether this user can't look into a hold, or something else has its name.

    Parameters
    ----------
    hold : Path
        `.spreadnet-writing` in a folder.

    Returns
    -------
    closed : bool
    """
    return (
        hold.is_symlink() or not hold.is_dir() or not os.access(hold, os.R_OK | os.W_OK | os.X_OK)
    )


def clear_scratch(place: Path) -> bool:
    """
    Delete working folders of processes that are gone.

    Parameters
    ----------
    place : Path
        Where they would be; it need not be there.

    Returns
    -------
    found : bool
        Whether there were any.
    """
    found = False
    with suppress(OSError, ValueError), os.scandir(place) as entries:
        for entry in entries:
            name = entry.name.removeprefix(SCRATCH)
            if name == entry.name or not entry.is_dir(follow_symlinks=False):
                continue
            if is_gone(name.rpartition("-")[0]):
                shutil.rmtree(entry.path, ignore_errors=True)
                found |= not os.path.lexists(entry.path)
    return found


def busy(target: Path) -> OutputError:
    """
    Error for a folder that another run holds.

    Parameters
    ----------
    target : Path
        The folder.

    Returns
    -------
    error : OutputError
        Which process it is, or what to do where that can't be told from here.
    """
    hold = target / WRITING
    owners = [] if is_closed(hold) else _owners(hold)
    numbers = [process_number(name.removeprefix(OWNER)) for name in owners]
    if owners and None not in numbers:
        return OutputError(
            f"another run is writing to `{target}`, process {numbers[0]} on this computer; nothing "
            "was written\n\nhint: wait for it"
        )
    mend = f"delete `{hold / owners[0]}`" if owners else f"ask whose `{hold}` is"
    return OutputError(
        f"another run is writing to `{target}`, or was broken off while it did, on another "
        f"computer or as another user; nothing was written\n\nhint: wait for it; if there is none, "
        f"{mend}, and the next command puts the folder in order"
    )


def _owners(hold: Path) -> list[str]:
    """Marks in a hold: one, but for the instant in which two processes want to take it over."""
    return sorted(file.name for file in hold.iterdir() if file.name.startswith(OWNER))


def _given_up(name: str) -> bool:
    """Whether the owner gave a hold up or is gone."""
    return name == RELEASED or is_gone(name.removeprefix(OWNER))
