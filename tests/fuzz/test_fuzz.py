"""Nothing gets in: mutants of a good region are refused in words, or mean what they say."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from base_region import base_folder
from family_drivers import World
from judge import ACCEPT, REFUSE, Right, baseline, canonical, judged
from mutants import FAMILIES, make, write
from oracle import readings
from runner import GOOD, Worker, run
from worker import Watch
from written import rendered

from spreadnet.evidence.read import check_region

SEED = 1
BATCH = 100
WORLD = World(Path("outside"), "http://127.0.0.1:9")


@pytest.mark.slow
@pytest.mark.parametrize("first", range(0, 4 * BATCH, BATCH))
def test_no_mutant_breaks_the_check_or_gets_in_with_another_meaning(first: int) -> None:
    """No traceback, hang or memory above the limit; nothing read outside; no meaning changed."""
    results = list(run(SEED, range(first, first + BATCH), workers=2))
    assert len(results) == BATCH
    failed = [str(result) for result in results if result.outcome not in GOOD]
    assert not failed, "\n".join([f"{len(failed)} of {BATCH} mutants:", *failed])


# the fuzzer itself


def test_a_mutant_is_the_same_for_its_seed_and_number() -> None:
    for number in range(0, 60):
        one, other = (make(3, number, WORLD) for _ in range(2))
        assert (one.family, one.name, one.detail) == (other.family, other.name, other.detail)
        files, again = rendered(one.folder), rendered(other.folder)
        assert files.keys() == again.keys()
        for name in files:
            if name.endswith((".csv", ".toml", "json", ".txt")):  # GDAL writes the hour it is
                assert files[name] == again[name]


def test_every_family_has_its_share() -> None:
    found = {make(4, number, WORLD).family for number in range(99)}
    assert found == set(FAMILIES) - {"bombs"}


def test_a_cell_that_changed_its_meaning_is_seen(tmp_path: Path) -> None:
    write(base_folder().with_cell("lakes", 1, "area_ha", "86"), tmp_path)
    problems, region = check_region(tmp_path)
    assert judged(base_folder(), ACCEPT, problems, region)[0] == "meaning changed"
    assert judged(base_folder(), REFUSE, problems, region)[0] == "meaning changed"
    said = replace(ACCEPT, cells={("lakes", 1, "area_ha"): (86.0,)})
    assert judged(base_folder(), said, problems, region)[0] == "accepted"
    told = Right("free", secrets=("South ramp",))
    assert judged(base_folder(), told, problems, region)[0] == "secret told"
    assert canonical(region).keys() == baseline(0, outlines=False).keys()


def test_a_good_folder_that_is_refused_is_seen(tmp_path: Path) -> None:
    write(base_folder().with_cell("lakes", 1, "area_ha", "12,5"), tmp_path)
    problems, region = check_region(tmp_path)
    assert judged(base_folder(), ACCEPT, problems, region)[0] == "good refused"
    assert judged(base_folder(), REFUSE, problems, region)[0] == "refused"


@pytest.mark.parametrize(
    ("place", "text", "values"),
    [
        (("lakes", 1, "area_ha"), "1,234.5", (1234.5,)),
        (("lakes", 1, "area_ha"), "12,5", ()),
        (("lakes", 1, "longitude"), "1,234", ()),
        (("visits", 0, "start"), "7:30 PM", (19.5,)),
        (("visits", 0, "start"), "noon", ()),
        (("visits", 0, "date"), "today", ()),
        (("contacts", 0, "plug"), "Not_Checked", (None,)),
        (("contacts", 0, "last_water"), "1", ()),
        (("contacts", 1, "last_water"), "nan", ()),
        (("landings", 0, "lake_id"), "1", ()),
        (("landings", 0, "can_staff"), "", (True,)),
    ],
)
def test_the_oracle_reads_as_a_person_would(
    place: tuple[str, int, str], text: str, values: tuple[object, ...]
) -> None:
    assert readings(base_folder(), *place, text) == values


def test_a_file_that_is_opened_is_seen(tmp_path: Path) -> None:
    (tmp_path / "secret.txt").write_text("x")
    watch = Watch(tmp_path)
    if watch.handle < 0:
        pytest.skip("the system tells of no files opened")
    watch.opened()
    assert watch.opened() == []
    (tmp_path / "secret.txt").read_text()
    assert watch.opened() == ["secret.txt"]


def test_a_worker_that_ends_is_told_of_its_mutant(tmp_path: Path) -> None:
    worker = Worker(SEED, home=tmp_path, outside=tmp_path, url="http://127.0.0.1:9")
    try:
        worker.start()
        assert worker.check(0)["number"] == 0
        assert worker.process is not None
        worker.process.kill()
        worker.process.wait()
        with pytest.raises((RuntimeError, BrokenPipeError)):
            worker.check(1)
    finally:
        worker.stop()
