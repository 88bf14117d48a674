"""A mark that tells one process from all others, also from later ones with its number."""

from __future__ import annotations

import hashlib
import os
import platform
import sys
from pathlib import Path

ENDED, UNKNOWN = "ended", "unknown"  # in place of a start time
LARGEST_PID = 2**31 - 1


def mark() -> str:
    """
    Mark of this process, fit to be a part of a file's name.

    Returns
    -------
    mark : str
        Computer (hashed, so that a folder passed on tells no name), time since which it is up
        (hashed), process namespace, process number and start time, with hyphens between.
    """
    pid = os.getpid()
    return "-".join((_computer(), _boot(), _namespace(), str(pid), _start(pid)))


def process_number(other: str) -> int | None:
    """
    Number of the process that a mark is of, if that process could be seen from here.

    Parameters
    ----------
    other : str
        A mark, or any text.

    Returns
    -------
    pid : int or None
        None for a process of another computer, of another container, or for what is no mark.
    """
    parts = other.split("-")
    if len(parts) != 5 or parts[:3] != [_computer(), _boot(), _namespace()]:
        return None
    plain = parts[3].isdecimal() and len(parts[3]) < 11
    return int(parts[3]) if plain and int(parts[3]) <= LARGEST_PID else None


def is_gone(other: str) -> bool:
    """
    Whether the process that a mark is of has ended for certain.

    Parameters
    ----------
    other : str
        A mark, or any text.

    Returns
    -------
    gone : bool
        False in any doubt: a process of another computer (on a shared disk) or of another
        container can't be seen from here, and where start times can't be read, a process with
        that number may be the one.

    Examples
    --------
    >>> is_gone(mark()), is_gone("no mark")
    (False, False)
    """
    parts = other.split("-")
    if len(parts) == 5 and parts[0] == _computer():
        boots = {parts[1], _boot()}
        if len(boots) == 2 and UNKNOWN not in boots:
            return True  # this computer was started anew since
    pid = process_number(other)
    if pid is None:
        return False
    now = _start(pid)
    return now == ENDED or (UNKNOWN not in (now, parts[4]) and now != parts[4])


def _short(text: str) -> str:
    """Eight letters that stand for a text."""
    return hashlib.sha256(text.encode()).hexdigest()[:8]


def _read(file: str) -> str:
    """Text of a file of the system, empty where there is none."""
    try:
        return Path(file).read_bytes().decode(errors="replace").strip()
    except OSError:
        return ""


def _computer() -> str:
    """What tells this computer from others that may share a disk with it."""
    return _short(f"{platform.node()} {_read('/etc/machine-id')}")


def _boot() -> str:
    """What changes whenever this computer starts."""
    boot = _read("/proc/sys/kernel/random/boot_id")
    return _short(boot) if boot else UNKNOWN


def _namespace() -> str:
    """What tells containers apart, each of which numbers its processes on its own."""
    try:
        return _short(str(Path("/proc/self/ns/pid").readlink()))
    except OSError:
        return UNKNOWN


def _start(pid: int) -> str:
    """When a process began, `ENDED` if there is none, `UNKNOWN` if the system does not tell."""
    return _start_on_linux(pid) if sys.platform == "linux" else _start_elsewhere(pid)


def _start_on_linux(pid: int) -> str:
    """In ticks since the computer started, which no setting of the clock changes (`man proc`)."""
    fields = _read(f"/proc/{pid}/stat").rpartition(")")[2].split()
    if fields:
        return ENDED if fields[0] in "ZXx" else fields[19]
    try:
        os.kill(pid, 0)  # only asks: /proc may hide what others run
    except ProcessLookupError:
        return ENDED
    except OSError:
        return UNKNOWN
    return UNKNOWN


def _start_elsewhere(pid: int) -> str:
    """In milliseconds, as the system noted when the process began."""
    import psutil  # comes with spreadnet on systems other than Linux

    try:
        process = psutil.Process(pid)
        if process.status() == psutil.STATUS_ZOMBIE:
            return ENDED
        return str(round(process.create_time() * 1000))
    except psutil.NoSuchProcess:
        return ENDED
    except psutil.Error:
        return UNKNOWN
