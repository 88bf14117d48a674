"""Charts: they say the numbers, as letters, in the colour of the page, the same every time."""

import os
import re
import subprocess
import sys
import xml.etree.ElementTree as ET
from dataclasses import replace

import matplotlib as mpl
import numpy as np
import pytest
from matplotlib.figure import Figure

import spreadnet
from spreadnet.decisions.hindcast.scores import groups
from spreadnet.outputs.charts import (
    calibration_chart,
    plain_style,
    rank_chart,
    svg_of,
    value_chart,
)


@pytest.fixture(scope="module")
def plan(demo_region):
    return spreadnet.season_plan(demo_region, draws=2)


@pytest.fixture(scope="module")
def grouped():
    chance = np.repeat([0.01, 0.06, 0.3, 0.7], 20)
    return groups(chance, np.arange(80) % 20 < 40 * chance)


@pytest.fixture(scope="module")
def charts(plan, grouped, demo_result):
    """Every chart with what it is drawn from."""
    return {
        "value": (value_chart, plan),
        "calibration": (calibration_chart, grouped),
        "rank": (rank_chart, demo_result),
    }


NAMES = ("value", "calibration", "rank")


def picture(chart, data, name="one"):
    with plain_style():
        return svg_of(chart(data), name=name, title="A & B", description="<numbers>")


@pytest.mark.parametrize("name", NAMES)
def test_a_chart_draws_where_it_is_told_and_returns_it(charts, name):
    chart, data = charts[name]
    ax = Figure().add_subplot()
    assert chart(data, ax=ax) is ax
    assert ax.lines or ax.collections
    own = chart(data)
    assert own is not ax and isinstance(own.get_figure(), Figure)


@pytest.mark.parametrize("name", NAMES)
def test_a_picture_takes_every_colour_from_the_page_and_needs_no_style(charts, name):
    root = ET.fromstring(picture(*charts[name]))
    for element in root.iter():
        assert element.tag not in ("style", "metadata", "image", "script")
        assert not {"style", "class"} & element.attrib.keys()
        for key in ("fill", "stroke", "color"):
            assert element.get(key, "none") in ("none", "currentColor"), element.attrib
    assert "http" not in picture(*charts[name])


@pytest.mark.parametrize("name", NAMES)
def test_letters_stay_letters_and_the_picture_is_named(charts, name):
    chart, data = charts[name]
    root = ET.fromstring(picture(chart, data))
    told = {text.text for text in root.iter("text")}
    ax = chart(data)
    assert set(ax.get_xlabel().split("\n")) <= told
    assert root.get("role") == "img"
    parts = {element.get("id"): element.text for element in root if element.get("id")}
    assert parts[root.get("aria-labelledby")] == "A & B"
    assert parts[root.get("aria-describedby")] == "<numbers>"


def test_two_pictures_of_a_page_share_no_id_and_find_their_own(charts):
    both = [picture(*charts["value"], name="first"), picture(*charts["value"], name="second")]
    ids = [set(re.findall(r' id="([^"]+)"', one)) for one in both]
    assert ids[0] and not ids[0] & ids[1]
    for one, own in zip(both, ids, strict=True):
        used = set(re.findall(r'url\(#([^)]+)\)|href="#([^"]+)"', one))
        assert used and {a or b for a, b in used} <= own
        assert len(re.findall(r' id="', one)) == len(own)


def test_a_reader_s_own_settings_of_matplotlib_change_no_page(charts):
    own = {"text.color": "red", "xtick.color": "red", "savefig.bbox": "tight", "font.size": 30}
    for name in NAMES:
        before = picture(*charts[name])
        with mpl.rc_context(own):
            assert picture(*charts[name]) == before


def test_another_process_draws_the_same_bytes(grouped):
    code = (
        "import sys, numpy as np\n"
        "from spreadnet.decisions.hindcast.scores import groups\n"
        "from spreadnet.outputs.charts import calibration_chart, plain_style, svg_of\n"
        "chance = np.repeat([0.01, 0.06, 0.3, 0.7], 20)\n"
        "made = groups(chance, np.arange(80) % 20 < 40 * chance)\n"
        "with plain_style():\n"
        "    svg = svg_of(calibration_chart(made), name='one', title='A & B', "
        "description='<numbers>')\n"
        "assert 'matplotlib.pyplot' not in sys.modules\n"
        "print(svg, end='')"
    )
    done = subprocess.run(
        [sys.executable, "-c", code],
        capture_output=True,
        text=True,
        encoding="utf-8",
        check=True,
        env={**os.environ, "PYTHONHASHSEED": "7", "PYTHONIOENCODING": "utf-8"},
    )
    assert done.stdout == picture(calibration_chart, grouped)


def test_matplotlib_is_loaded_only_for_a_chart():
    code = (
        "import sys, spreadnet\n"
        "spreadnet.write_plan, spreadnet.rank_chart\n"
        "sys.exit('matplotlib' in sys.modules)"
    )
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


def test_the_ring_stands_on_the_curve_at_the_hours_of_the_plan(plan):
    ax = value_chart(plan)
    curve, ring = (line.get_xydata() for line in ax.lines)
    np.testing.assert_allclose(curve, plan.value[["hours_a_season", "avoided"]])
    hours = plan.kinds.loc["education", "hours"]
    assert ring[0, 0] == hours
    assert ring[0, 1] == pytest.approx(np.interp(hours, *curve.T))
    with pytest.raises(ValueError, match="It has none"):
        value_chart(replace(plan, value=plan.value.iloc[:0]))


def test_a_plan_without_hours_or_good_is_drawn_too(plan):
    value = plan.value.head(1)
    none = replace(plan, hours=0.0, value=value.assign(**dict.fromkeys(value.columns, 0.0)))
    assert "<text" in picture(value_chart, none)


def test_the_best_landing_is_at_the_top_with_its_interval(demo_result):
    first = demo_result.landings.sort_values("rank").head(4)
    ax = rank_chart(demo_result, first=4)
    bottom, top = ax.get_ylim()
    assert bottom > top
    assert [label.get_text() for label in ax.get_yticklabels()] == [
        f"{row['name']}  {row['rank']}" for _, row in first.iterrows()
    ]
    ends = np.array([line[:, 0] for line in ax.collections[0].get_segments()])
    np.testing.assert_allclose(ends, first[["avoided_low", "avoided_high"]])


@pytest.mark.parametrize("name", ["$\\frac$", "<b>$x_1$", "\u6e56"])
def test_a_name_is_shown_as_it_is_whatever_it_holds(demo_result, name):
    result = replace(demo_result, landings=demo_result.landings.assign(name=name))
    root = ET.fromstring(picture(rank_chart, result))
    assert f"{name}  1" in {text.text for text in root.iter("text")}


def test_without_ranks_there_is_no_chart_but_a_reason(demo_result):
    bare = demo_result.landings.assign(rank=demo_result.landings["rank"].mask(lambda r: r > 0))
    with pytest.raises(ValueError, match="needs landings with a rank"):
        rank_chart(replace(demo_result, landings=bare))


def test_shares_and_chances_stand_where_the_numbers_say(grouped):
    ax = calibration_chart(grouped)
    *bars, circles = ax.lines
    np.testing.assert_allclose(circles.get_ydata(), grouped["share"])
    np.testing.assert_allclose([bar.get_ydata()[0] for bar in bars], grouped["foretold"])
    assert [text.get_text() for text in ax.texts] == [
        f"{row['found']} of {row['lakes']}" for row in grouped.to_dict("records")
    ]
