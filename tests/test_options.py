"""Options of a run: the same defaults everywhere, the call wins, nothing misspelt is lost."""

import inspect
import io
import subprocess
import sys
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

import pytest

import spreadnet
from spreadnet import options as defaults
from spreadnet.assumptions import DEFAULT
from spreadnet.cli.options import command_line
from spreadnet.options import Bars, RunOptions, Silent, settle

DEMO = Path(__file__).parents[1] / "demo_region"


def settled(options=None, /, **given):
    return settle(options, given, seasons=5, draws=200)


def test_what_a_call_names_wins_over_options_and_options_over_defaults():
    shared = RunOptions(draws=50, seed=3, workers=2)
    found = settled(shared, draws=7)
    assert (found.draws, found.seed, found.workers, found.seasons) == (7, 3, 2, 5)
    assert settled().draws == 200


def test_a_misspelt_option_is_refused_with_the_nearest_name():
    with pytest.raises(TypeError, match="'drows'. Did you mean 'draws'"):
        settled(drows=3)
    with pytest.raises(TypeError, match="unexpected keyword argument 'stage'"):
        spreadnet.assess(DEMO, stage=print)


@pytest.mark.parametrize(
    ("name", "value"),
    [
        *[("draws", value) for value in (0, 1.5, True, None)],
        *[("seed", value) for value in (-1, "1", None)],
        *[("seasons", value) for value in (0, 51)],
        ("workers", 0),
        ("progress", print),
    ],
)
def test_options_that_cannot_be_are_refused(name, value):
    with pytest.raises(ValueError, match=f"Invalid {name} '"):
        settled(**{name: value})


def test_options_that_mean_nothing_to_a_function_are_refused(demo_region):
    with pytest.raises(TypeError, match="'draws'"):
        spreadnet.survey_next(demo_region, draws=3)
    with pytest.raises(TypeError, match="'seasons'"):
        spreadnet.hindcast(demo_region, from_year=2020, seasons=3)


@pytest.mark.parametrize(
    ("words", "draws"),
    [
        (["run", "x", "--out", "y"], defaults.DRAWS),
        (["plan", "x"], defaults.PLAN_DRAWS),
        (["hindcast", "x", "--from", "2020"], defaults.HINDCAST_DRAWS),
    ],
)
def test_the_command_line_has_the_defaults_of_python(words, draws):
    given = command_line().parse_args(words)
    assert (given.draws, given.seed) == (draws, defaults.SEED)


def test_options_print_in_a_line():
    assert repr(RunOptions(draws=20, progress=True)) == "RunOptions(draws=20, progress=True)"


class Told:
    def __init__(self):
        self.stages, self.steps = [], []

    @contextmanager
    def stage(self, name):
        self.stages.append(name)
        yield

    def step(self, done, total, name):
        self.steps.append((done, total, name))


def test_progress_of_your_own_is_told_of_every_stage_and_draw(demo_region):
    told = Told()
    spreadnet.assess(demo_region, draws=2, progress=told)
    assert told.stages == ["weighing the evidence", "fitting movement", "ranking"]
    assert told.steps == [(1, 2, "drawing"), (2, 2, "drawing")]


def test_nothing_is_shown_unless_asked_for(capsys):
    assert isinstance(settled().progress, Silent)
    bars = settled(progress=True).progress
    assert isinstance(bars, Bars)
    with bars.stage("drawing boats"):
        bars.step(1, 4, "drawing")
        bars.step(4, 4, "drawing")
    with bars.stage("quick"):
        pass
    shown = capsys.readouterr().err
    assert "drawing boats: 100%" in shown
    assert "4/4" in shown
    assert "quick: 100%" in shown


def test_a_bar_is_closed_where_its_stage_fails(capsys):
    bars = Bars()
    with pytest.raises(KeyError), bars.stage("ranking"):
        raise KeyError
    bars.step(1, 2, "drawing")  # of no stage: nothing to show
    assert "100%" not in capsys.readouterr().err


def test_numbers_changed_in_the_call_win_over_region_toml(demo_region):
    settings = replace(demo_region.settings, assumptions={"refusal": 0.2, "outside_infested": 0.4})
    region = replace(demo_region, settings=settings)
    changed = DEFAULT.with_changes({"refusal": 0.1})
    used = spreadnet.gather_evidence(region, assumptions=changed).assumptions
    assert used["refusal"] == 0.1
    assert used["outside_infested"] == 0.4  # what the call leaves alone stays as the folder says
    assert used.entries["refusal"].source == "given in the call"
    # Said to be as usual is said, too.
    usual = DEFAULT.with_changes({"refusal": DEFAULT["refusal"]})
    assert spreadnet.gather_evidence(region, assumptions=usual).assumptions["refusal"] == 0.03
    assert spreadnet.gather_evidence(region).assumptions["refusal"] == 0.2


def test_assumptions_given_as_a_plain_mapping_are_refused_with_the_way_to_write_them(demo_region):
    with pytest.raises(ValueError, match="DEFAULT_ASSUMPTIONS.with_changes"):
        spreadnet.gather_evidence(demo_region, assumptions={"refusal": 0.1})


@pytest.mark.parametrize("given", [DEMO, str(DEMO)], ids=["path", "text"])
def test_a_folder_stands_for_its_region(given, demo_region):
    evidence = spreadnet.gather_evidence(given)
    same = spreadnet.gather_evidence(demo_region)
    assert evidence.traffic.table.equals(same.traffic.table)


def test_every_function_that_takes_a_region_takes_its_folder():
    for name in ("assess", "build_model", "gather_evidence", "hindcast", "rank_landings"):
        assert "Path" in str(inspect.signature(getattr(spreadnet, name)).parameters["region"]), name
    for name in ("season_plan", "survey_next", "write_survey"):
        assert "Path" in str(inspect.signature(getattr(spreadnet, name)).parameters["region"]), name
    with pytest.raises(ValueError, match="Invalid region of type int"):
        spreadnet.assess(3)
    with pytest.raises(spreadnet.InputError, match="there is no such folder"):
        spreadnet.season_plan("nowhere")


def test_a_plan_of_a_result_rests_on_its_evidence_and_seed(demo_result):
    told = Told()
    plan = spreadnet.season_plan(demo_result, hours=40, draws=2, progress=told)
    assert told.stages == ["planning"]
    assert (plan.seed, plan.seasons) == (demo_result.seed, demo_result.seasons)
    with pytest.raises(ValueError, match="rests on its own"):
        spreadnet.season_plan(demo_result, species=["eurasian_watermilfoil"])


def test_help_is_told_without_loading_numpy():
    code = (
        "import io, sys\nfrom spreadnet.cli import main\n"
        "sys.stdout, out = io.StringIO(), sys.stdout\n"
        "try:\n    main(['--help'])\nexcept SystemExit:\n    pass\n"
        'out.write(str("numpy" in sys.modules))'
    )
    run = [sys.executable, "-c", code]
    done = subprocess.run(run, capture_output=True, text=True, check=True).stdout
    assert done == "False"


def test_help_lists_every_command_once():
    parser = command_line()
    text = io.StringIO()
    parser.print_help(text)
    names = parser._subparsers._group_actions[0].choices
    assert len(names) == 8
    for name in names:
        lines = [line for line in text.getvalue().splitlines() if line.split()[:1] == [name]]
        assert len(lines) == 1, name
