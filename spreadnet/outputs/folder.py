"""Result folders that are either whole or not there."""

from __future__ import annotations

import shutil
import tempfile
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

from spreadnet.errors import OutputError

if TYPE_CHECKING:
    from collections.abc import Collection, Iterator


@contextmanager
def whole_folder(
    target: str | Path, *, force: bool = False, ours: Collection[str] = ()
) -> Iterator[Path]:
    """
    Folder to write into that takes its place only when all has gone well.

    Files are written beside the target under a temporary name and moved into place at the end;
    an error or an interruption leaves what was there before.

    Parameters
    ----------
    target : path
        Where the finished folder goes.
    force : bool
        Whether an earlier result may be replaced.
    ours : collection of str
        Names of files that an earlier result may hold. A folder with any other file in it is
        never replaced, whatever `force` says.

    Yields
    ------
    folder : Path
        An empty folder to write into.

    Raises
    ------
    OutputError
        If the target exists and may not be replaced, or the place can't be written to.
    """
    target = Path(target)
    refuse_if_taken(target, force=force, ours=ours)
    try:
        target.absolute().parent.mkdir(parents=True, exist_ok=True)
        staged = Path(tempfile.mkdtemp(prefix=f".{target.name}-", dir=target.absolute().parent))
    except OSError as error:
        message = f"can't write to `{target}`: {error.strerror or error}"
        raise OutputError(message) from error
    try:
        staged.chmod(0o755)
        yield staged
        _swap(staged, target)
    except OSError as error:
        if isinstance(error, OutputError):
            raise
        message = f"can't write to `{target}`: {error.strerror or error}\nNothing was written."
        raise OutputError(message) from error
    finally:
        shutil.rmtree(staged, ignore_errors=True)


def refuse_if_taken(target: str | Path, *, force: bool, ours: Collection[str]) -> None:
    """
    Stop early, before the work, where the result could not be put.

    Parameters
    ----------
    target : path
        Where the finished folder would go.
    force : bool
        Whether an earlier result may be replaced.
    ours : collection of str
        Names of files that an earlier result may hold.

    Raises
    ------
    OutputError
        If something is there that may not be replaced; the message says how to go on.
    """
    target = Path(target)
    if not target.exists():
        return
    if not target.is_dir():
        message = f"`{target}` is a file, not a folder\n\nhint: choose another name for `--out`"
        raise OutputError(message)
    held = sorted(path.name for path in target.iterdir())
    foreign = [name for name in held if name not in ours]
    if foreign:
        message = (
            f"`{target}` holds files that spreadnet did not write, such as `{foreign[0]}`\n\n"
            "hint: choose a new folder; a folder with other files is never replaced"
        )
        raise OutputError(message)
    if held and not force:
        message = f"`{target}` holds an earlier result\n\nhint: add `--force` to replace it"
        raise OutputError(message)


def _swap(staged: Path, target: Path) -> None:
    """Move the finished folder into place, keeping the old one until the new one is there."""
    if not target.exists():
        staged.rename(target)
        return
    old = Path(tempfile.mkdtemp(prefix=f".{target.name}-old-", dir=target.absolute().parent))
    kept = old / "result"
    target.rename(kept)
    try:
        staged.rename(target)
    except OSError:
        kept.rename(target)
        raise
    finally:
        shutil.rmtree(old, ignore_errors=True)
