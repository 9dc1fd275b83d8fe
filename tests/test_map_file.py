"""The file of the map: what it names, what may run in it, what cannot leave its place. All data is invented."""

import base64
import dataclasses
import hashlib
import json
import re
from html.parser import HTMLParser

import numpy as np
import pytest
import shapely

from asbuilt import cautions, map_tables, tables
from asbuilt.as_built import AsBuilt
from asbuilt.publish import webmap
from tests.map_pages import DESK, DEVICES, card, embedded, find, until
from tests.map_record import NASTY, STATEMENTS, _alignment, _vertices, invented


class Reading(HTMLParser):
    """What a browser would find in the page: elements with their attributes, and the text of each script."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.elements: list[tuple[str, dict[str, str | None]]] = []
        self.texts: dict[str, list[str]] = {"script": [], "style": []}
        self.inside = ""
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, dict(attrs)))
        self.inside = tag

    def handle_data(self, data: str) -> None:
        if self.inside in self.texts:
            self.texts[self.inside].append(data)

    def handle_endtag(self, tag: str) -> None:
        self.inside = "" if tag == self.inside else self.inside

    def one(self, tag: str, name: str, value: str) -> dict[str, str | None]:
        return next(a for t, a in self.elements if t == tag and a.get(name) == value)


@pytest.fixture(scope="module")
def record() -> AsBuilt:
    return invented()


@pytest.fixture(scope="module")
def text(record: AsBuilt) -> str:
    return webmap.page(record)


def test_the_page_names_no_address_outside_itself(text):
    loading = {"src", "href", "srcset", "action", "data", "poster", "formaction", "background", "ping", "style"}
    elements = Reading(text).elements
    assert len(elements) > 50
    named = [
        (tag, name, value) for tag, attributes in elements for name, value in attributes.items() if name in loading
    ]
    assert named == [("a", "href", "#list-title")]  # within the page
    assert [tag for tag, _ in elements if tag in {"link", "img", "iframe", "object", "embed", "base", "form"}] == []
    names = {"http://www.w3.org/2000/svg", "http://www.topografix.com/GPX/1/1"}  # names, never loaded
    assert set(re.findall(r"\bhttps?://[^\"'\s)]*", text)) == names
    assert "url(" not in text.split("<body>")[0]
    assert "@import" not in text
    assert "sourceMappingURL" not in text


def test_the_same_record_gives_the_same_bytes(tmp_path):
    for name in ("one", "two"):
        webmap.write_map(invented(), tmp_path / name)
    assert (tmp_path / "one").read_bytes() == (tmp_path / "two").read_bytes()
    assert b"\r" not in (tmp_path / "one").read_bytes()


def test_only_the_scripts_of_the_page_may_run(text):
    reading = Reading(text)
    policy = reading.one("meta", "http-equiv", "Content-Security-Policy")["content"]
    assert policy.startswith("default-src 'none'; script-src 'sha256-")
    assert "unsafe" not in policy
    scripts = reading.texts["script"][1:]  # the first is data, which does not run
    assert len(scripts) == 3
    for part in [*scripts, *reading.texts["style"]]:
        assert f"'sha256-{base64.b64encode(hashlib.sha256(part.encode()).digest()).decode()}'" in policy
    assert [tag for tag, attributes in reading.elements if any(name.startswith("on") for name in attributes)] == []


def test_texts_of_the_record_cannot_leave_their_place(record):
    title = dataclasses.replace(record.title, name=NASTY[0] + NASTY[1], owner=NASTY[3])
    text = webmap.page(dataclasses.replace(record, title=title, statements=NASTY, notes=NASTY))
    told = re.search(r'<script id="record" type="text/plain">(.*?)</script>', text, re.DOTALL)[1]
    assert re.fullmatch("[A-Za-z0-9+/=]+", told)  # nothing in it can end the element
    assert set(NASTY) <= set(map_tables.plain(embedded(text)["joints"]["columns"]["operator"]))
    assert len(Reading(text).texts["script"]) == 4
    assert "<img" not in text
    assert "{{ 7*7 }}" in text  # shown as it was written, and not read as a template
    assert text.count('id="record"') == 1


def nasty(record: AsBuilt) -> AsBuilt:
    """Return the record with something nasty in every text that the page shows and that is free to be anything."""
    free = {
        "joints": ("operator", "machine", "procedure", "method", "remarks", "photo", "trace", "visual", "material",
                   "pipe_a", "pipe_b", "string", "fix", "reasons", "source_file", "source_sheet", "station", "joint"),
        "gaps": ("gap_id", "evidence", "from_station", "to_station"),
        "window_checks": ("source", "status", "cause", "unit"),
        "records": ("source_file", "sheet", "reason"),
        "positions": ("source", "station"),
        "chainage_marks": ("station",),
    }  # fmt: skip
    done = dict(record.tables)
    for name, columns in free.items():
        frame = done[name].copy()
        for at, column in enumerate(columns):
            frame[column] = [NASTY[(at + i) % len(NASTY)] + f" {i}" for i in range(len(frame))]
        done[name] = frame
    texts = dict(zip(("name", "owner", "contractor", "contract", "procedure", "crs"), NASTY, strict=True))
    title = dataclasses.replace(record.title, revision=NASTY[2], base_crs=NASTY[0], wgs84=NASTY[1], **texts)
    return dataclasses.replace(record, title=title, tables=done, statements=NASTY, notes=NASTY)


def test_no_text_of_the_record_becomes_part_of_the_page(record):
    """The page has the same elements, in the same order, whatever the texts say."""
    plain = {
        name: f"text {name}" for name in ("name", "owner", "contractor", "contract", "procedure", "crs", "base_crs")
    }
    title = dataclasses.replace(record.title, **plain)
    texts = ("one", "two", "three", "four", "five", "six")
    expected = Reading(webmap.page(dataclasses.replace(record, title=title, statements=texts, notes=texts)))
    found = Reading(webmap.page(nasty(record)))
    assert [tag for tag, _ in found.elements] == [tag for tag, _ in expected.elements]
    shape = [(tag, sorted(attributes)) for tag, attributes in found.elements]
    assert shape == [(tag, sorted(attributes)) for tag, attributes in expected.elements]
    assert len(found.elements) > 80


@DEVICES
def test_every_text_is_shown_as_it_was_written_and_does_nothing(record, opened, device):
    page, made = opened(nasty(record), device), nasty(record)
    kinds = "Array.from(new Set(Array.from(document.querySelectorAll('main *'), one => one.tagName.toLowerCase())))"
    for joint_id in made.tables["joints"]["joint_id"].iloc[:6]:
        find(page, joint_id)
        said = card(page)
        row = made.tables["joints"].set_index("joint_id").loc[joint_id]
        for column in ("operator", "machine", "remarks", "pipe_a", "source_file", "station", "procedure"):
            assert row[column] in said, column
        assert cautions.IN_SHORT in said
    page.click("#list-rows button:has-text('Gap') >> nth=0")
    assert made.tables["gaps"].iloc[0]["gap_id"] in card(page)
    assert cautions.IN_SHORT in card(page)
    page.fill("#find", "operator")
    page.fill("#find", "right to left")
    assert page.locator("#found button").count() > 0
    page.click("#narrow summary")
    page.select_option("#narrow select >> nth=2", index=1)
    assert set(page.evaluate(kinds)).isdisjoint({"script", "img", "iframe", "object", "embed", "form"})
    assert page.evaluate("document.title").startswith(NASTY[0].strip())


# What sets the direction of a text must stand where it cannot turn its neighbours: alone in its element, or in one
# that is isolated (<bdi>, or a block of its own). An option takes no element: it is alone by nature.
LOOSE = """() => {
  const found = [], walk = document.createTreeWalker(document.querySelector("main"), NodeFilter.SHOW_TEXT);
  while (walk.nextNode()) {
    const one = walk.currentNode, parent = one.parentElement;
    if (!/[\u202a-\u202e\u05d0-\u05ea]/.test(one.data)) continue;
    const isAlone = parent.childNodes.length === 1 && getComputedStyle(parent).display !== "inline";
    if (!parent.closest("bdi, noscript, option") && !isAlone) found.push(parent.outerHTML.slice(0, 200));
  }
  return found;
}"""


def test_marks_of_direction_do_not_turn_their_neighbours(record, opened):
    page = opened(nasty(record), DESK)
    for joint_id in record.tables["joints"]["joint_id"].iloc[:6]:
        find(page, joint_id)
        assert page.evaluate(LOOSE) == [], joint_id
    page.click("#list-rows button:has-text('Gap') >> nth=0")
    assert page.evaluate(LOOSE) == []
    page.fill("#find", "0020")
    assert page.evaluate(LOOSE) == []


def test_ids_are_unique_and_fixed(record, text, opened):
    ids = [attributes["id"] for _, attributes in Reading(text).elements if "id" in attributes]
    assert len(ids) == len(set(ids)) > 15
    page = opened(record, DESK)
    find(page, "J0004")
    page.click("#narrow summary")
    page.select_option("#narrow select >> nth=0", index=1)
    shown = page.evaluate("Array.from(document.querySelectorAll('[id]'), one => one.id)")
    assert len(shown) == len(set(shown)) > 30
    page.reload()
    until(page, "window.asbuilt !== undefined")
    find(page, "J0004")
    page.click("#narrow summary")
    page.select_option("#narrow select >> nth=0", index=1)
    assert page.evaluate("Array.from(document.querySelectorAll('[id]'), one => one.id)") == shown


def test_the_cautions_are_seen_without_a_click(record, opened):
    page = opened(record, DESK)
    for caution in cautions.CAUTIONS:
        assert page.get_by_text(caution).last.is_visible()
    assert page.locator(".caution").bounding_box()["y"] < DESK["viewport"]["height"]  # on the first screen


def test_every_row_is_carried_and_nothing_is_called_null(record, text):
    data = embedded(text)
    assert data["joints"]["rows"] == len(record.tables["joints"]) == 56
    assert data["joints"]["columns"]["joint_id"] == list(record.tables["joints"]["joint_id"])
    assert data["checks"]["rows"] == len(record.tables["window_checks"])
    assert len(data["gap_paths"]) == len(record.tables["gaps"]) == 2
    assert data["set_aside"]["columns"]["reason"] == {"all": "no joint number <b>at all</b>"}
    assert "latitude" in data["joints"]["columns"]
    assert "elevation_m" not in data["joints"]["columns"]  # nothing was recorded: absent
    assert "NaN" not in json.dumps(data)


def test_the_head_stands_without_scripts(text):
    visible = re.sub(r"<script.*?</script>|<style.*?</style>", "", text, flags=re.DOTALL)
    for caution in cautions.CAUTIONS:
        assert caution in visible
    assert STATEMENTS[0] in visible
    assert "Invented demonstration route &lt;4&gt;" in visible
    assert "as of 20 March 2026 17:30 (UTC+00:00)" in visible
    reading = Reading(text)
    assert ("html", {"lang": "en"}) in reading.elements
    assert reading.one("meta", "name", "viewport")["content"] == "width=device-width, initial-scale=1"


def test_a_record_without_joints_or_marks_is_written(record):
    bare = {name: record.tables[name] for name in ("alignment", "alignment_vertices")}
    bare |= {t.name: tables.empty(t) for t in tables.ALL if t.name not in bare}
    text = webmap.page(dataclasses.replace(record, tables=bare))
    assert embedded(text)["joints"] == {"rows": 0, "columns": {}}
    assert embedded(text)["checks"] == {"rows": 0, "columns": {}, "counts": []}
    assert embedded(text)["lines"][0]["chainage_m"][-1] == pytest.approx(732, abs=0.001)


def test_a_closed_line_carries_the_chainage_of_each_vertex():
    ring = shapely.LineString([(0, 0), (160, 0), (160, 90), (0, 90), (0, 80), (0, 0)])
    ring = shapely.transform(ring, lambda xy: xy + np.array([500_000.0, 5_250_000.0]))
    made = invented()
    swapped = {"alignment": _alignment(ring), "alignment_vertices": _vertices(ring)}
    text = webmap.page(dataclasses.replace(made, tables={**made.tables, **swapped}))
    assert embedded(text)["lines"][0]["chainage_m"] == [0, 160, 250, 410, 420, 500]
