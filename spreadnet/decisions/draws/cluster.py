"""A Dask cluster that works out draws, watched: what is lost is said and never waited for."""

from __future__ import annotations

import asyncio
import logging
import warnings
from concurrent.futures import CancelledError, Future
from contextlib import contextmanager, suppress
from functools import partial
from importlib.metadata import version
from pickle import PickleError
from threading import Thread
from time import monotonic
from typing import TYPE_CHECKING, Any

from joblib import parallel_config
from joblib.parallel import ParallelBackendBase

from spreadnet.errors import WorkerError

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from distributed import Client

CONNECT_S = 10.0  # how long an answer of a scheduler is waited for
LOOK_S = 2.0  # between two looks at the cluster
LOST_S = 30.0  # without any worker, or without an answer, until the cluster is given up
STALL_S = 600.0  # without any result; Dask itself gives a silent worker up after half of that
SLOWEST = 10.0  # how many times longer than the slowest so far a result may take
ALIKE = ("spreadnet", "numpy", "scipy", "pandas")  # other versions of these give other numbers
SHOWN = 20
HERE = "or leave `--scheduler` out to use the processors of this machine"


@contextmanager
def on_scheduler(address: str) -> Iterator[None]:
    """
    Work draws out on the machines of a Dask cluster.

    The cluster is looked at every few seconds. It is given up at once when the scheduler ends,
    after `LOST_S` without any worker or answer, and after `STALL_S` without any result.

    Parameters
    ----------
    address : str
        Of the scheduler, as it prints it, e.g. `tcp://10.0.0.5:8786`.

    Yields
    ------
    nothing
        While it lasts, `workers=None` means the cluster.

    Raises
    ------
    WorkerError
        If the extra `cluster` is not installed, the scheduler does not answer or has no workers,
        these have other versions, or the cluster is lost on the way.
    """
    with _quiet(), _connected(address) as client:
        _refuse_others(client, address)
        with parallel_config(backend=ClusterBackend(client=client, address=address)):
            yield


class ClusterBackend(ParallelBackendBase):
    """
    What joblib hands work to: one future a batch, each of which ends whatever happens.

    joblib's own backend for Dask waits for ever once the last worker is gone, and works
    everything out here where there is one processor only.
    """

    supports_retrieve_callback = True

    def __init__(self, *, client: Client, address: str) -> None:
        """Keep the connection; `address` is for messages."""
        super().__init__()
        self._client, self._address = client, address
        self._loop: Any = client.loop
        self._waiting: dict[Future[Any], float] = {}  # with the moment each was handed out
        self._heard = monotonic()
        self._slowest_s = 0.0
        self._call = 0

    def effective_n_jobs(self, n_jobs: int) -> int:
        """Processors of the cluster; at least two, since joblib takes one for this process."""
        del n_jobs
        return max(2, sum(_asked(self._address, self._client.nthreads).values()))

    def start_call(self) -> None:
        """Begin to look after the cluster."""
        self._call += 1
        self._loop.add_callback(self._watch, self._call)

    def stop_call(self) -> None:
        """Look no longer."""
        self._call += 1
        self._waiting.clear()

    def submit(
        self, func: Callable[[], Any], callback: Callable[..., Any] | None = None
    ) -> Future[Any]:
        """Hand a batch out; the callback is called once it is done or lost."""
        outcome: Future[Any] = Future()
        if callback is not None:
            outcome.add_done_callback(callback)
        now = monotonic()
        if not self._waiting:
            self._heard = now
        self._waiting[outcome] = now
        self._loop.add_callback(self._work_out, func, outcome)
        return outcome

    def retrieve_result_callback(self, out: Future[Any]) -> Any:
        """Result of a batch, or what went wrong in words."""
        return out.result()

    async def _work_out(self, func: Callable[[], Any], outcome: Future[Any]) -> None:
        """Send one batch and wait for what it gives; nothing may leave the outcome open."""
        try:
            task = self._client.submit(func, pure=False)
            result = await self._client.gather(task, asynchronous=True)
        except BaseException as error:
            self._end(outcome, error=_in_words(error, self._address))
        else:
            self._end(outcome, result=result)

    def _end(
        self, outcome: Future[Any], *, result: Any = None, error: BaseException | None = None
    ) -> None:
        """Settle one batch, once."""
        began = self._waiting.pop(outcome, None)
        if began is None:
            return
        self._heard = monotonic()
        self._slowest_s = max(self._slowest_s, self._heard - began)
        if error is not None:
            outcome.set_exception(error)
        else:
            outcome.set_result(result)

    async def _watch(self, call: int) -> None:
        """Look at the cluster while a call lasts; end all that waits once it is lost."""
        answered = manned = monotonic()
        while self._call == call:
            await asyncio.sleep(LOOK_S)
            with suppress(OSError, asyncio.TimeoutError):
                threads = await asyncio.wait_for(
                    self._client.nthreads(asynchronous=True), CONNECT_S
                )
                answered = monotonic()
                manned = answered if threads else manned
            trouble = self._trouble(answered=answered, manned=manned)
            if trouble is not None and self._call == call:
                for outcome in tuple(self._waiting):
                    self._end(outcome, error=trouble)
                return

    def _trouble(self, *, answered: float, manned: float) -> WorkerError | None:
        """What makes it pointless to wait any longer, if anything does."""
        now = monotonic()
        if now - answered > LOST_S:
            return _lost_scheduler(self._address)
        if now - manned > LOST_S:
            return _error(
                f"the Dask scheduler at `{self._address}` has had no workers for {LOST_S:.0f} s: "
                "they were ended, ran out of memory, can't be reached or can't load spreadnet",
                hint="start workers and run this again",
            )
        patience = max(STALL_S, SLOWEST * self._slowest_s)
        if self._waiting and now - self._heard > patience:
            return _error(
                f"no result came from the Dask cluster at `{self._address}` for {patience:.0f} s",
                hint="see what its workers are doing, start them again and run this again",
            )
        return None


