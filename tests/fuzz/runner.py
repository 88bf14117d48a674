"""Many mutants through `check`, each watched for time, memory, files outside and requests."""

from __future__ import annotations

import contextlib
import json
import os
import queue
import shutil
import subprocess
import sys
import tempfile
import threading
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

from family_drivers import World, canary_lakes, make_outside
from mutants import make, write

HERE = Path(__file__).parent
MOST_SECONDS = 20.0
MOST_BYTES = 1.5e9
PATIENCE = 5.0  # seconds more before a worker is ended
START = 120.0  # seconds to begin: the folder of a bomb is written first
GOOD = ("accepted", "refused")


@dataclass(frozen=True, slots=True)
class Result:
    """What came of one mutant; `outcome` is one of `GOOD` or names the failure."""

    seed: int
    number: int
    family: str
    name: str
    detail: str
    outcome: str
    said: str
    seconds: float
    peak: int

    def __str__(self) -> str:
        return (
            f"{self.outcome}: {self.said}\n    {self.family}.{self.name}: {self.detail}\n"
            f"    python tests/fuzz {self.number} --seed {self.seed}"
        )


class Server:
    """A server on this machine that gives the canary to whoever asks, and remembers who did."""

    def __enter__(self) -> Server:
        paths: list[str] = []
        lakes = canary_lakes()

        class Answer(BaseHTTPRequestHandler):
            """Every request gets lakes with the canary."""

            def do_GET(self) -> None:
                paths.append(self.path)
                self.send_response(200)
                self.send_header("Content-Length", str(len(lakes)))
                self.end_headers()
                self.wfile.write(lakes)

            do_HEAD = do_POST = do_GET

            def log_message(self, *_: Any) -> None:
                """Nothing on the screen."""

        self.paths = paths
        self.server = ThreadingHTTPServer(("127.0.0.1", 0), Answer)
        self.url = f"http://127.0.0.1:{self.server.server_port}"
        threading.Thread(target=self.server.serve_forever, daemon=True).start()
        return self

    def __exit__(self, *_: object) -> None:
        self.server.shutdown()
        self.server.server_close()

    def asked(self, seed: int, number: int) -> list[str]:
        """Requests that one mutant had made."""
        return [path for path in list(self.paths) if f"/{seed}-{number}/" in path]


class Worker:
    """A process that checks mutants, started anew when one hangs or crashes it."""

    def __init__(self, seed: int, *, home: Path, outside: Path, url: str) -> None:
        self.seed, self.home, self.outside, self.url = seed, home, outside, url
        self.process: subprocess.Popen[str] | None = None

    def start(self) -> None:
        """Begin a process, with its answers coming into a queue."""
        words = [sys.executable, "-P", "-W", "error", str(HERE / "worker.py"), str(self.seed)]
        words += [str(self.home / "region"), str(self.outside), self.url]
        paths = [str(HERE), str(HERE.parents[1]), os.environ.get("PYTHONPATH", "")]
        self.errors = (self.home / "errors.txt").open("w")
        self.process = subprocess.Popen(
            words,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=self.errors,
            text=True,
            env={**os.environ, "PYTHONPATH": os.pathsep.join(filter(None, paths)), **ONE_THREAD},
        )
        self.answers: queue.Queue[str] = queue.Queue()
        threading.Thread(target=_collect, args=(self.process, self.answers), daemon=True).start()

    def stop(self) -> None:
        """End the process at once."""
        if self.process is not None:
            self.process.kill()
            self.process.wait()
            for stream in (self.process.stdin, self.process.stdout, self.errors):
                with contextlib.suppress(BrokenPipeError):
                    stream.close()
            self.process = None

    def check(self, number: int) -> dict[str, Any]:
        """What came of one mutant, whatever it does to the process."""
        if self.process is None:
            self.start()
        assert self.process is not None and self.process.stdin is not None
        self.process.stdin.write(f"{number}\n")
        self.process.stdin.flush()
        about = self._answer(START)
        if about is None or "outcome" in about:
            told = (self.home / "errors.txt").read_text()[-1500:]
            self.stop()
            raise RuntimeError(f"mutant {number} of seed {self.seed} can't be made: {told}")
        answer = self._answer(MOST_SECONDS + PATIENCE)
        if answer is not None:
            return answer
        alive = self.process.poll() is None
        code = self.process.poll()
        self.stop()
        outcome, said = ("hang", "ended") if alive else ("crash", f"the process ended with {code}")
        return {**about, "outcome": outcome, "said": said, "seconds": MOST_SECONDS, "peak": 0}

    def _answer(self, patience: float) -> dict[str, Any] | None:
        """The next answer, or None when it does not come."""
        try:
            line = self.answers.get(timeout=patience)
        except queue.Empty:
            return None
        found: dict[str, Any] | None = json.loads(line) if line else None
        return found


