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
from tests.map_pages import embedded
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
    assert [(tag, name) for tag, attributes in elements for name in attributes if name in loading] == []
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
