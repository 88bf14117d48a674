"""What `check` accepts, `run` and `plan` finish: random regions at the ends of what is allowed."""

import pytest
from accepted_mutants import finish, mutant

MUTANTS = 12  # here; 300 in tests/benchmarks/accepted.py


@pytest.mark.slow
@pytest.mark.parametrize("number", range(MUTANTS))
def test_what_check_accepts_run_and_plan_finish(number, tmp_path, capsys):
    region = tmp_path / "region"
    region.mkdir()
    mutant(number, region)
    assert finish(region, tmp_path) in ("refused", "finished", "told")