ONE_THREAD = {"OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}


def _collect(process: subprocess.Popen[str], answers: queue.Queue[str]) -> None:
    """Answers of a process as they come, and an empty one at its end."""
    assert process.stdout is not None
    for line in process.stdout:
        answers.put(line)
    answers.put("")


def run(seed: int, numbers: Sequence[int], *, workers: int = 1) -> Iterator[Result]:
    """
    What came of mutants, in the order in which they end.

    Parameters
    ----------
    seed : int
        Of the mutants.
    numbers : sequence of int
        Which of them.
    workers : int
        How many processes check them.
    """
    with tempfile.TemporaryDirectory(prefix="fuzz") as place, Server() as server:
        results: queue.Queue[Result | BaseException | None] = queue.Queue()
        waiting: queue.SimpleQueue[int] = queue.SimpleQueue()
        for number in numbers:
            waiting.put(number)

        def work(which: int) -> None:
            """Check what is waiting, until nothing is."""
            home, outside = Path(place, f"worker{which}"), Path(place, f"outside{which}")
            home.mkdir()
            outside.mkdir()
            make_outside(outside)
            worker = Worker(seed, home=home, outside=outside, url=server.url)
            try:
                while True:
                    number = waiting.get_nowait()
                    results.put(_result(seed, worker.check(number), server))
            except queue.Empty:
                pass
            except BaseException as error:  # told to the one who reads the results
                results.put(error)
            finally:
                worker.stop()
                shutil.rmtree(home, ignore_errors=True)
                results.put(None)

        with ThreadPoolExecutor(workers) as pool:
            for which in range(workers):
                pool.submit(work, which)
            ended = 0
            while ended < workers:
                found = results.get()
                if isinstance(found, BaseException):
                    raise found
                if found is None:
                    ended += 1
                else:
                    yield found


def _result(seed: int, answer: dict[str, Any], server: Server) -> Result:
    """An answer with what only this side can see."""
    asked = server.asked(seed, answer["number"])
    if asked:
        answer |= {"outcome": "request made", "said": ", ".join(asked[:3])}
    elif answer["seconds"] > MOST_SECONDS:
        answer |= {"outcome": "hang", "said": f"{answer['seconds']:.0f} s; {answer['said']}"}
    elif answer["peak"] > MOST_BYTES:
        size = answer["peak"] / 1e9
        answer |= {"outcome": "memory", "said": f"{size:.1f} GB; {answer['said']}"}
    kept = {name: answer[name] for name in Result.__slots__ if name != "seed"}
    return Result(seed=seed, **kept)


def keep(seed: int, number: int, folder: Path) -> None:
    """Write the folder of one mutant to look at it; what it points to is not there."""
    folder.mkdir(parents=True)
    world = World(folder.parent / "outside", f"http://127.0.0.1:9/{seed}-{number}")
    write(make(seed, number, world).folder, folder)


def table(results: Iterable[Result]) -> str:
    """Outcomes by family, as text."""
    counts = Counter((r.family, r.outcome) for r in results)
    families = sorted({family for family, _ in counts})
    outcomes = [*GOOD, *sorted({o for _, o in counts} - set(GOOD))]
    lines = ["family".ljust(12) + "".join(o.rjust(len(o) + 2) for o in outcomes)]
    for family in [*families, "all"]:
        row = family.ljust(12)
        for o in outcomes:
            count = sum(n for (f, p), n in counts.items() if p == o and family in (f, "all"))
            row += str(count).rjust(len(o) + 2)
        lines.append(row)
    return "\n".join(lines)
