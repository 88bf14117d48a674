"""The map page: its data and its promises, not its looks."""

from __future__ import annotations

import html
import json
import re

import folium
import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from xstatic.pkg import leaflet

from spreadnet.outputs import palette
from spreadnet.outputs.map import key as map_key
from spreadnet.outputs.map.data import about_equal, lake_status, landing_radius, landing_text
from spreadnet.outputs.map.offline import leaflet_script
from spreadnet.outputs.map.region_map import Caption, map_html, region_map
from spreadnet.outputs.map.shapes import LETTERS, off_the_map, pack, simplified
from spreadnet.outputs.safe import clean_text, for_html, for_script, short_text
from spreadnet.words import odds_text

# Seven ways in which text from a table has run as script, or killed a folium 0.20.0 map.
HOSTILE = (
    "<img src=x onerror=window.ran=1>",
    "</script><script>window.ran=2</script>",
    "`+(window.ran=3)+`",
    "${window.ran=4}",
    r"C:\maps\2019\u0041",
    "\"'><b onclick='window.ran=5'>",
    "line\none\r\u2028two\u202eback",
)


@pytest.fixture(scope="module")
def caption():
    return Caption(
        region="Lantern Reach",
        title="Ten landings hold half of what education can avoid",
        made_on="12 May 2031",
        version="0.1.0",
        seed=7,
        draws=200,
        seasons=5,
        season="Season 1 May to 30 September 2031",
        species={"shell": "Glass mussel", "weed": "Ribbon weed"},
        cautions=("Numbers are model estimates with ranges, not findings.",),
        notes=("A note.",),
        status_through=None,
        run="k3f9a2",
    )


@pytest.fixture(scope="module")
def tables(sample_region_tables):
    return sample_region_tables()


def build(tables, caption):
    return map_html(region_map(*tables, caption=caption))


def data_of(page):
    found = re.search(r'<script type="application/json" id="map-data">(.*?)</script>', page, re.S)
    return json.loads(found[1])