@contextmanager
def _connected(address: str) -> Iterator[Client]:
    """Connection to the scheduler, made and closed in bounded time."""
    try:
        from distributed import Client
    except ImportError as error:
        message = "a scheduler needs the extra `cluster`\n\nhint: pip install 'spreadnet[cluster]'"
        raise WorkerError(message) from error
    try:
        kind = _within(2 * CONNECT_S, lambda: asyncio.run(_kind(address)))
        if kind == "Scheduler":
            client = Client(address, timeout=CONNECT_S, set_as_default=False)
    except Exception as error:  # an address may lead to anything, which may answer anything
        raise _no_scheduler(address) from error
    if kind != "Scheduler":
        message = f"`{address}` is the address of a {kind.lower()}, not of a Dask scheduler"
        raise _error(message, hint="copy the one that `dask scheduler` prints")
    try:
        yield client
    finally:
        with suppress(OSError, asyncio.TimeoutError):
            client.close(timeout=CONNECT_S)


async def _kind(address: str) -> str:
    """What the process at an address says it is; distributed's client has no limit of time."""
    from distributed import rpc
    from distributed.security import Security

    async def asked() -> str:
        options = Security().get_connection_args("client")
        async with rpc(address, connection_args=options) as other:
            return str((await other.identity())["type"])

    return await asyncio.wait_for(asked(), CONNECT_S)


@contextmanager
def _quiet() -> Iterator[None]:
    """Keep what Dask logs and warns of from the screen: all that matters is said in errors."""
    before = logging.root.manager.disable
    logging.disable(logging.CRITICAL)
    try:
        with warnings.catch_warnings():
            warnings.filterwarnings("ignore", module=r"(distributed|dask|tornado)\b")
            warnings.filterwarnings("ignore", message="Sending large graph")
            yield
    finally:
        logging.disable(before)


def _refuse_others(client: Client, address: str) -> None:
    """Refuse a cluster whose machines would work with other versions, naming them all."""
    here = {name: version(name) for name in ALIKE}
    machines: dict[str, dict[str, str]] = {}
    for name in ALIKE:
        found = _asked(address, partial(client.run, version, name, on_error="return"))
        for machine, answer in found.items():
            machines.setdefault(machine, {})[name] = (
                answer if isinstance(answer, str) else "not installed"
            )
    if not machines:
        raise _error(f"the Dask scheduler at `{address}` has no workers", hint="start some")
    others = [
        f"{machine}: {name} {has} (here {here[name]})"
        for machine, versions in machines.items()
        for name, has in versions.items()
        if has != here[name]
    ]
    if others:
        raise _error(
            "workers of the Dask cluster have other versions than this machine, which could give "
            "other numbers:\n  " + "\n  ".join(others[:SHOWN]) + _more(len(others) - SHOWN),
            hint="install the same ones there and start the workers again",
        )


def _more(count: int) -> str:
    """How many more there are, if any."""
    return f"\n  ... and {count} more" if count > 0 else ""


def _within(seconds: float, question: Callable[[], Any]) -> Any:
    """Answer to a question that might never be answered; then it is left to itself."""
    answer: Future[Any] = Future()

    def ask() -> None:
        try:
            answer.set_result(question())
        except BaseException as error:
            answer.set_exception(error)

    Thread(target=ask, daemon=True).start()
    return answer.result(seconds)


def _asked(address: str, question: Callable[[], dict[str, Any]]) -> dict[str, Any]:
    """Answers of the cluster by machine."""
    try:
        answers: dict[str, Any] = _within(LOST_S, question)
    except TimeoutError as error:
        raise _error(
            f"the Dask cluster at `{address}` did not answer for {LOST_S:.0f} s",
            hint="start its scheduler and workers again and run this again",
        ) from error
    except Exception as error:
        raise _lost_scheduler(address) from error
    return answers


def _no_scheduler(address: str) -> WorkerError:
    """Nothing at the address answers as a scheduler does."""
    if address.startswith("tls:"):
        return _error(
            f"no Dask scheduler answers at `{address}` with the certificates that Dask's own "
            "settings name here",
            hint="set `distributed.comm.tls` in them to the files that the scheduler uses",
        )
    return _error(
        f"no Dask scheduler answers at `{address}`",
        hint="start one with `dask scheduler` and copy the address it prints",
    )


def _in_words(error: BaseException, address: str) -> BaseException:
    """The error itself where the work raised it; else what became of the cluster."""
    from distributed import KilledWorker

    if isinstance(error, (asyncio.CancelledError, CancelledError, OSError)):
        return _lost_scheduler(address)
    if isinstance(error, KilledWorker):
        return _error(
            f"workers of the Dask cluster at `{address}` were ended again and again while they "
            "worked out a draw, most likely because memory ran out",
            hint="start workers with more memory each",
        )
    if isinstance(error, (ImportError, PickleError)) or "deserialization" in str(error):
        return _error(
            f"a machine of the Dask cluster at `{address}` can't load what it is to work out",
            hint="install the same version of spreadnet on every one, the scheduler's too",
        )
    return error


def _lost_scheduler(address: str) -> WorkerError:
    """The scheduler is gone."""
    return _error(
        f"the Dask scheduler at `{address}` was lost: it ended or can't be reached any more",
        hint="start it and its workers again and run this again",
    )


def _error(what: str, *, hint: str) -> WorkerError:
    """What happened and what to do about it."""
    return WorkerError(f"{what}\n\nhint: {hint}, {HERE}")
