"""Mutants of `region.toml`: values of every kind under every key, and odd files."""

from __future__ import annotations

import random

from base_region import SETTINGS, Folder
from judge import ACCEPT, EITHER, FREE, REFUSE, Right
from written import settings_bytes

Made = tuple[Folder, Right, str]
KEYS = (
    *SETTINGS,
    *("crs", "shift_hours", "blocks", "most_hours_per_landing_week", "contacts_per_hour", "crew"),
    *("cost_per_km", "rest_hours", "most_shifts_per_person_week", "replan_gain", "time_zone"),
    *("education", "landing_snap_m", "decimal", "date_format", "assumptions"),
)
# A value of no kind that any key takes: whatever the key, it is refused.
NEVER = (
    *("nan", "-inf", "[[1]]", '"\\u0000"', '"now"', '"today"', "08:30:00", '[""]', '{"" = -1}'),
    *("{a = {b = {c = 1}}}", "-0.5", '"\\u202e"', "1e999"),
)
ANY = (
    *("0", "1", "-1", "3", "1e308", "5e-324", '""', '"x"', "true", "[]", "{}", "2027-05-15", '"1"'),
    *("2027-05-15T08:00:00Z", "1979-05-27T00:32:00.999999-07:00", "0x1F", "1_000", '"1,5"', "inf"),
    *("[2027-05-15, 2027-05-15]", '["06:00-10:00"]', '["10:00-06:00"]', "[1, 2]", '"EPSG:4326"'),
    *('"../../etc/passwd"', '"<script>alert(1)</script>"', '"=1+1"', f'"{"x" * 5000}"'),
)
SYSTEMS = (
    ('"EPSG:3857"', REFUSE),
    ('"EPSG:4326"', REFUSE),
    ('"EPSG:99999"', REFUSE),
    ('"EPSG:5703"', REFUSE),
    ('"OGC:CRS84"', REFUSE),
    ('"+proj=longlat"', REFUSE),
    ('"+proj=pipeline +step +proj=utm +zone=9 +south"', REFUSE),
    ('"+proj=geocent"', REFUSE),
    ('"+proj=utm +zone=9 +south +to_meter=1000"', REFUSE),
    ('"+proj=utm +zone=9 +south +axis=wnu"', REFUSE),
    ('"+proj=affine"', REFUSE),
    ('"+proj=merc +lat_ts=0"', REFUSE),
    ('"urn:ogc:def:coordinateOperation:EPSG::1671"', REFUSE),
    ('"EPSG:1671"', REFUSE),
    ('"{}"', REFUSE),
    ('"/etc/hostname"', REFUSE),
    ('"https://127.0.0.1:9/x"', REFUSE),
    ('"WGS 84"', REFUSE),
    ("32709", REFUSE),
)


def value(rng: random.Random, folder: Folder, _: object) -> Made:
    """A value of some kind under a key."""
    key = rng.choice(KEYS)
    text = rng.choice(NEVER + ANY)
    right = Right("either", settings=(key,))
    if text in NEVER and key not in ("name",):
        right = REFUSE
    if key in ("decimal", "date_format", "crs", "landing_snap_m", "blocks", "shift_hours"):
        right = right if right is REFUSE else FREE  # what other files mean hangs on them
    if text == '"now"' or text == '"today"':
        right = Right("either", settings=(key,)) if key == "name" else REFUSE
    return folder.with_setting(key, text), right, f"{key} = {text[:60]}"


def system(rng: random.Random, folder: Folder, _: object) -> Made:
    """A coordinate system that can't be used."""
    text, right = rng.choice(SYSTEMS)
    return folder.with_setting("crs", text), right, f"crs = {text}"


def good_value(rng: random.Random, folder: Folder, _: object) -> Made:
    """A setting written in another way that means the same."""
    key, text = rng.choice(
        (
            ("season_first_day", '"2027-05-15"'),
            ("season_first_day", "2027-05-15T00:00:00"),
            ("hours", "60.0"),
            ("hours", "6e1"),
            ("hours", "0x3C"),
            ("name", "'Invented district'"),
            ("species", "{spiny_waterflea = 0.5, dreissenid_mussel = 1}"),
            ("holidays", "[\n 2027-07-05, # a day\n]"),
            ("seasons", "3.0"),
            ("decimal", '"."'),
            ("date_format", '"YYYY-MM-DD"'),
            ("assumptions", "{}"),
            ("shift_hours", "4"),
        )
    )
    return folder.with_setting(key, text), ACCEPT, f"{key} = {text}"


def odd_file(rng: random.Random, folder: Folder, _: object) -> Made:
    """The bytes of `region.toml` in another encoding, cut, doubled or with more in them."""
    data = settings_bytes(folder.settings)
    text = data.decode()
    name, content, right = rng.choice(
        (
            ("mark", b"\xef\xbb\xbf" + data, ACCEPT),
            ("utf-16", text.encode("utf-16"), ACCEPT),
            ("line ends", data.replace(b"\n", b"\r\n"), ACCEPT),
            ("old line ends", data.replace(b"\n", b"\r"), REFUSE),
            ("blank lines", data.replace(b"\n", b"\n\n\n"), ACCEPT),
            ("cut", data[: rng.randrange(len(data) - 60)], REFUSE),
            ("twice", data + data, REFUSE),
            ("key twice", data + b"seasons = 4\n", REFUSE),
            ("unknown key", data + b"season = 4\n", REFUSE),
            ("dotted", data + b"species.other = 1\n", REFUSE),
            ("a table", data + b"[lakes]\na = 1\n", REFUSE),
            ("empty", b"", REFUSE),
            ("zeros", b"\x00" * 100, REFUSE),
            ("json", b'{"name": "x"}', REFUSE),
            ("yaml", text.replace(" = ", ": ").encode(), REFUSE),
            ("a heading", b"[region]\n" + data, REFUSE),
            ("unseen letter", data.replace(b"seasons", b"seasons\xe2\x80\x8b"), REFUSE),
            ("curly quotes", text.replace('"', "\u201d").encode(), REFUSE),
            ("windows", text.replace("Invented", "Inventé").encode("cp1252"), EITHER),
        )
    )
    if name == "windows":
        right = Right("either", settings=("name",))
    return folder.with_raw(region__toml=content), right, name


def bits(rng: random.Random, folder: Folder, _: object) -> Made:
    """Bytes of `region.toml` changed at random."""
    data = bytearray(settings_bytes(folder.settings))
    for _times in range(rng.randint(1, 4)):
        data[rng.randrange(len(data))] = rng.randrange(256)
    return folder.with_raw(region__toml=bytes(data)), FREE, "bytes changed"


def assumption(rng: random.Random, folder: Folder, _: object) -> Made:
    """An assumption changed to something that it can't be."""
    name = rng.choice(("refusal", "water_temperature_c", "weekend_ratio", "lake_area_exponent"))
    text = rng.choice(
        (
            *(
                "nan",
                "inf",
                '"0.1"',
                "true",
                "[0.1]",
                "{value = 0.1, low = 0.2, high = 0.05}",
                "-1e9",
            ),
            *("{low = 0.1}", "{value = nan}", "{value = 0.1, lo = 0}", "1e308", "{}", "2027-05-15"),
        )
    )
    setting = f"{{{name} = {text}}}"
    return folder.with_setting("assumptions", setting), REFUSE, setting


MUTATORS = {"settings": (value, value, system, good_value, odd_file, bits, assumption)}
