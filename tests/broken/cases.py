"""
Every kind of bad input, one case each: what is changed in the small region, and what is told.

A place is file:row:column, as a person would look for it; what is told is a regular expression on
the whole message (what, why, how to mend), where a dot also stands for a new line. Every problem
is named, in order, and no other may be told. `small_region` says how a change is written.
"""

from __future__ import annotations

from dataclasses import dataclass

from broken.small_region import (
    CONTACTS,
    LAKES,
    LANDINGS,
    REGION,
    RINGS,
    SEEN,
    VISITS,
    geojson,
    outlines,
    outlines_in_metres,
    settings,
    shapefile,
    square,
    workbook,
    workbook_bytes,
)


@dataclass(frozen=True)
class Told:
    """A problem: its code, its place, and what its message says."""

    code: str
    place: str
    says: str


@dataclass(frozen=True)
class Note:
    """A note on what was read all the same."""

    code: str
    says: str


class Case:
    """Changes to the small region, and all that is told of them."""

    def __init__(self, changes, *told):
        self.changes, self.told = changes, told


BOW_TIE = [
    [-127.91, -41.11],
    [-127.89, -41.09],
    [-127.89, -41.11],
    [-127.91, -41.09],
    [-127.91, -41.11],
]

FAULTY = {
    # tables and columns
    "missing_table": Case(
        {"landings.csv": None, "landing.csv": LANDINGS},
        Told("missing-table", "landings.csv", "no table landings.*Is landing.csv meant"),
    ),
    "missing_column": Case(
        {"status.csv": "lake_id,status\nL01,present\n"},
        Told("missing-column", "status.csv:1:species", "no column 'species'.*Add the column"),
    ),
    "unknown_column": Case(
        {"lakes.csv": ("area_ha", "area_ha,dept_m")},
        Told("unknown-column", "lakes.csv:1:dept_m", "Did you mean 'depth_m'"),
    ),
    "duplicate_heading": Case(
        {"landings.csv": ("ramp_lanes", "name")},
        Told("duplicate-heading", "landings.csv:1:name", "columns C and F"),
    ),
    "duplicate_id": Case(
        {"lakes.csv": LAKES + "L02,Far south,-127.92,-41.30,11\n"},
        Told("duplicate-id", "lakes.csv:5:lake_id", "'L02' is already in row 3"),
    ),
    "two_files": Case(
        {"lakes.geojson": geojson(RINGS)},
        Told("two-files", "lakes.geojson", "lakes.csv and lakes.geojson"),
    ),
    "empty_file": Case({"status.csv": ""}, Told("empty-file", "status.csv", "the file is empty")),
    "no_rows": Case(
        {"landings.csv": LANDINGS.splitlines()[0] + "\n"},
        Told("no-rows", "landings.csv:2", "no rows below its headings"),
    ),
    "missing_value": Case(
        {"status.csv": ("L02,", ",")},
        Told("missing-value", "status.csv:3:lake_id", "the cell is empty"),
    ),
    "long_row": Case(
        {"lakes.csv": ("L02,South", "L02,South, the long one")},
        Told("long-row", "lakes.csv:3", "6 cells and the heading 5.*quotation marks"),
    ),
    "quotes": Case(
        {"lakes.csv": ("L02,South", 'L02,"South')},
        Told("quotes", "lakes.csv:3", "quotation marks do not pair"),
    ),
    # references
    "unknown_lake": Case(
        {"landings.csv": ("A02,L02", "A02,L20")},
        Told(
            "unknown-lake",
            "landings.csv:3:lake_id",
            "'L20' is not in lakes.csv.*Did you mean 'L02'",
        ),
    ),
    "unknown_landing": Case(
        {**SEEN, "visits.csv": ("V02,A02", "V02,A09")},
        Told("unknown-landing", "visits.csv:3:landing_id", "'A09' is not in landings.csv"),
    ),
    "zeros_lost": Case(
        {
            "lakes.csv": ("L01", "007"),
            "landings.csv": ("A01,L01", "A01,7"),
            "status.csv": ("L01", "007"),
        },
        Told("unknown-lake", "landings.csv:2:lake_id", "'007' is: zeros in front were lost"),
    ),
    "contact_without_visit": Case(
        {**SEEN, "contacts.csv": ("V02,", "V07,")},
        Told("unknown-visit", "contacts.csv:4:visit_id", "'V07' is not in visits.csv"),
    ),
    "contacts_without_visits": Case(
        {"contacts.csv": CONTACTS},
        Told("missing-table", "visits.csv", "Every contact belongs to a visit"),
    ),
    "unknown_water": Case(
        {**SEEN, "contacts.csv": ("launching,L02", "launching,X9")},
        Told(
            "unknown-lake",
            "contacts.csv:2:last_water",
            "'X9' is not in lakes.csv.*rite outside for",
        ),
    ),
    "unknown_species": Case(
        {"status.csv": ("L02,dreissenid_mussel", "L02,dreisenid_musel")},
        Told("unknown-species", "status.csv:3:species", "Did you mean 'dreissenid_mussel'"),
    ),
    # cells
    "decimal_comma": Case(
        {"lakes.csv": (",85", ',"12,5"')},
        Told(
            "not-a-number",
            "lakes.csv:3:area_ha",
            r"'12,5' is not a number.*e\.g\. 12\.5; or set decimal",
        ),
    ),
    "negative_area": Case(
        {"lakes.csv": (",85", ",-85")},
        Told("out-of-range", "lakes.csv:3:area_ha", "'-85' is less than 0.*0 to 100,000,000 ha"),
    ),
    "not_whole": Case(
        {"landings.csv": ("-41.101,1", "-41.101,1.5")},
        Told("not-whole", "landings.csv:3:ramp_lanes", "'1.5' is not a whole number"),
    ),
    "unknown_word": Case(
        {**SEEN, "contacts.csv": ("V02,launching", "V02,lanuching")},
        Told(
            "unknown-word",
            "contacts.csv:4:direction",
            "Did you mean 'launching'.*launching, retrieving",
        ),
    ),
    "unknown_answer": Case(
        {**SEEN, "contacts.csv": ("not checked", "perhaps")},
        Told("unknown-word", "contacts.csv:4:plug", "'perhaps'.*yes, no or not checked"),
    ),
    "status_word": Case(
        {"status.csv": ("present", "infested")},
        Told("unknown-word", "status.csv:2:status", "'infested'.*present, absent, unknown"),
    ),
    "absent_unseen": Case(
        {"status.csv": ("absent,,2", "absent,,0")},
        Told("absent-unseen", "status.csv:3:surveys", "absent, with 0 surveys"),
    ),
    "clock": Case(
        {**SEEN, "visits.csv": ("08:00", "0.3333")},
        Told("not-a-time", "visits.csv:2:start", "'0.3333'.*share of a day: 08:00"),
    ),
    "end_before_start": Case(
        {**SEEN, "visits.csv": ("14:30,18:00", "14:30,02:00")},
        Told("end-before-start", "visits.csv:3:end", "past midnight is written as two visits"),
    ),
    "date_styles": Case(
        {
            **SEEN,
            "visits.csv": VISITS.replace("2026-07-04", "25/07/2026")
            + "V03,A03,07/26/2026,08:00,10:00,4\nV04,A03,4 July 2026,08:00,10:00,4\n",
        },
        Told("date-style", "visits.csv:2:date", "'25/07/2026'.*1 more.*some the month"),
        Told("date-style", "visits.csv:5:date", "'4 July 2026'.*DD MMM YYYY"),
    ),
    "date_ambiguous": Case(
        {**SEEN, "visits.csv": ("2026-07-04", "05/03/2026")},
        Told(
            "date-style", "visits.csv:2:date", 'can\'t be told apart.*"DD/MM/YYYY" or "MM/DD/YYYY"'
        ),
    ),
    "date_serial": Case(
        {**SEEN, "visits.csv": ("2026-07-04", "46207")},
        Told("date-serial", "visits.csv:2:date", "'46207'.*stores 2026-07-04"),
    ),
    "stream_to_itself": Case(
        {"streams.csv": "upstream_lake_id,downstream_lake_id,distance_km\nL02,L02,4\n"},
        Told("same-lake", "streams.csv:2:downstream_lake_id", "are the same lake"),
    ),
    "movement_to_itself": Case(
        {"movements.csv": "from_lake_id,to_lake_id,trips\nL01,L02,140\nL03,L03,20\n"},
        Told("same-lake", "movements.csv:3:to_lake_id", "are the same lake"),
    ),
    "date_late": Case(
        {
            **SEEN,
            "visits.csv": ("2026-07-08", "2027-10-01"),
            "status.csv": [("surveys\n", "surveys,last_survey\n"), ("2021,4", "2028,4,2030-01-01")],
        },
        Told(
            "date-late",
            "status.csv:2:first_found",
            "2028-01-01 is later than the last day.*2027-09-30",
        ),
        Told("date-late", "status.csv:2:last_survey", "2030-01-01 is later"),
        Told("date-late", "visits.csv:3:date", "2027-10-01 is later"),
    ),
    "date_early": Case(
        {**SEEN, "visits.csv": ("2026-07-08", "1997-05-14")},
        Told("date-early", "visits.csv:3:date", "1997-05-14 is more than 30 years before"),
    ),
    "first_found_1700": Case(
        {"status.csv": ("2021", "1700")},
        Told(
            "not-a-date",
            "status.csv:2:first_found",
            "'1700'.*the year alone, between 1800 and 2100",
        ),
    ),
    "trips_endless": Case(
        {"movements.csv": "from_lake_id,to_lake_id,trips\nL01,L02,inf\nL02,L03,1e7\n"},
        Told(
            "not-a-number",
            "movements.csv:2:trips",
            r"'inf' is not a number.*Write a number of trips per season\.$",
        ),
        Told(
            "out-of-range", "movements.csv:3:trips", r"'1e7' is more than 1,000,000.*Correct it\.$"
        ),
    ),
    "counts_contradict": Case(
        {
            **SEEN,
            "visits.csv": "visit_id,landing_id,date,start,end,launches,retrievals,refused\n"
            "V01,A01,2026-07-04,08:00,12:00,0,0,\nV02,A02,2026-07-08,14:30,18:00,3,2,30\n",
        },
        Told(
            "counts-contradict",
            "visits.csv:2:launches",
            "1 contacts launching, and 0 launches counted.*leave it empty",
        ),
        Told(
            "counts-contradict",
            "visits.csv:2:retrievals",
            "1 contacts retrieving, and 0 retrievals counted",
        ),
        Told(
            "counts-contradict",
            "visits.csv:3:refused",
            "30 refused and 1 contacts, and 5 launches and retrievals",
        ),
    ),
    "too_many_boats": Case(
        {**SEEN, "visits.csv": ("18:00,12", "14:35,12")},
        Told(
            "too-many-boats",
            "visits.csv:3:launches",
            "12 launches in 5 minutes over 1 lane.*60 boats an hour",
        ),
    ),
    # people
    "personal_column": Case(
        {
            **SEEN,
            "contacts.csv": "visit_id,direction,boat_registration\nV01,launching,ZZ 1234 QX\n",
        },
        Told(
            "personal-data",
            "contacts.csv:1:boat_registration",
            "looks like personal data.*Delete the column",
        ),
    ),
    "staff_misspelt": Case(
        {"landings.csv": ("ramp_lanes", "can_staffed")},
        Told("unknown-column", "landings.csv:1:can_staffed", "Did you mean 'can_staff'"),
    ),
    "personal_value": Case(
        {"landings.csv": ("South ramp", "ask warden@example.org")},
        Told("personal-data", "landings.csv:3:name", "e-mail address or a phone.*not shown"),
    ),
    # places
    "swapped": Case(
        {
            "lakes.csv": ("longitude,latitude", "latitude,longitude"),
            "landings.csv": ("longitude,latitude", "latitude,longitude"),
        },
        Told("swapped", "lakes.csv:2:longitude", "look swapped"),
        Told("swapped", "landings.csv:2:longitude", "look swapped"),
    ),
    "swapped_landings": Case(
        {"landings.csv": ("longitude,latitude", "latitude,longitude")},
        Told("swapped", "landings.csv:2:longitude", "look swapped"),
    ),
    "swapped_geojson": Case(
        outlines(point=lambda east, north: [north, east]),
        Told("swapped", "lakes.geojson:2:geometry", "look swapped"),
    ),
    "longitude_sign": Case(
        {"landings.csv": (",-12", ",12")},
        Told("longitude-sign", "landings.csv:2:longitude", "minus sign missing"),
    ),
    "crs_missing": Case(
        shapefile(without=[".prj"]),
        Told("crs-missing", "lakes.shp::geometry", r"look like longitude and latitude.*\.prj"),
    ),
    "crs_metres": Case(
        {"lakes.csv": None, "lakes.geojson": outlines_in_metres},
        Told("crs-metres", "lakes.geojson::geometry", "look like metres"),
    ),
    "crs_degrees": Case(
        shapefile(crs=32709), Told("crs-degrees", "lakes.shp::geometry", "look like degrees")
    ),
    "crs_wrong": Case(
        settings('crs = "EPSG:3857"'),
        Told("crs-distorts", "region.toml:5:crs", "wrong by up to 3[23]%.*EPSG:32709"),
    ),
    "crs_geographic": Case(
        settings('crs = "EPSG:4326"'),
        Told("crs-geographic", "region.toml:5:crs", "is in degrees.*EPSG:32709"),
    ),
    "crs_unknown": Case(
        settings('crs = "EPSG:99999"'),
        Told("crs-unknown", "region.toml:5:crs", "not a known coordinate system"),
    ),
    "invalid_polygon": Case(
        outlines({"L02": BOW_TIE}),
        Told(
            "outline-invalid", "lakes.geojson:3:geometry", r"'L02' is invalid \(Self-intersection"
        ),
    ),
    "lake_in_two_rows": Case(
        outlines({"L01#2": square(-128.08, -41.02)}),
        Told("duplicate-id", "lakes.geojson:5:lake_id", "'L01' is already in row 2.*dissolve"),
    ),
    "point_without_area": Case(
        {"lakes.csv": ("-41.05,40", "-41.05,")},
        Told("missing-value", "lakes.csv:4:area_ha", "a point and has no area_ha"),
    ),
    "far_from_lake": Case(
        {"landings.csv": ("-127.901,-41.101", "-127.901,-41.401")},
        Told("far-from-lake", "landings.csv:3:lake_id", r"'A02' is 3\d\.\d km from its lake 'L02'"),
    ),
    "far_from_others": Case(
        {"lakes.csv": LAKES + "L04,Slip,-12.8,-41.05,40\n"},
        Told("far-from-others", "lakes.csv:5:longitude", r"lake 'L04' lies 8,\d+ km"),
    ),
    "no_lake_near": Case(
        {"landings.csv": ("A02,L02,South ramp,-127.901,-41.101", "A02,,South ramp,-127.8,-41.2")},
        Told("no-lake-near", "landings.csv:3:lake_id", "within 150 m"),
    ),
    "which_lake": Case(
        {
            **outlines({"L04": square(-127.879, -41.10)}),
            "landings.csv": ("A02,L02,South ramp,-127.901", "A02,,South ramp,-127.8895"),
        },
        Told("which-lake", "landings.csv:3:lake_id", r"'L0[24]' at 4\d m, 'L0[24]' at 4\d m"),
    ),
    "same_point": Case(
        {"lakes.csv": ("-127.70,-41.05", "-128.05,-41.02")},
        Told(
            "same-place", "lakes.csv:4:longitude", "lakes 'L01', 'L03' have exactly the same place"
        ),
        Told("far-from-lake", "landings.csv:4:lake_id", "29.2 km from its lake 'L03'"),
    ),
    "same_outline": Case(
        outlines({"L04": RINGS["L02"], "L05": RINGS["L02"]}),
        Told("same-place", "lakes.geojson:5:geometry", "lakes 'L02', 'L04', 'L05' have exactly"),
    ),
    "lake_in_lake": Case(
        outlines({"L04": square(-127.895, -41.10, 0.004)}),
        Told(
            "outlines-overlap",
            "lakes.geojson:5:geometry",
            "'L02' and 'L04' overlap by 100%.*island",
        ),
    ),
    "null_island": Case(
        {
            "lakes.csv": [
                (at, "0,0") for at in ("-128.05,-41.02", "-127.90,-41.10", "-127.70,-41.05")
            ]
        },
        Told("null-island", "lakes.csv:2:longitude", r"exactly 0, 0 \(and in 2 more rows"),
    ),
    "polar": Case(
        {"lakes.csv": (",-41.", ",85."), "landings.csv": (",-41.", ",85.")},
        Told("polar", "lakes.csv:2:longitude", r"beyond 85 degrees of latitude \(and in 2 more"),
    ),
    "longitude_360": Case(
        outlines(point=lambda east, north: [east + 360, north]),
        Told("longitude-360", "lakes.geojson:2:geometry", "run to 232.3, past 180.*Take 360 from"),
    ),
    "longitude_360_csv": Case(
        {"lakes.csv": ("-127.70", "232.3")},
        Told(
            "out-of-range",
            "lakes.csv:4:longitude",
            "'232.3' is more than 180.*take 360 from it, -127.7",
        ),
    ),
    "not_finite": Case(
        outlines({"L02": [*RINGS["L02"][:2], [1e999, -41.1], RINGS["L02"][0]]}),
        Told("not-finite", "lakes.geojson:3:geometry", "infinite or no number"),
    ),
    # workbooks and encodings
    "title_row": Case(
        workbook(above=[["Lakes of the invented district"], []]),
        Told("title-row", "lakes.xlsx:1", "in row 3.*Delete rows 1 to 2"),
    ),
    "merged_cells": Case(workbook(merged="B3:B4"), Told("merged-cells", "lakes.xlsx:3", "B3:B4")),
    "formula_unsaved": Case(
        workbook(last=["L03", "East", -127.7, -41.05, "=20*2"]),
        Told("formula-unsaved", "lakes.xlsx:4:area_ha", "E4.*save it"),
    ),
    "which_sheet": Case(
        workbook(sheets=["notes"]), Told("which-sheet", "lakes.xlsx", "Sheet1, notes")
    ),
    "unreadable": Case(
        {"lakes.csv": LAKES.encode() + b"L04,\x81\x8d,-127.7,-41.1,5\n"},
        Told("unreadable", "lakes.csv", "not text in UTF-8, UTF-16 or Windows-1252"),
    ),
    "workbook_named_csv": Case(
        {"lakes.csv": workbook_bytes}, Told("unreadable", "lakes.csv", "an Excel workbook")
    ),
    "number_too_large": Case(
        {
            "lakes.csv": [("L0", ""), (",120", ",1e400")],
            "landings.csv": (",L0", ","),
            "status.csv": ("L0", ""),
            **SEEN,
            "contacts.csv": ("launching,L02", "launching,9.0"),
        },
        Told("out-of-range", "lakes.csv:2:area_ha", "'1e400' is too large a number"),
        Told("unknown-lake", "contacts.csv:2:last_water", "'9' is not in lakes.csv"),
    ),
    "control_letters": Case(
        {
            "lakes.csv": [("L02", "L\x02"), ("L03", "L\ufffe")],
            "landings.csv": [("L02", "L\x02"), ("L03", "L\ufffe")],
            "status.csv": ("L02", "L\x02"),
        },
        Told(
            "control-letter",
            "lakes.csv:3:lake_id",
            r"'L<U\+0002>' holds the letter U\+0002 \(and 1 more",
        ),
    ),
    "control_name": Case(
        {"lakes.csv": ("South", "So\x1b[31mth")},
        Told(
            "control-letter", "lakes.csv:3:name", r"'So<U\+001B>\[31mth' holds the letter U\+001B"
        ),
    ),
    "look_alikes": Case(
        {
            "lakes.csv": [("L01", "L 1"), ("L02", "L\xa01")],
            "landings.csv": [("L01", "L 1"), ("L02", "L\xa01")],
            "status.csv": [("L01", "L 1"), ("L02", "L\xa01")],
        },
        Told(
            "looks-alike", "lakes.csv:3:lake_id", r"'L<U\+00A0>1' looks the same as 'L 1' in row 2"
        ),
    ),
    "long_texts": Case(
        {
            "lakes.csv": [("L02", "L" * 101), ("East", "E" * 201)],
            "landings.csv": ("L02", "L" * 101),
            "status.csv": ("L02", "L" * 101),
        },
        Told(
            "too-long",
            "lakes.csv:3:lake_id",
            r"an id of 101 letters, 'L{60}\.\.\.'.*100 letters or fewer",
        ),
        Told(
            "too-long",
            "lakes.csv:4:name",
            r"a text of 201 letters, 'E{60}\.\.\.'.*200 letters or fewer",
        ),
    ),
    "damaged_workbook": Case(
        workbook(cut=True), Told("unreadable", "lakes.xlsx", "can't be read as an XLSX workbook")
    ),
    "chart_sheet": Case(
        workbook(chart=True),
        Told("unreadable", "lakes.xlsx", "Delete the sheets that hold only a chart"),
    ),
    "utf32": Case(
        {"lakes.csv": LAKES.encode("utf-32")}, Told("unreadable", "lakes.csv", "UTF-32.*CSV UTF-8")
    ),
    "not_text": Case(
        {"lakes.csv": b"%PDF-1.4\n" + bytes(range(32)) * 4},
        Told("unreadable", "lakes.csv", "this is not text"),
    ),
    "error_value": Case(
        workbook(last=["L03", "East", -127.7, -41.05, "#DIV/0!"]),
        Told("formula-error", "lakes.xlsx:4:area_ha", "shows #DIV/0!"),
    ),
    # settings
    "toml_deep": Case(
        settings(f"holidays = {'[' * 2000}{']' * 2000}"),
        Told("not-toml", "region.toml", "brackets too deep"),
    ),
    "toml_digits": Case(
        settings(f"hours = {'9' * 5000}"), Told("not-toml", "region.toml", "a number too long")
    ),
    "toml_hex": Case(
        settings(f"hours = 0x{'f' * 5000}", f"seasons = {'9' * 400}"),
        Told(
            "out-of-range", "region.toml:5:hours", "thousands of digits is outside 0 to 1,000,000"
        ),
        Told("out-of-range", "region.toml:6:seasons", r"'9{60}\.\.\.' is outside 1 to 50"),
    ),
    "assumptions_absurd": Case(
        settings(
            "assumptions = {water_temperature_c = 1e6, lake_area_exponent = 1e6, "
            "month_spread = 1e6, weekend_ratio = 1e-12, refusal = 0.9, "
            "dreissenid_mussel = {water_hours = 1e9, establish = 0.5}}"
        ),
        Told(
            "assumption",
            "region.toml:5:assumptions",
            "'water_temperature_c' is 1,000,000; "
            r"its stated range is 10 to 28 \(degrees C\), and -5 to 50 is taken",
        ),
        Told(
            "assumption", "region.toml:5:assumptions", "'lake_area_exponent'.*and -5 to 10 is taken"
        ),
        Told("assumption", "region.toml:5:assumptions", "'month_spread'.*and 0.001 to 5 is taken"),
        Told("assumption", "region.toml:5:assumptions", "'weekend_ratio' is 1e-12.*1.5 to 4"),
        Told("assumption", "region.toml:5:assumptions", r"'water_hours'.*60 to 200 \(hours\)"),
    ),
    "weight_tiny": Case(
        {"region.toml": ("= 1.0}", "= 1e-300}")},
        Told(
            "out-of-range",
            "region.toml:4:species",
            "1e-300 is neither 0 nor between 0.000001 and 1,000,000",
        ),
    ),
    "worth": Case(
        {
            "lakes.csv": [
                ("area_ha", "area_ha,worth"),
                ("120", "120,1e-300"),
                (",85", ",85,1e300"),
                (",40", ",40,2"),
            ]
        },
        Told("out-of-range", "lakes.csv:2:worth", "the worth is 1e-300.*from 0.000001 on"),
        Told("out-of-range", "lakes.csv:3:worth", "'1e300' is more than 1,000,000"),
    ),
    "season_another_age": Case(
        {"region.toml": ("2027", "1927")},
        Told("season", "region.toml:3:season_last_day", "outside the years 2000 to 2100"),
    ),
    "shift_too_long": Case(
        settings("shift_hours = 5", "most_hours_per_landing_week = 4", 'blocks = ["06:00-09:00"]'),
        Told("shift-too-long", "region.toml:5:shift_hours", "5 hours, and the longest block 3"),
        Told(
            "shift-too-long",
            "region.toml:5:shift_hours",
            "5 hours, and most_hours_per_landing_week is 4",
        ),
    ),
    "share_of_nothing": Case(
        settings("most_share_per_landing = 0", "least_landings = 2.5", "most_counting_share = 20"),
        Told("out-of-range", "region.toml:5:most_share_per_landing", "0 is outside 0.001 to 1"),
        Told("not-whole", "region.toml:6:least_landings", "2.5 is not a whole number"),
        Told("out-of-range", "region.toml:7:most_counting_share", "20 is outside 0 to 1"),
    ),
    "dusk_unclear": Case(
        settings("after_dusk = 22", 'unasked_landings = "perhaps"'),
        Told("not-yes-or-no", "region.toml:5:after_dusk", "'22' is neither true nor false"),
        Told("not-yes-or-no", "region.toml:6:unasked_landings", "'perhaps' is neither true nor"),
    ),
    "not_toml": Case(settings("hours = many"), Told("not-toml", "region.toml:5", "not valid TOML")),
    "unknown_key": Case(
        settings("hour = 100"), Told("unknown-key", "region.toml:5:hour", "Did you mean 'hours'")
    ),
    "missing_key": Case(
        {"region.toml": ('name = "Invented district"\n', "")},
        Told("missing-key", "region.toml::name", r"Add a line, e\.g\. name ="),
    ),
    "season_reversed": Case(
        {"region.toml": ("2027-09-30", "2026-09-30")},
        Told("season", "region.toml:3:season_last_day", "before it begins"),
    ),
    "blocks_overlap": Case(
        settings('blocks = ["06:00-12:00", "10:00-14:00"]'),
        Told("blocks-overlap", "region.toml:5:blocks", "06:00-12:00 and 10:00-14:00 overlap"),
    ),
    "unknown_assumption": Case(
        settings("assumptions = {refusl = 0.1}"),
        Told("assumption", "region.toml:5:assumptions", "Did you mean 'refusal'"),
    ),
    "species_misspelt": Case(
        {"region.toml": ("dreissenid_mussel", "dreisenid_mussel")},
        Told("unknown-species", "region.toml:4:species", "Did you mean 'dreissenid_mussel'"),
    ),
    # many at once
    "everything": Case(
        {
            **SEEN,
            "region.toml": REGION + "hour = 100\n",
            "lakes.csv": (",120", ",none"),
            "landings.csv": ("A02,L02", "A02,L20"),
            "status.csv": ("absent", "gone"),
            "visits.csv": ("14:30", "19:30"),
            "contacts.csv": ("20,not", "-20,not"),
        },
        Told("unknown-key", "region.toml:5:hour", "hours"),
        Told("not-a-number", "lakes.csv:2:area_ha", "'none' is not a number"),
        Told("unknown-lake", "landings.csv:3:lake_id", "'L20'"),
        Told("unknown-word", "status.csv:3:status", "'gone'"),
        Told("end-before-start", "visits.csv:3:end", "does not end after"),
        Told("out-of-range", "contacts.csv:4:days_out", "'-20' is less than 0"),
    ),
}
# Nothing is wrong: read, with a note.
FINE = {
    "utf8_mark": Case(
        {"lakes.csv": b"\xef\xbb\xbf" + LAKES.encode()},
    ),
    "utf16": Case(
        {"lakes.csv": LAKES.replace("North", "N\u00f8rd").replace(",", "\t").encode("utf-16")},
        Note("encoding", "UTF-16.*Nørd"),
        Note("delimiter", "tab"),
    ),
    "windows1252": Case(
        {"lakes.csv": LAKES.replace("North", "Lac d\u2019Or").encode("cp1252")},
        Note("encoding", "Windows-1252.*Lac d’Or"),
    ),
    "semicolons": Case(
        {
            "region.toml": REGION + 'decimal = ","\n',
            "lakes.csv": [(".", "#"), (",", ";"), ("#", ","), (";85", ";85,5")],
            "landings.csv": [(".", "#"), (",", ";"), ("#", ",")],
        },
        Note("delimiter", "lakes.csv.*semicolon"),
    ),
    "id_decimals": Case(
        {
            "lakes.csv": ("L0", ""),
            "landings.csv": (",L0", ","),
            "status.csv": ("L0", ""),
            **SEEN,
            "contacts.csv": ("launching,L02", "launching,2.0"),
        },
        Note("id-decimal", r"'\.0' taken off 1 ids in last_water"),
    ),
    "no_hours": Case(
        settings("hours = 0", "most_hours_per_landing_week = 0"),
        Note("no-hours", "^hours is 0"),
        Note("no-hours", "^most_hours_per_landing_week is 0"),
    ),
    "all_infested": Case(
        {
            "status.csv": "lake_id,species,status\nL01,dreissenid_mussel,present\n"
            "L02,dreissenid_mussel,present\nL03,dreissenid_mussel,present\n"
        },
        Note("all-infested", "no new infestation to avoid"),
    ),
    "none_infested": Case(
        {"status.csv": "lake_id,species,status,surveys\nL02,dreissenid_mussel,absent,2\n"},
        Note("none-infested", "from outside the region"),
    ),
    "no_interviews": Case({"visits.csv": VISITS}, Note("no-contacts", "are assumed")),
    "one_landing": Case(
        {"landings.csv": "\n".join(LANDINGS.splitlines()[:2]) + "\n"},
        Note("one-landing", "nothing to rank it against"),
    ),
    "no_other_lake": Case(
        {**SEEN, "contacts.csv": ("launching,L02", "launching,L01")},
        Note("no-other-lake", "no interview names another lake"),
    ),
    "overlap": Case(
        outlines({"L04": square(-127.884, -41.10)}),
        Note("outlines-overlap", "1 pairs of outlines overlap by more than 1%.*'L02' and 'L04'"),
    ),
    "visit_twice": Case(
        {**SEEN, "visits.csv": VISITS + "V03,A01,2026-07-04,8:00,12:00,31\n"},
        Note("visit-twice", "visits: 1 have the landing, day and hours.*V03"),
    ),
    "winter": Case(
        {**SEEN, "visits.csv": ("2026-07-08", "2026-01-10")},
        Note("other-months", "1 of 2 are in months outside the season.*V02"),
    ),
    "counts_differ": Case(
        {**SEEN, "visits.csv": ("18:00,12", "18:00,0")},
        Note("counts-differ", "in 1 of 2 more parties were met than boats counted"),
    ),
}
