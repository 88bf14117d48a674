"""A Dask cluster that is lost, stuck or another than it should be ends a run, in words, in time."""

import os
import signal
import socket
import subprocess
import sys
import threading
import time
from contextlib import contextmanager
from pathlib import Path

import pytest

import spreadnet
from spreadnet.cli import main
from spreadnet.decisions.draws import cluster, parallel
from spreadnet.decisions.draws.parallel import in_order
from spreadnet.errors import WorkerError

DASK = [sys.executable, "-m", "dask"]
QUIET = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
# A worker on a machine where spreadnet was never installed.
WITHOUT = """
import importlib.metadata, sys
sys.modules["spreadnet"] = None
found = importlib.metadata.Distribution.from_name
def from_name(name):
    if name == "spreadnet":
        raise importlib.metadata.PackageNotFoundError(name)
    return found(name)
importlib.metadata.Distribution.from_name = from_name
from dask.__main__ import main
sys.argv = ["dask", *sys.argv[1:]]
main()
"""


def wait(true, *, seconds=40.0):
    end = time.monotonic() + seconds
    while not true():
        assert time.monotonic() < end, "the cluster did not start"
        time.sleep(0.05)


@pytest.fixture
def started():
    """Start processes that are killed afterwards, stopped ones too."""
    processes = []

    def start(*command, **environment):
        paths = [environment.get("PYTHONPATH"), str(Path(__file__).parent), *sys.path]
        environment |= {"PYTHONPATH": os.pathsep.join(filter(None, paths))}
        # Not where the tests run: what installing leaves there would come before PYTHONPATH.
        where = Path(__file__).parent
        process = subprocess.Popen(command, cwd=where, env=os.environ | environment, **QUIET)
        processes.append(process)
        return process

    yield start
    for process in processes:
        process.kill()
        process.wait()


def free_port():
    with socket.socket() as found:
        found.bind(("127.0.0.1", 0))
        return found.getsockname()[1]


def answers(port):
    with socket.socket() as asked:
        return asked.connect_ex(("127.0.0.1", port)) == 0


@pytest.fixture
def scheduler(started):
    """A scheduler's process and address, once it listens."""
    port = free_port()
    where = ["--host", "127.0.0.1", "--port", str(port)]
    process = started(*DASK, "scheduler", *where, "--no-dashboard")
    wait(lambda: answers(port))
    return process, f"tcp://127.0.0.1:{port}"


@pytest.fixture
def add_worker(started, scheduler):
    """Start a worker of the scheduler and wait until it is there."""
    from distributed import Client

    def add(*, command=DASK, threads=1, **environment):
        options = ["--nthreads", str(threads), "--no-nanny", "--no-dashboard"]
        with Client(scheduler[1], set_as_default=False) as client:
            before = len(client.nthreads())
            process = started(*command, "worker", scheduler[1], *options, **environment)
            wait(lambda: len(client.nthreads()) > before)
        return process

    return add


def slow(_shared, number):
    time.sleep(0.0 if number == 0 else 0.5)
    return number


def dies(_shared, number):
    if number:
        os._exit(9)
    return number


@contextmanager
def after(seconds, act):
    timer = threading.Timer(seconds, act)
    timer.start()
    yield
    timer.join()


@pytest.fixture
def soon(monkeypatch):
    """Everything is given out at once, one number at a time, and given up soon."""
    monkeypatch.setattr(parallel, "CHUNK_S", 0.0)
    monkeypatch.setattr(cluster, "LOOK_S", 0.2)
    monkeypatch.setattr(cluster, "LOST_S", 6.0)
    monkeypatch.setattr(cluster, "CONNECT_S", 6.0)


def run_until(address, act, *, at=1.5):
    """Draw on the cluster, act on the way, and return what was said and after how long."""
    began = time.monotonic()
    with pytest.raises(WorkerError) as raised:
        with cluster.on_scheduler(address), after(at, act):
            list(in_order(slow, None, range(200), workers=None))
    return str(raised.value), time.monotonic() - began


def test_the_error_is_a_public_name():
    assert spreadnet.WorkerError is WorkerError
    assert issubclass(WorkerError, spreadnet.SpreadnetError)


@pytest.mark.slow
def test_a_scheduler_killed_on_the_way_is_said_at_once(scheduler, add_worker, soon, capfd):
    add_worker()
    said, seconds = run_until(scheduler[1], scheduler[0].kill)
    assert "was lost: it ended or can't be reached" in said
    assert "start it and its workers again" in said and "leave `--scheduler` out" in said
    assert seconds < 15
    assert capfd.readouterr() == ("", "")


@pytest.mark.slow
def test_the_only_worker_dead_is_said_and_not_waited_for(scheduler, add_worker, soon, capfd):
    worker = add_worker()
    said, seconds = run_until(scheduler[1], worker.kill)
    assert "has had no workers for 6 s" in said and "start workers" in said
    assert seconds < 15
    assert capfd.readouterr() == ("", "")


@pytest.mark.slow
def test_one_worker_of_two_dead_changes_nothing(scheduler, add_worker, soon):
    add_worker()
    worker = add_worker()
    with cluster.on_scheduler(scheduler[1]), after(0.7, worker.kill):
        assert list(in_order(slow, None, range(12), workers=None)) == list(range(12))


