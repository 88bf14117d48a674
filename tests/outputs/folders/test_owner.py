"""A process is told from all others, and never called gone in doubt."""

import os
import subprocess
import sys

import pytest

from spreadnet.outputs.folders import owner
from spreadnet.outputs.folders.owner import is_gone, mark, process_number

COMPUTER, BOOT, NAMESPACE, PID, START = range(5)


def other(**changed):
    """The mark of this process with parts changed."""
    parts = mark().split("-")
    for name, value in changed.items():
        parts[globals()[name]] = value
    return "-".join(parts)


@pytest.fixture(params=["linux", "elsewhere"])
def way(request, monkeypatch):
    """Both ways to ask for start times; the one by psutil works on Linux too."""
    if request.param == "elsewhere":
        monkeypatch.setattr(owner, "_start", owner._start_elsewhere)
    elif sys.platform != "linux":
        pytest.skip("asks the Linux kernel")


def test_a_process_at_work_is_not_gone(way):
    assert mark() == mark()
    assert not is_gone(mark())
    assert process_number(mark()) == os.getpid()


def test_another_process_with_the_same_number_is_not_the_one(way):
    assert is_gone(other(START="1"))


@pytest.mark.skipif(os.name == "nt", reason="no process is left to ask for there")
def test_a_process_that_ended_is_gone_also_before_its_parent_asks(way):
    code = "import sys; from spreadnet.outputs.folders import owner\n"
    code += f"owner._start = owner.{owner._start.__name__}\nprint(owner.mark(), flush=True)\n"
    child = subprocess.Popen(
        [sys.executable, "-c", code + "sys.stdin.read()"],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    )
    its = child.stdout.readline().strip()
    assert process_number(its) == child.pid
    assert not is_gone(its)
    child.kill()
    os.waitid(os.P_PID, child.pid, os.WEXITED | os.WNOWAIT)  # ended, not asked for yet
    assert is_gone(its)
    child.communicate()
    assert is_gone(its)


def test_who_can_not_be_seen_from_here_is_not_called_gone():
    ended = str(owner.LARGEST_PID)
    assert is_gone(other(PID=ended))
    assert not is_gone(other(PID=ended, COMPUTER="01234567"))  # a disk shared by computers
    assert not is_gone(other(PID=ended, NAMESPACE="01234567"))  # a disk shared by containers
    assert not is_gone(other(PID=ended, COMPUTER="01234567", BOOT="01234567"))
    assert process_number(other(COMPUTER="01234567")) is None


def test_all_processes_from_before_the_computer_started_are_gone():
    if owner._boot() == owner.UNKNOWN:
        pytest.skip("this system does not tell when it started")
    assert is_gone(other(BOOT="01234567"))
    assert not is_gone(other(BOOT=owner.UNKNOWN, PID=str(os.getppid())))


@pytest.mark.parametrize("start", [owner.UNKNOWN, "77"])
def test_where_start_times_are_not_told_a_number_in_use_is_not_gone(monkeypatch, start):
    monkeypatch.setattr(owner, "_start", lambda pid: owner.UNKNOWN)
    assert not is_gone(other(START=start))


@pytest.mark.parametrize("pid", ["0x1", "-1", "²", "9" * 10, "9" * 5000, "", "1.5"])
def test_what_is_no_mark_is_not_called_gone(pid):
    assert not is_gone(other(PID=pid))
    assert not is_gone(pid)
