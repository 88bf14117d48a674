"""The hindcast as files: whole, safe, readable without a network at any width."""

import html
import json
import re
from dataclasses import replace
from datetime import date

import pandas as pd
import pytest

from spreadnet.chain import hindcast
from spreadnet.cli import main
from spreadnet.errors import OutputError
from spreadnet.outputs.pages.hindcast import hindcast_page
from spreadnet.outputs.write import write_hindcast
from spreadnet.words.finding import CAUTIONS

DAY = date(2027, 3, 1)


@pytest.fixture(scope="module")
def result(demo_region):
    return hindcast(demo_region, from_year=2016, draws=5)


def test_files_are_whole_and_their_tables_read_back(result, tmp_path):
    files = write_hindcast(result, tmp_path / "out", made_on=DAY)
    assert [f.name for f in files] == [
        "READ_FIRST.txt",
        "scores.csv",
        "lakes.csv",
        "groups.csv",
        "hindcast.html",
        "columns.csv",
        "run.json",
    ]
    lakes = pd.read_csv(tmp_path / "out" / "lakes.csv", dtype={"lake_id": str})
    assert len(lakes) == len(result.lakes)
    first = lakes[lakes["species"] == "dreissenid_mussel"]["chance"]
    assert first.is_monotonic_decreasing
    record = json.loads((tmp_path / "out" / "run.json").read_text("utf-8"))
    assert record["hindcast"]["from_year"] == 2016
    assert {one["file"] for one in record["outputs"]} == {f.name for f in files[:-1]}
    with pytest.raises(OutputError):
        write_hindcast(result, tmp_path / "out", made_on=DAY)
    write_hindcast(result, tmp_path / "out", made_on=DAY, force=True)


def test_the_page_says_what_it_rests_on(result):
    page = html.unescape(hindcast_page(result, made_on=DAY))
    for part in ("2027-03-01", "seed 1", "5 repeats", "AUC", "Brier skill", *CAUTIONS):
        assert part in page
    for note in result.notes:
        assert note.text in page
    assert "http" not in page.replace("http-equiv", "")
    assert "<script" not in page


def test_every_score_and_every_group_is_on_the_page(result):
    page = hindcast_page(result, made_on=DAY)
    words = [" ".join(text.split()) for text in re.findall(r">([^<>]+)<", page)]
    for row in result.finds.to_dict("records"):
        assert row["label"] in words
        assert f"Scores for {row['label']}" in words
    for (_, predictor), score in result.scores.iterrows():
        cells = [predictor, *(f"{score[f'hits_{k}']:.1f}" for k in (5, 10, 20))]
        assert " ".join(cells) in " ".join(word for word in words if word)
    for row in result.groups.to_dict("records"):
        assert f"{row['found']:.0f} of {row['lakes']:.0f}" in words  # on the chart
    assert page.count('<p class="weak">') == (~result.finds["enough"]).sum()


def test_without_finds_there_are_no_scores_but_the_reason(result):
    name = result.finds.index[0]
    finds = result.finds.copy()
    finds.loc[name, "since"] = 0
    page = hindcast_page(replace(result, finds=finds), made_on=DAY)
    assert "Nothing was found since, so the order cannot be scored." in page
    assert f"Scores for {finds.loc[name, 'label']}" not in page


def test_names_of_anybody_stay_text(result):
    finds = result.finds.assign(label='<img src=x onerror="alert(1)">')
    page = hindcast_page(replace(result, finds=finds), made_on=DAY)
    assert "<img" not in page
    assert "&lt;img" in page


@pytest.mark.slow
def test_the_command_tells_and_writes(capsys, tmp_path):
    code = main(
        [
            *("hindcast", "demo_region", "--from", "2018", "--draws", "3"),
            *("--out", str(tmp_path / "out")),
        ]
    )
    told = capsys.readouterr()
    assert code == 0
    assert "finds of 2018 to 2026, foretold from what was known before 2018" in told.out
    assert "lake area alone" in told.out
    assert (tmp_path / "out" / "hindcast.html").stat().st_size > 5000
    assert "visits and contacts of all years are used" in told.err
    assert main(["hindcast", "demo_region", "--from", "2018", "--draws", "1"]) == 0
    assert main(["hindcast", "demo_region", "--from", "1900", "--draws", "1"]) == 1
    assert "hint: give a year from 2006 to 2026" in capsys.readouterr().err


@pytest.mark.browser
@pytest.mark.parametrize("width", [1280, 390])
def test_the_page_fits_and_its_chart_is_named(browser, result, tmp_path, width):
    file = tmp_path / "hindcast.html"
    file.write_text(hindcast_page(result, made_on=DAY), encoding="utf-8")
    browser.set_window_size(width, 900)
    browser.get(file.as_uri())
    wide = browser.execute_script("return document.documentElement.scrollWidth")
    assert wide <= browser.execute_script("return window.innerWidth")
    charts = browser.find_elements("css selector", "svg[role=img]")
    assert len(charts) == 3
    assert all("chance foretold" in one.accessible_name for one in charts)
    assert not [row for row in browser.get_log("browser") if row["level"] == "SEVERE"]
    for text in browser.find_elements("css selector", "svg text"):
        box, frame = text.rect, charts[0].rect
        assert box["x"] >= frame["x"] - 1
        assert box["x"] + box["width"] <= frame["x"] + frame["width"] + 1