@pytest.mark.slow
@pytest.mark.parametrize("who", ["scheduler", "worker"])
def test_a_process_that_hangs_is_given_up(scheduler, add_worker, soon, monkeypatch, who):
    worker = add_worker()
    monkeypatch.setattr(cluster, "STALL_S", 3.0)
    monkeypatch.setattr(cluster, "SLOWEST", 1.0)
    process = {"scheduler": scheduler[0], "worker": worker}[who]
    said, seconds = run_until(scheduler[1], lambda: process.send_signal(signal.SIGSTOP))
    assert ("was lost" if who == "scheduler" else "no result came from") in said
    assert seconds < 25


@pytest.mark.slow
def test_a_draw_that_ends_every_worker_is_said(scheduler, started, soon, capfd):
    started(*DASK, "worker", scheduler[1], "--nthreads", "1", "--no-dashboard")
    from distributed import Client

    with Client(scheduler[1], set_as_default=False) as client:
        client.wait_for_workers(1, timeout=40)
    with pytest.raises(WorkerError, match="again and again .* memory|has had no workers"):
        with cluster.on_scheduler(scheduler[1]):
            list(in_order(dies, None, range(4), workers=None))


@pytest.mark.slow
def test_workers_of_another_version_are_refused_by_name(scheduler, add_worker, tmp_path):
    other = tmp_path / "spreadnet-99.0.dist-info"
    other.mkdir()
    (other / "METADATA").write_text("Metadata-Version: 2.1\nName: spreadnet\nVersion: 99.0\n")
    add_worker(PYTHONPATH=str(tmp_path))
    with pytest.raises(WorkerError, match=r"spreadnet 99\.0 \(here [\d.]+\)[\s\S]*same ones"):
        with cluster.on_scheduler(scheduler[1]):
            pytest.fail("must not begin")


@pytest.mark.slow
def test_workers_without_spreadnet_are_refused(scheduler, add_worker):
    add_worker(command=[sys.executable, "-c", WITHOUT])
    with pytest.raises(WorkerError, match="spreadnet not installed"):
        with cluster.on_scheduler(scheduler[1]):
            pytest.fail("must not begin")


@pytest.mark.slow
def test_a_worker_without_spreadnet_that_joins_later_changes_nothing(scheduler, add_worker, soon):
    add_worker(threads=4)
    with cluster.on_scheduler(scheduler[1]):
        add_worker(command=[sys.executable, "-c", WITHOUT], threads=8)
        assert list(in_order(slow, None, range(20), workers=None)) == list(range(20))


@pytest.mark.slow
def test_a_worker_that_hangs_from_the_start_is_said(scheduler, add_worker, soon):
    add_worker().send_signal(signal.SIGSTOP)
    with pytest.raises(WorkerError, match="did not answer for 6 s"):
        with cluster.on_scheduler(scheduler[1]):
            pytest.fail("must not begin")


@pytest.mark.slow
def test_the_address_of_a_worker_is_told_from_that_of_a_scheduler(scheduler, add_worker, soon):
    from distributed import Client

    add_worker()
    with Client(scheduler[1], set_as_default=False) as client:
        worker = next(iter(client.nthreads()))
    with pytest.raises(WorkerError, match="is the address of a worker, not of a Dask scheduler"):
        with cluster.on_scheduler(worker):
            pytest.fail("must not begin")


@pytest.mark.slow
def test_a_scheduler_without_workers_is_refused(scheduler):
    with pytest.raises(WorkerError, match="has no workers"):
        with cluster.on_scheduler(scheduler[1]):
            pytest.fail("must not begin")


@pytest.mark.parametrize(
    "address", ["tcp://127.0.0.1:9", "127.0.0.1:9", "nowhere", "carrier://a:1"]
)
def test_an_address_where_nothing_listens_is_said(soon, capfd, address):
    began = time.monotonic()
    with pytest.raises(WorkerError, match=f"no Dask scheduler answers at `{address}`"):
        with cluster.on_scheduler(address):
            pytest.fail("must not begin")
    assert time.monotonic() - began < 10
    assert capfd.readouterr() == ("", "")


def test_an_address_that_needs_certificates_says_where_they_go(soon, capfd):
    with pytest.raises(WorkerError, match=r"certificates[\s\S]*`distributed.comm.tls`"):
        with cluster.on_scheduler("tls://127.0.0.1:9"):
            pytest.fail("must not begin")
    assert capfd.readouterr() == ("", "")


@pytest.mark.parametrize("reply", [b"", b"HTTP/1.0 400 Bad Request\r\n\r\n"])
def test_something_else_that_listens_is_no_scheduler(soon, capfd, reply):
    def serve():
        with listener.accept()[0] as one:
            one.sendall(reply)
            done.wait(20)

    done = threading.Event()
    with socket.create_server(("127.0.0.1", 0)) as listener:
        thread = threading.Thread(target=serve)
        thread.start()
        try:
            with pytest.raises(WorkerError, match="no Dask scheduler answers"):
                with cluster.on_scheduler(f"tcp://127.0.0.1:{listener.getsockname()[1]}"):
                    pytest.fail("must not begin")
        finally:
            done.set()
            thread.join()
    assert capfd.readouterr() == ("", "")


def test_the_command_says_it_in_words_and_writes_nothing(soon, tmp_path, capfd):
    out = tmp_path / "out"
    address = f"tcp://127.0.0.1:{free_port()}"
    words = ["run", "demo_region", "--draws", "2", "--scheduler", address, "--out", str(out)]
    assert main(words) == 1
    told = capfd.readouterr().err
    assert f"error: no Dask scheduler answers at `{address}`" in told
    assert "nothing was written" in told and "Traceback" not in told
    assert not out.exists()