def unpack(text):
    """Numbers of a packed text, written apart from `pack` to check it."""
    numbers, bits, shift = [], 0, 0
    for code in (bytes(LETTERS).index(letter) for letter in text.encode()):
        bits |= (code & 31) << shift
        shift += 5
        if not code & 32:
            numbers.append(-((bits + 1) // 2) if bits & 1 else bits // 2)
            bits, shift = 0, 0
    return numbers


def test_leaflet_is_the_version_that_folium_writes_for():
    script = dict(folium.folium._default_js)["leaflet"]
    assert f"leaflet@{leaflet.VERSION}/" in script


def test_page_names_no_outside_resource(tables, caption):
    page = build(tables, caption).replace(leaflet_script(), "")  # names its own home page
    assert not re.search(r'(?:src|href)\s*=\s*["\']?(?:https?:)?//', page)
    assert not re.search(r'(?:@import|url\()\s*["\']?(?!data:|#)\w', page)
    assert "<link" not in page


def test_page_has_language_title_policy_and_zoomable_viewport(tables, caption):
    page = build(tables, caption)
    assert '<html lang="en">' in page
    assert f"<title>{caption.title} - {caption.region}</title>" in page
    assert "default-src 'none'" in page
    assert (
        "script-src 'sha256-" in page
        and "'unsafe-inline'; script" not in page.split("script-src")[1]
    )
    assert "user-scalable" not in page and "maximum-scale" not in page
    assert page.count("<h1>") == 1


def test_two_builds_are_byte_identical(tables, caption):
    region = region_map(*tables, caption=caption)
    assert map_html(region) == build(tables, caption) == map_html(region)


def test_saved_map_is_the_finished_page(tables, caption, tmp_path):
    region = region_map(*tables, caption=caption)
    region.save(tmp_path / "map.html")
    assert (tmp_path / "map.html").read_text(encoding="utf-8") == map_html(region)


def test_layers_that_need_only_leaflet_can_be_added(tables, caption):
    region = region_map(*tables, caption=caption)
    folium.CircleMarker([-41.0, -128.0], radius=5).add_to(region)
    page = map_html(region)
    assert "L.circleMarker" in page
    assert not re.search(r"[0-9a-f]{32}", page.split("function spreadnetTables")[1])


def test_inputs_are_not_changed(tables, caption):
    before = [table.copy() for table in tables]
    build(tables, caption)
    for table, old in zip(tables, before, strict=True):
        pd.testing.assert_frame_equal(pd.DataFrame(table), pd.DataFrame(old))


def test_page_of_a_small_region_is_under_600_kb(tables, caption):
    assert len(build(tables, caption).encode()) < 600_000


@pytest.mark.slow
def test_page_of_a_state_is_under_5_mb(sample_region_tables, caption):
    page = build(sample_region_tables(12_000, 3_500), caption)
    assert len(page.encode()) <= 5_000_000


def test_hostile_text_stays_text(tables, caption):
    lakes, landings, trips = (table.copy() for table in tables)
    lakes["name"] = [HOSTILE[k % 7] for k in range(len(lakes))]
    for column in ("name", "lake_name", "reasons", "best_when"):
        landings[column] = [HOSTILE[k % 7] for k in range(len(landings))]
    names = {"shell": HOSTILE[0], "weed": HOSTILE[1]}
    fields = {name: getattr(caption, name) for name in Caption.__dataclass_fields__}
    fields |= {"title": HOSTILE[0], "region": HOSTILE[1], "cautions": HOSTILE, "notes": HOSTILE}
    page = build((lakes, landings, trips), Caption(**(fields | {"species": names})))
    assert not re.search(r"<(img|b)\b", page)
    assert page.count("<script") == page.count("</script>") == 3
    for tag in re.findall(r"<[^>]*>", re.sub(r"<script.*?</script>", "", page, flags=re.S)):
        assert not re.search(r"\son\w+=", re.sub(r"\"[^\"]*\"", "", tag)), tag
    assert data_of(page)["lakes"]["name"][:7] == [clean_text(text) for text in HOSTILE]


@pytest.mark.parametrize("text", HOSTILE)
def test_text_is_read_back_from_a_page_and_a_script_as_it_was(text):
    assert not set("<>\"'") & set(for_html(text))
    assert html.unescape(for_html(text)) == clean_text(text)
    assert "<" not in for_script([text]) and json.loads(for_script([text])) == [text]


def test_joiners_stay_and_marks_that_turn_the_direction_go():
    """UAX 9 lists the marks; The Unicode Standard, chapters 9, 12 and 23, has the joiners."""
    sailor = "\U0001f469\u200d\u2708\ufe0f"  # woman, joiner, aeroplane: one picture, a pilot
    persian, bengali = "\u0645\u06cc\u200c\u0631\u0648\u062f", "\u0995\u09cd\u200d\u09b7"
    for text in (sailor, persian, bengali):
        assert clean_text(text) == text
    turns = [*range(0x202A, 0x202F), *range(0x2066, 0x206A), 0x200E, 0x200F, 0x061C]
    assert clean_text("Am" + "".join(map(chr, turns)) + "ber") == "Amber"
    assert clean_text("\u200c\u200d \u200d") == ""
    assert clean_text("Am\x00ber\x1b[31m\x85Water\ud800") == "Am ber [31m Water"


def test_long_text_is_cut_between_letters():
    assert short_text("x" * 120) == "x" * 120
    assert short_text("x" * 6000) == "x" * 119 + "\u2026"
    assert short_text("ab" + "e\u0301" * 60, letters=6) == "abe\u0301\u2026"


def test_names_that_never_end_are_cut_on_the_page(tables, caption):
    lakes, landings, trips = (table.copy() for table in tables)
    lakes["name"], landings["name"] = "a" * 6000, "b" * 6000
    landings["lake_name"], landings["reasons"] = "c" * 6000, "d" * 6000 + "; short"
    fields = {name: getattr(caption, name) for name in Caption.__dataclass_fields__}
    fields |= {"title": "e" * 6000, "region": "f" * 6000, "species": {"shell": "g" * 6000}}
    page = build((lakes, landings, trips), Caption(**fields))
    assert max(len(run[0]) for run in re.finditer(r"([a-g])\1*\1", page)) <= 500
    assert data_of(page)["landings"]["why"][0] == ["d" * 499 + "\u2026", "short"]


@given(st.lists(st.floats(0, 1e12), min_size=3, max_size=3).map(sorted))
def test_no_interval_leaves_out_its_own_number(three):
    """Rounding to the same figures keeps the order, so what is printed can't contradict itself."""
    low, value, high = three
    table = pd.DataFrame(
        {
            **{key: ["x"] for key in ("name", "lake_name", "best_when")},
            **{key: [1] for key in ("rank", "rank_low", "rank_high")},
            **{key: [0.5] for key in ("chance_first_10", "leaving_share")},
            "bridging_boats_per_100_hours": [12.0],
            **{"avoided_per_100_hours": [value], "launches": [value]},
            **{"avoided_low": [low], "launches_low": [low]},
            **{"avoided_high": [high], "launches_high": [high]},
        }
    )
    text = landing_text(table)
    for what in ("avoided", "boats"):
        shown = [*text[f"{what}_range"][0].split(" to "), *text[what]]
        below, above, own = (as_number(s) for s in shown)
        assert below <= own <= above


def as_number(text):
    """What a number says, also where it is a chance."""
    text = text.removeprefix("under ").replace(",", "").replace("\u00a0", " ")
    return 1 / float(text.removeprefix("1 in ")) if "1 in " in text else float(text)


def test_tiny_numbers_are_not_shown_as_zeros():
    assert odds_text(3e-9) == "under 1 in 1,000,000"
    assert odds_text(0.0000012) == "1 in 830,000"


def test_safe_json_refuses_what_json_has_not():
    with pytest.raises(ValueError, match="not JSON compliant"):
        for_script([float("inf")])


def test_missing_and_infinite_figures_are_shown_as_no_figure(tables, caption):
    lakes, landings, trips = (table.copy() for table in tables)
    lakes.loc[lakes.index[:3], ["new_infestation_chance", "area_ha"]] = np.inf
    landings.loc[landings.index[:5], ["launches", "avoided_per_100_hours", "avoided_low"]] = [
        np.nan,
        np.inf,
        -np.inf,
    ]
    trips.loc[trips.index[:5], ["trips", "introductions", "distance_km"]] = np.nan
    page = build((lakes, landings, trips), caption)
    data = data_of(page)
    assert data["lakes"]["new"][0][:3] == [None] * 3 and data["lakes"]["area"][0] is None
    assert data["landings"]["boats"][0] == "" and "Infinity" not in json.dumps(data)
    assert "No figure" in page


@pytest.mark.parametrize("what", ["no trips", "one landing", "no landings", "no ranking", "points"])
def test_thin_regions_still_give_a_page(tables, caption, what):
    lakes, landings, trips = (table.copy() for table in tables)
    if what == "no trips":
        trips = trips.iloc[:0]
    elif what == "one landing":
        landings = landings.iloc[:1]
    elif what == "no landings":
        landings = landings.iloc[:0]
    elif what == "no ranking":
        landings["rank"] = pd.array([pd.NA] * len(landings), dtype="Int64")
        landings[["rank_low", "rank_high", "avoided_per_100_hours"]] = np.nan
    else:
        lakes["geometry"] = lakes.geometry.representative_point()
        lakes.loc[lakes.index[1], "geometry"] = None
        landings.loc[landings.index[1], "geometry"] = None
    data = data_of(build((lakes, landings, trips), caption))
    assert len(data["landings"]["name"]) == len(landings)
    if what == "points":
        assert data["lakes"]["nowhere"] == [1] and data["landings"]["nowhere"] == [1]
        assert set(unpack(data["lakes"]["shape"]["lakes"])) == {0}
    if what == "no trips":
        assert data["trips"]["from"] == []


def test_trips_without_lines_are_drawn_between_lakes(tables, caption):
    lakes, landings, trips = tables
    bare = trips.set_geometry(
        gpd.GeoSeries([shapely.LineString()] * len(trips), index=trips.index, crs=lakes.crs)
    )
    assert (
        data_of(build((lakes, landings, bare), caption))["trips"]
        == data_of(build(tables, caption))["trips"]
    )


def test_landings_are_placed_where_they_are(tables, caption):
    landings = tables[1]
    packed = data_of(build(tables, caption))["landings"]["at"]
    steps = np.array(unpack(packed)).reshape(-1, 2).cumsum(axis=0) / 1e5
    truth = landings.to_crs(4326).geometry
    np.testing.assert_allclose(steps, np.column_stack([truth.x, truth.y]), atol=6e-6)


def test_packed_numbers_come_back():
    numbers = np.array([0, 1, -1, 15, -16, 16, 31, 32, -123_456, 12_345_678, -18_000_000])
    assert unpack(pack(numbers)) == numbers.tolist()
    assert pack(np.array([], dtype=np.int64)) == ""


def test_simplified_shapes_keep_their_areas(tables):
    lakes = tables[0]
    # Bound of the sheet of measured tolerances: at 2% of the side no area changes by over 10%.
    change = simplified(lakes.geometry).area / lakes.area - 1
    assert change.abs().max() < 0.1
    assert simplified(lakes.geometry).is_valid.all()


def test_region_across_180_degrees_holds_together(sample_region_tables, caption):
    moved = [
        table.set_crs("EPSG:32701", allow_override=True).translate(-582_000 + 248_000)
        for table in sample_region_tables()
    ]
    lakes, landings, trips = (
        table.set_geometry(shapes)
        for table, shapes in zip(sample_region_tables(), moved, strict=True)
    )
    south, west, north, east = data_of(build((lakes, landings, trips), caption))["bounds"]
    assert west < 180 < east < 182 and -42 < south < north < -40


def test_wrong_crs_is_refused(tables, caption):
    lakes, landings, trips = tables
    with pytest.raises(ValueError, match="projected one in metres"):
        region_map(lakes.to_crs(4326), landings, trips, caption=caption)
    far = lakes.set_geometry(lakes.translate(0, -5.4e6))
    with pytest.raises(ValueError, match=r"Every shape must lie"):
        region_map(far, landings, trips, caption=caption)


def test_shapes_off_the_map_are_named(tables):
    lakes = tables[0]
    assert off_the_map(lakes.geometry) == []
    far = lakes.geometry.copy()
    far.iloc[2] = shapely.Point(5e5, 1e7 + 9.8e6)  # north of the equator, UTM: 88 degrees
    assert off_the_map(far) == [lakes.index[2]]


def test_tables_in_another_crs_are_brought_to_that_of_the_lakes(tables, caption):
    lakes, landings, trips = tables
    page = build((lakes, landings.to_crs(4326), trips.to_crs(4326)), caption)
    assert data_of(page)["landings"]["name"] == data_of(build(tables, caption))["landings"]["name"]


def test_unknown_ids_words_and_columns_are_refused(tables, caption):
    lakes, landings, trips = tables
    with pytest.raises(ValueError, match=r"Missing: rank, best_when"):
        region_map(lakes, landings.drop(columns=["rank", "best_when"]), trips, caption=caption)
    with pytest.raises(ValueError, match="Invalid lake_id 'L999' in landings"):
        region_map(lakes, landings.assign(lake_id="L999"), trips, caption=caption)
    with pytest.raises(ValueError, match="Invalid to_lake_id"):
        region_map(lakes, landings, trips.assign(to_lake_id="L999"), caption=caption)
    with pytest.raises(ValueError, match="Invalid status_weed 'maybe'"):
        region_map(lakes.assign(status_weed="maybe"), landings, trips, caption=caption)
    with pytest.raises(ValueError, match="repeated"):
        region_map(pd.concat([lakes, lakes.iloc[:1]]), landings, trips, caption=caption)


def test_a_lake_is_never_called_searched_when_one_species_was_not_looked_for():
    words = ["looked for, not found", "not surveyed", "infested"]
    lakes = pd.DataFrame({"status_a": words, "status_b": ["looked for, not found"] * 3})
    assert lake_status(lakes, ["a", "b"])[:, 0].tolist() == [1, 2, 0]
    lakes["status_b"] = None
    assert lake_status(lakes, ["a", "b"])[:, 0].tolist() == [2, 2, 0]


def test_about_equal_landings_share_a_group_only_if_ranges_reach_each_other():
    table = pd.DataFrame(
        {
            "rank": pd.array([1, 2, 3, 4, None], dtype="Int64"),
            "rank_low": [1, 1, 3, 4, np.nan],
            "rank_high": [2, 3, 5, 6, np.nan],
        }
    )
    assert about_equal(table) == [0, 0, 1, 2, -1]


def test_area_of_a_landing_grows_in_step_with_what_it_avoids():
    area = landing_radius(np.array([0.0, 1.0, 4.0, np.nan, -1.0])) ** 2
    grown = area - area[0]
    np.testing.assert_allclose(grown / grown[2], [0.0, 0.25, 1.0, 0.0, 0.0])


def test_key_names_every_symbol_with_its_unit(tables, caption):
    page = build(tables, caption)
    key = page.split('class="key-body">')[1].split("</details>")[0]
    for words in (
        "Chance of a new infestation if free now, 5 seasons",
        "Infested by one species or more",
        "Looked for, not found",
        "Some species not surveyed",
        "Every species already there",
        f"Size: {caption.unit}",
        "Number: rank, 1 = first",
        "Boats not counted yet",
        "Boats from lake to lake in a season",
        "The 60 largest of",
    ):
        assert words in key
    for fact in ("seed 7", "200 repeats", "Made on 12 May 2031", "Run k3f9a2", "spreadnet 0.1.0"):
        assert fact in page


def test_print_key_says_only_what_the_drawing_on_paper_shows(tables, caption):
    sheet = build(tables, caption).split('class="print"')[1].split("<script")[0]
    drawing, key = sheet.split("</svg>", 1)
    key = key.split("<table>")[0]
    assert "Size:" not in key and "Dots: other landings" in key
    numbers = [int(number) for number in re.findall(r'anchor="middle">(\d+)</text>', drawing)]
    assert sorted(numbers) == list(range(1, 11)) and sheet.count("<tr>") == 11


def test_land_has_no_line_round_it_that_looks_like_a_coast(tables, caption):
    sheet = build(tables, caption).split('class="print"')[1]
    strokes = re.findall(rf'fill="{palette.LAND}" stroke="(#\w+)"', sheet)
    assert strokes == [palette.LAND]


def test_stroke_of_a_landing_without_staff_leaves_its_number_free():
    mark = map_key.landing_symbol(0.0, 0.0, 10.0, "off", numbered=True)
    ends = re.findall(r"[ML](-?[\d.]+) (-?[\d.]+)", mark)
    far = np.hypot(*np.array(ends, dtype=float).T)
    assert len(ends) == 4 and far.min() > 9.8 and far.max() > 14


def test_small_sizes_in_the_key_are_chances(tables, caption):
    lakes, landings, trips = tables
    columns = ["avoided_per_100_hours", "avoided_low", "avoided_high"]
    tiny = landings.assign(**(landings[columns] * 1e-4))
    key = build((lakes, tiny, trips), caption).split('class="key-body">')[1].split("</details>")[0]
    assert not re.search(r"\de-\d", key) and re.search(r"1 in \d+0,000; 1 in", key)


def test_steps_are_round_and_within_their_bounds():
    assert map_key.round_steps([], count=4, smallest=1e-4, largest=0.5) == [0.05, 0.1, 0.2, 0.5]
    assert map_key.round_steps([0.0], count=4, smallest=1e-4, largest=0.5) == [
        1e-4,
        2e-4,
        5e-4,
        1e-3,
    ]
    assert map_key.round_steps([0.07] * 9, count=4, smallest=1e-4, largest=0.5) == [
        0.005,
        0.01,
        0.02,
        0.05,
    ]
