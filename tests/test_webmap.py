"""The map, opened as a reader opens it: one file, in a browser, without a network. All data is invented here."""

import base64
import dataclasses
import hashlib
import json
import os
import re
import shutil
from collections.abc import Iterator
from datetime import UTC, datetime
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pyproj
import pytest
import shapely
from playwright.sync_api import Browser, Page, sync_playwright

from asbuilt import cautions, look, tables
from asbuilt.as_built import AsBuilt, Counts, Title
from asbuilt.publish import webmap
from asbuilt.quantities import METRE, LengthUnit
from asbuilt.stationing import ChainageEquation, Stationing

CRS = pyproj.CRS.from_epsg(7855)
NASTY = (
    "</script><script>document.title='taken'</script>",
    "${1} {{ 7*7 }} {% raw %} {{ record }}",
    "\"double\" 'single' `back`",
    "<img src=x onerror=alert(1)> & <!-- --> ]]>",
    "\u202eright to left\u202c \u05d0\u05d1\u05d2",
    "line\u2028and\u2029paragraph",
)
STICK_M = 12.0
PLAIN = Stationing()
JUMPING = Stationing(equations=(ChainageEquation(back_m=300, ahead_m=350),))


def invented(joints: int = 60, stationing: Stationing = PLAIN) -> AsBuilt:
    """Return an invented record: a curved line, joints every 12 m, two gaps, one joint without a place, one trial."""
    chainage = np.arange(1, joints + 1) * STICK_M
    line = _line((joints + 1) * STICK_M)
    rng = np.random.default_rng(7)
    kept = np.ones(joints, dtype=bool)
    kept[[joints // 3, joints // 3 + 1, joints // 3 + 2, joints // 2 + 5]] = False
    frames = {"alignment": _alignment(line), "alignment_vertices": _vertices(line)}
    frames["chainage_marks"] = _marks(line, stationing)
    frames["joints"] = _joints(line, chainage[kept], stationing, rng)
    frames["positions"] = _positions(frames["joints"], rng)
    frames["gaps"] = _gaps(line, frames["joints"], stationing)
    frames["window_checks"] = _checks(frames["joints"])
    frames["records"] = _records()
    done = {t.name: frames.get(t.name, tables.empty(t)) for t in tables.ALL}
    return AsBuilt(_title(), CRS.to_wkt(), done, _counts(done, line.length), STATEMENTS, ("Invented note: none.",))


STATEMENTS = (
    "All fixes of crew A state a 95 % accuracy of 4 m, which the window of 2 m cannot be judged with (invented).",
)


def _line(length: float) -> shapely.LineString:
    """Return a line of the given length that bends, in the plane of the route's frame."""
    t = np.linspace(0, length, 400)
    heading = 0.9 * np.sin(t / length * 7) + 0.4
    steps = np.diff(t)[:, None] * np.column_stack([np.cos(heading[1:]), np.sin(heading[1:])])
    xy = np.vstack([[0.0, 0.0], np.cumsum(steps, axis=0)]) + np.array([512000.0, 5260000.0])
    return shapely.LineString(xy.round(4))


def _made(table: tables.Table, rows: int, **columns: object) -> pd.DataFrame:
    """Return a frame of `table` in which the columns that are not given hold nothing."""
    nothing = {"text": "", "real": np.nan, "integer": None, "boolean": None, "time": pd.NaT}
    frame = {c.name: pd.Series([nothing[c.kind]] * rows, dtype=object) for c in table.columns}
    frame |= {name: pd.Series(list(values), dtype=object) for name, values in columns.items()}  # type: ignore[call-overload]
    return tables.conform(pd.DataFrame(frame), table)


def _alignment(line: shapely.LineString) -> pd.DataFrame:
    return _made(
        tables.ALIGNMENT,
        1,
        line=["main"],
        start_chainage_m=[0.0],
        end_chainage_m=[line.length],
        length_m=[line.length],
        geometry=[line],
    )


def _vertices(line: shapely.LineString) -> pd.DataFrame:
    xy = shapely.get_coordinates(line)
    at = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(xy, axis=0).T))])
    columns = {"line": ["main"] * len(xy), "vertex": range(1, len(xy) + 1), "chainage_m": at}
    return _made(tables.ALIGNMENT_VERTICES, len(xy), **columns, easting=xy[:, 0], northing=xy[:, 1])


def _marks(line: shapely.LineString, stationing: Stationing) -> pd.DataFrame:
    ends, breaks = [0.0, line.length], list(stationing.breaks_m)
    at = np.unique([*np.arange(0.0, line.length, 100.0), *ends, *breaks])
    rank = [3 if c in ends or c in breaks else 2 if c % 1000 == 0 else 1 for c in at]
    return _made(
        tables.CHAINAGE_MARKS,
        len(at),
        line=["main"] * len(at),
        chainage_m=at,
        station=stationing.labels(at),
        rank=rank,
        geometry=[line.interpolate(c) for c in at],
    )


def _verdicts(n: int, rng: np.random.Generator, p: tuple[float, ...]) -> list[str]:
    names = [look.IN_WINDOW, look.OUT_OF_WINDOW, look.CANNOT_TELL, look.NOT_RECORDED]
    return [str(v) for v in rng.choice(names, n, p=p)]


def _joints(
    line: shapely.LineString, chainage: np.ndarray, stationing: Stationing, rng: np.random.Generator
) -> pd.DataFrame:
    """The last but one has no place; the last is a cut-out; the first six carry the nasty texts as operators."""
    n = len(chainage)
    points = [line.interpolate(c) for c in chainage]
    longitude, latitude = _geographic(points)
    fusion, position = _verdicts(n, rng, (0.88, 0.04, 0.05, 0.03)), _verdicts(n, rng, (0.5, 0.03, 0.45, 0.02))
    fusion[2], fusion[3], fusion[5] = look.CANNOT_TELL, look.OUT_OF_WINDOW, look.NOT_RECORDED
    position[3] = look.IN_WINDOW
    offset, radius = rng.normal(0, 0.8, n), rng.uniform(0.6, 5, n)
    columns = {
        "joint_id": [f"J{i + 1:04d}" for i in range(n)],
        "joint": [f"{i + 1}" for i in range(n)],
        "kind": ["production"] * n,
        "in_line": [True] * n,
        "line": ["main"] * n,
        "chainage_m": list(chainage),
        "station": list(stationing.labels(chainage)),
        "offset_m": list(offset),
        "chainage_sd_m": list(radius / 2.6),
        "offset_sd_m": list(radius / 3.1),
        "radius95_m": list(radius),
        "placed_by": ["fix+tally"] * n,
        "leg_probability": [1.0] * n,
        "candidates_n": [1] * n,
        "fix_chainage_m": list(chainage + rng.normal(0, 2, n)),
        "fix_offset_m": list(offset * 2),
        "operator": [NASTY[i] if i < len(NASTY) else f"Operator {i % 4 + 1}" for i in range(n)],
        "machine": [f"M{i % 2 + 1}" for i in range(n)],
        "machine_run": [f"M{i % 2 + 1} / 1" for i in range(n)],
        "fused_local": ["2026-03-12T14:32:00+11:00"] * n,
        "time_recorded": ["2026-03-12 14:32:00"] * n,
        "started_at": [pd.Timestamp("2026-03-12T02:50:00Z")] * n,
        "fusion_verdict": fusion,
        "position_verdict": position,
        "recorded_n": [3] * n,
        "procedure_n": [8] * n,
        "reasons": [_reasons(f, p) for f, p in zip(fusion, position, strict=True)],
        "latitude": list(latitude),
        "longitude": list(longitude),
        "easting": [p.x for p in points],
        "northing": [p.y for p in points],
        "source_file": [f"records/crew_{'ab'[i % 2]}.csv" for i in range(n)],
        "source_row": [i + 2 for i in range(n)],
        "position_recorded": [f"{a:.5f} {b:.5f}" for a, b in zip(latitude, longitude, strict=True)],
        "outside_diameter_mm": [630.0] * n,
        "heater_temperature_c": [238.4 if f == look.OUT_OF_WINDOW else 221.5 for f in fusion],
        "drag_pressure_mpa": [0.517107] * n,
        "geometry": points,
    }
    for name in ("chainage_m", "offset_m", "radius95_m", "latitude", "longitude", "easting", "northing", "geometry"):
        columns[name][n - 2] = None
    columns["station"][n - 2], columns["placed_by"][n - 2], columns["position_verdict"][n - 2] = (
        "",
        "unplaced",
        look.NOT_RECORDED,
    )
    columns["in_line"][n - 1], columns["kind"][n - 1] = False, "trial"
    return _made(tables.JOINTS, n, **columns)


def _reasons(fusion: str, position: str) -> str:
    says = {
        look.OUT_OF_WINDOW: "Heater temperature 238.4 °C is above 230 °C.",
        look.CANNOT_TELL: "The wall is not known, so the window of the soak time is not.",
        look.NOT_RECORDED: "Soak time was not recorded.",
    }
    where = "Offset 1.40 m ± 2.1 m against a window of 2 m." if position == look.CANNOT_TELL else ""
    return f"{says.get(fusion, '')} {where}".strip()


def _geographic(points: list[shapely.Point]) -> tuple[np.ndarray, np.ndarray]:
    to = pyproj.Transformer.from_crs(CRS, CRS.geodetic_crs, always_xy=True)
    return to.transform([p.x for p in points], [p.y for p in points])


def _positions(joints: pd.DataFrame, rng: np.random.Generator) -> pd.DataFrame:
    placed = joints[joints["geometry"].notna()]
    n = len(placed)
    east, north = placed["easting"] + rng.normal(0, 2, n), placed["northing"] + rng.normal(0, 2, n)
    return _made(
        tables.POSITIONS,
        n,
        joint_id=placed["joint_id"],
        method=["fix"] * n,
        line=["main"] * n,
        station=placed["station"],
        offset_m=placed["fix_offset_m"],
        radius95_m=[4.0] * n,
        source=["records/crew_a.csv"] * n,
        easting=east,
        northing=north,
        geometry=[shapely.Point(e, m) for e, m in zip(east, north, strict=True)],
    )


def _gaps(line: shapely.LineString, joints: pd.DataFrame, stationing: Stationing) -> pd.DataFrame:
    placed = joints[joints["geometry"].notna() & joints["in_line"]]
    at, ids = placed["chainage_m"].to_numpy(), placed["joint_id"].to_numpy()
    wide = np.flatnonzero(np.diff(at) > 1.5 * STICK_M)
    missing = np.round(np.diff(at)[wide] / STICK_M).astype(int) - 1
    return _made(
        tables.GAPS,
        len(wide),
        gap_id=[f"{ids[i]}--{ids[i + 1]}" for i in wide],
        line=["main"] * len(wide),
        from_chainage_m=at[wide],
        to_chainage_m=at[wide + 1],
        from_station=stationing.labels(at[wide]),
        to_station=stationing.labels(at[wide + 1]),
        length_m=np.diff(at)[wide],
        from_joint=ids[wide],
        to_joint=ids[wide + 1],
        missing_records=missing,
        missing_low=np.maximum(missing - 1, 1),
        missing_high=missing + 1,
        unplaced_here=[0] * len(wide),
        kind=["between joints"] * len(wide),
        evidence=["The neighbours stand farther apart than one stick of 12 m."] * len(wide),
        geometry=[shapely.ops.substring(line, at[i], at[i + 1]) for i in wide],
    )


def _checks(joints: pd.DataFrame) -> pd.DataFrame:
    """Three checks a joint: one recorded, one on the edge of its window, one not recorded."""
    n = len(joints)
    heater = joints["heater_temperature_c"].to_numpy()
    verdict = [look.OUT_OF_WINDOW if h > 230 else look.IN_WINDOW for h in heater]
    return _made(
        tables.WINDOW_CHECKS,
        3 * n,
        joint_id=np.tile(joints["joint_id"], 3),
        check=["heater_temperature"] * n + ["bead_pressure"] * n + ["soak_time"] * n,
        value=[*heater, *[0.1500001] * n, *[np.nan] * n],
        low=[210.0] * n + [np.nan] * n + [600.0] * n,
        high=[230.0] * n + [0.15] * n + [np.nan] * n,
        unit=["°C"] * n + ["MPa"] * n + ["s"] * n,
        verdict=[*verdict, *[look.OUT_OF_WINDOW] * n, *[look.NOT_RECORDED] * n],
        required=[True] * n + [False] * n + [False] * n,
        source=["Invented procedure, table 1"] * (2 * n) + ["project limit"] * n,
        status=["read"] * (2 * n) + ["project"] * n,
        cause=[""] * (2 * n) + ["No soak time in this row."] * n,
    )


def _records() -> pd.DataFrame:
    return _made(
        tables.RECORDS,
        1,
        source_file=["records/crew_a.csv"],
        source_row=[41],
        outcome=["set aside"],
        outstanding=[True],
        reason=["no joint number <b>at all</b>"],
    )


def _title() -> Title:
    return Title(
        name="Invented demonstration route <4>",
        revision="P01",
        as_of=datetime(2026, 3, 20, 17, 30, tzinfo=UTC),
        owner="",
        contractor="",
        contract="",
        crs="EPSG:7855, GDA2020 / MGA zone 55 (metre)",
        base_crs="GDA2020",
        length_unit=METRE,
        station_length="1000 m",
        length_kind="grid",
        procedure="Invented procedure, edition 1",
    )


def _counts(done: dict[str, pd.DataFrame], length: float) -> Counts:
    joints = done["joints"][done["joints"]["in_line"]]
    gaps = done["gaps"]
    bad = joints[["fusion_verdict", "position_verdict"]].isin([look.OUT_OF_WINDOW, look.NOT_RECORDED]).any(axis=1)
    return Counts(
        rows=len(joints) + 2,
        joints=len(joints),
        duplicates=0,
        superseded=0,
        trials=1,
        set_aside=1,
        unplaced=int(joints["geometry"].isna().sum()),
        fusion=joints["fusion_verdict"].value_counts().to_dict(),
        position=joints["position_verdict"].value_counts().to_dict(),
        gaps=len(gaps),
        missing_records=int(gaps["missing_records"].sum()),
        outstanding=int((bad | joints["geometry"].isna()).sum()) + len(gaps) + 1,
        length_m=length,
        covered_m=length - float(gaps["length_m"].sum()),
    )


# ---- the file ------------------------------------------------------------------------------------------------------


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


def carried(text: str) -> dict[str, Any]:
    return json.loads(re.search(r'<script id="record" type="application/json">(.*?)</script>', text, re.DOTALL)[1])


def test_the_page_names_no_address_outside_itself(text):
    loading = {"src", "href", "srcset", "action", "data", "poster", "formaction", "background", "ping", "style"}
    elements = Reading(text).elements
    assert len(elements) > 50
    assert [(tag, name) for tag, attributes in elements for name in attributes if name in loading] == []
    assert [tag for tag, _ in elements if tag in {"link", "img", "iframe", "object", "embed", "base", "form"}] == []
    assert set(re.findall(r"\bhttps?://[^\"'\s)]*", text)) == {"http://www.w3.org/2000/svg"}  # a name, never loaded
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
    told = re.search(r'<script id="record" type="application/json">(.*?)</script>', text, re.DOTALL)[1]
    assert not set("<>&\u2028\u2029") & set(told)
    assert set(NASTY) <= set(carried(text)["joints"]["columns"]["operator"]["words"])
    assert len(Reading(text).texts["script"]) == 4
    assert "<img" not in text
    assert "{{ 7*7 }}" in text  # shown as it was written, and not read as a template
    assert text.count('id="record"') == 1


def test_every_row_is_carried_and_nothing_is_called_null(record, text):
    data = carried(text)
    assert data["joints"]["rows"] == len(record.tables["joints"]) == 56
    assert data["joints"]["columns"]["joint_id"] == list(record.tables["joints"]["joint_id"])
    assert data["checks"]["rows"] == len(record.tables["window_checks"])
    assert len(data["gaps"]["paths"]) == len(record.tables["gaps"]) == 2
    assert data["set_aside"]["columns"]["reason"] == ["no joint number <b>at all</b>"]
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
    assert carried(text)["joints"] == {"rows": 0, "columns": {}}
    assert carried(text)["lines"][0]["chainage_m"][-1] == pytest.approx(732, abs=0.001)


def test_a_closed_line_carries_the_chainage_of_each_vertex():
    ring = shapely.LineString([(0, 0), (160, 0), (160, 90), (0, 90), (0, 80), (0, 0)])
    ring = shapely.transform(ring, lambda xy: xy + np.array([500_000.0, 5_250_000.0]))
    made = invented()
    swapped = {"alignment": _alignment(ring), "alignment_vertices": _vertices(ring)}
    text = webmap.page(dataclasses.replace(made, tables={**made.tables, **swapped}))
    assert carried(text)["lines"][0]["chainage_m"] == [0, 160, 250, 410, 420, 500]


# ---- in a browser --------------------------------------------------------------------------------------------------

ARGUMENTS = ["--no-sandbox", "--disable-gpu", "--disable-background-networking", "--disable-component-update",
             "--disable-sync", "--no-first-run"]  # fmt: skip
PHONE = {"viewport": {"width": 390, "height": 844}, "device_scale_factor": 2, "has_touch": True, "is_mobile": True}
DESK = {"viewport": {"width": 1440, "height": 900}}
CALM = {"reduced_motion": "reduce"}  # then the map moves at once


def chromium_or_stop() -> str:
    """The path of the browser. Without one the test is skipped loudly, and in CI it fails."""
    path = shutil.which("chromium")
    if path is None:
        stop = pytest.fail if os.environ.get("CI") else pytest.skip
        stop("NO BROWSER: the program chromium was not found, so that THE MAP WAS NOT OPENED by any test")
    return str(path)


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    path = chromium_or_stop()
    with sync_playwright() as playwright:
        started = playwright.chromium.launch(executable_path=path, args=ARGUMENTS)
        yield started
        started.close()


@pytest.fixture(scope="module")
def folder(tmp_path_factory) -> Path:
    return tmp_path_factory.mktemp("map")


@pytest.fixture
def opened(browser: Browser, folder: Path):
    """Returns a function that opens the map of a record; when the test ends, nothing must have been asked for."""
    contexts, strangers, complaints = [], [], []

    def ask(route: Any) -> None:
        if route.request.url.startswith("file:"):
            route.continue_()
        else:
            strangers.append(route.request.url)
            route.abort()

    def open_map(record: AsBuilt, device: dict[str, Any]) -> Page:
        path = folder / "map.html"
        webmap.write_map(record, path)
        contexts.append(browser.new_context(**device, **CALM))
        page = contexts[-1].new_page()
        page.route("**/*", ask)
        page.on("console", lambda message: complaints.append(message.text))
        page.on("pageerror", lambda error: complaints.append(str(error)))
        page.on("dialog", lambda dialog: (complaints.append(dialog.message), dialog.dismiss()))
        page.goto(path.as_uri())
        page.wait_for_function("window.asbuilt !== undefined")
        return page

    yield open_map
    for context in contexts:
        context.close()
    assert strangers == []
    assert complaints == []


def find(page: Page, text: str) -> None:
    page.fill("#find", text)
    page.press("#find", "Enter")


def card(page: Page) -> str:
    return page.locator("#card").evaluate("card => card.textContent")


def colour_at(page: Page, joint_id: str) -> str:
    """Return the colour of the canvas where a joint stands, as #RRGGBB."""
    x, y = page.evaluate("id => window.asbuilt.pixelOf(id)", joint_id)
    bytes_ = page.evaluate(
        """([x, y]) => {
          const canvas = document.querySelector(".leaflet-overlay-pane canvas"), box = canvas.getBoundingClientRect();
          const ratio = canvas.width / box.width;
          const at = [Math.round((x - box.left) * ratio), Math.round((y - box.top) * ratio)];
          const one = Object.assign(document.createElement("canvas"), {width: 1, height: 1}).getContext("2d");
          one.drawImage(canvas, at[0], at[1], 1, 1, 0, 0, 1, 1);
          return Array.from(one.getImageData(0, 0, 1, 1).data);
        }""",
        [x, y],
    )
    return "#" + "".join(f"{b:02X}" for b in bytes_[:3])


@pytest.mark.parametrize("device", [DESK, PHONE], ids=["desk", "phone"])
def test_every_placed_joint_is_drawn(record, opened, device):
    page = opened(record, device)
    placed = int(record.tables["joints"]["geometry"].notna().sum())
    assert placed == len(record.tables["joints"]) - 1
    assert page.evaluate("window.asbuilt.drawn().joints") == page.evaluate("window.asbuilt.placed") == placed
    assert page.evaluate("window.asbuilt.drawn().gaps") == 2
    assert page.evaluate("window.asbuilt.drawn().stations") >= 2
    assert page.evaluate("Object.isFrozen(window.asbuilt)")


def test_a_joint_has_the_colour_of_its_verdict(record, opened):
    page = opened(record, DESK)
    for number in (2, 3, 5, 7):
        row = record.tables["joints"].iloc[number]
        find(page, row["joint_id"])
        page.click("#card .close")
        assert colour_at(page, row["joint_id"]) == look.FUSION[row["fusion_verdict"]].fill


@pytest.mark.parametrize("device", [DESK, PHONE], ids=["desk", "phone"])
def test_a_tap_opens_the_card(record, opened, device):
    page = opened(record, device)
    find(page, "J0030")
    at = page.evaluate("window.asbuilt.pixelOf('J0031')")
    tap = page.touchscreen.tap if device is PHONE else page.mouse.click
    tap(*at)
    page.wait_for_function("window.asbuilt.chosen().row === 30")
    assert "Joint J0031" in card(page)
    page.click("#card .neighbours button >> nth=1")
    assert "Joint J0032" in card(page)
    page.click("#card .close")
    assert not page.is_visible("#card")


def test_joints_on_one_spot_are_reached_by_further_taps(record, opened):
    page = opened(record, DESK)
    page.evaluate("window.map_of_joints.setZoom(window.map_of_joints.getZoom() - 4, {animate: false})")
    assert page.is_visible(".crowded")
    at = page.evaluate("window.asbuilt.pixelOf('J0030')")
    seen = set()
    for _ in range(4):
        page.mouse.click(*at)
        page.wait_for_timeout(350)  # two clicks at once would be a double click, which zooms
        assert "joints are drawn on this spot" in card(page)
        seen.add(page.evaluate("window.asbuilt.chosen().row"))
    assert len(seen) > 1


def test_the_card_says_all_of_a_joint(record, opened):
    page = opened(record, DESK)
    find(page, "j0004")
    row, said = record.tables["joints"].iloc[3], card(page)
    for words in (
        "Fusion: out of window (3 of 8 quantities of the procedure recorded)",
        "Position: in window",
        "Heater temperature 238.4 °C is above 230 °C.",
        f"{row['station']}, {abs(row['offset_m']):.2f} m {'R' if row['offset_m'] > 0 else 'L'}",
        f"{row['latitude']:.7f}, {row['longitude']:.7f}",
        f"{row['easting']:.2f} E, {row['northing']:.2f} N",
        "EPSG:7855, GDA2020 / MGA zone 55 (metre)",
        "computed, not surveyed",
        f"95 % radius{row['radius95_m']:.2f} m",
        "238.4 °C210 to 230 °C",
        "0.1500001 MPaat most 0.15 MPa",
        "Not recorded and not required: soak time.",
        "Drag pressure0.5171 MPa",
        "records/crew_b.csv, row 5",
        "12 March 2026 14:32 (UTC+11:00)",
        "12 March 2026 02:50 (UTC)",
        "Time as recorded2026-03-12 14:32:00",
        "← J0003, 12.0 m",
    ):
        assert words in said


def test_nothing_is_ever_shown_as_nan_or_null(record, opened):
    page = opened(record, DESK)
    for joint_id in ("J0001", "J0019", "J0021", "J0055", "J0056"):  # the last two: without a place, and a trial
        find(page, joint_id)
        assert f"Joint {joint_id}" in card(page)
        assert re.findall(r"\b(nan|null|undefined|NaT|None|Infinity)\b", card(page), re.IGNORECASE) == []
    assert "it is in no count" in card(page)
    find(page, "J0055")
    assert "has no place on the line" in card(page)


def test_texts_are_shown_as_they_were_written(record, opened):
    page = opened(record, DESK)
    for number, words in enumerate(NASTY):
        find(page, f"J{number + 1:04d}")
        assert words in card(page)
    assert page.locator("#card img, #card script").count() == 0
    assert page.title() == "Invented demonstration route <4>, joint map, P01"


def test_a_gap_opens_its_card(record, opened):
    page = opened(record, DESK)
    gap = record.tables["gaps"].iloc[0]
    page.click(f"#outstanding-list button:has-text('{gap['gap_id']}')")
    said = card(page)
    assert "48.0 m, 3 missing records" in said
    assert "Missing records, with 95 %2 to 4" in said
    page.click(f"#card button:has-text('{gap['from_joint']}')")
    assert f"Joint {gap['from_joint']}" in card(page)
    assert f"{gap['to_joint']}, 48.0 m (gap)" in card(page)


def test_the_search_finds_part_of_an_id_and_says_when_it_finds_nothing(record, opened):
    page = opened(record, DESK)
    page.fill("#find", "003")
    assert page.locator("#found button").count() == 8
    assert "Joint J0003 at" in page.inner_text("#found")
    assert "more: type on" in page.inner_text("#found")
    page.fill("#find", "<b>nowhere")
    assert "No joint and no station fits “<b>nowhere”." in page.inner_text("#found")


def place_of(record: AsBuilt, chainage: float) -> tuple[float, float]:
    """Latitude and longitude by shapely and pyproj alone."""
    point = record.tables["alignment"]["geometry"].iloc[0].interpolate(chainage)
    (longitude,), (latitude,) = _geographic([point])
    return latitude, longitude


@pytest.mark.parametrize(
    ("stationing", "typed", "chainage"),
    [(PLAIN, "0+250", 250.0), (PLAIN, "250", 250.0), (JUMPING, "0+250", 250.0), (JUMPING, "0+412.5", 362.5)],
)
def test_a_station_is_found_across_chainage_equations(opened, stationing, typed, chainage):
    record = invented(stationing=stationing)
    page = opened(record, DESK)
    find(page, typed)
    said = card(page)
    found = re.search(r"(-\d+\.\d{7}), (\d+\.\d{7})", said)
    assert (float(found[1]), float(found[2])) == pytest.approx(place_of(record, chainage), abs=2e-7)
    joints = record.tables["joints"]
    before = joints[joints["chainage_m"] <= chainage].iloc[-1]
    assert f"Joint before{before['joint_id']} {chainage - before['chainage_m']:.1f} m" in said


def test_a_us_route_is_shown_in_feet(opened):
    foot = LengthUnit("ft", 1200 / 3937)
    stationing = Stationing(station_length_m=100 * foot.metres, metres_per_unit=foot.metres)
    record = invented(stationing=stationing)
    title = dataclasses.replace(record.title, length_unit=foot, station_length="100 ft")
    page = opened(dataclasses.replace(record, title=title), DESK)
    find(page, "8+20.21")  # 250 m = 820.208 ft
    found = re.search(r"(-\d+\.\d{7}), (\d+\.\d{7})", card(page))
    assert (float(found[1]), float(found[2])) == pytest.approx(place_of(record, 250.0), abs=2e-7)
    find(page, "J0004")
    assert "← J0003, 39.4 ft" in card(page)  # 12 m
    assert "1+57.48" in card(page)  # 48 m
    assert page.locator(".leaflet-control-scale-line").all_inner_texts()[-1].endswith(" ft")


def test_a_station_in_a_hole_of_the_labels_is_not_found(opened):
    page = opened(invented(stationing=JUMPING), DESK)
    page.fill("#find", "0+320")
    assert "No joint and no station fits" in page.inner_text("#found")


def test_all_that_is_outstanding_is_listed(record, opened):
    page = opened(record, DESK)
    assert page.evaluate("window.asbuilt.outstanding") == record.counts.outstanding
    rows = page.locator("#outstanding-list tbody tr")
    assert rows.count() == record.counts.outstanding
    texts = rows.all_inner_texts()
    stations = [t.split("\t")[0] for t in texts if not t.startswith("no place")]
    assert stations == sorted(stations)
    assert len(stations) == record.counts.outstanding - 2
    assert "row set aside: no joint number <b>at all</b>" in texts[-1]
    page.select_option("#outstanding-list select", "gap")
    assert rows.count() == 2


def test_a_phone_has_the_map_first_and_room_for_a_finger(record, opened):
    page = opened(record, PHONE)
    find(page, "J0004")
    box = {name: page.locator(name).first.bounding_box() for name in (".map", "#find", "#card", ".caution", ".key")}
    tops = [b["y"] for b in box.values()]
    assert tops == sorted(tops)
    assert page.evaluate("document.documentElement.scrollWidth") == 390
    small = """what => Array.from(document.querySelectorAll(what)).filter(one => one.offsetParent !== null)
      .filter(one => one.getBoundingClientRect().height < 44).map(one => one.outerHTML)"""
    assert page.evaluate(small, "button, input, select, .leaflet-bar a") == []
    sizes = """() => Array.from(document.body.querySelectorAll("*")).filter(one => one.offsetParent !== null)
      .filter(one => Array.from(one.childNodes).some(part => part.nodeType === 3 && part.data.trim()))
      .filter(one => one.tagName !== "SUP").map(one => parseFloat(getComputedStyle(one).fontSize))"""
    assert min(page.evaluate(sizes)) >= 16


def test_paper_gets_a_copy_of_the_map(record, opened):
    page = opened(record, DESK)
    page.evaluate("window.dispatchEvent(new Event('beforeprint'))")
    inked = """() => {
      const copy = document.querySelector(".print-copy");
      return Array.from(copy.getContext("2d").getImageData(0, 0, copy.width, copy.height).data).filter(v => v).length;
    }"""
    assert page.evaluate(inked) > 1000
    page.emulate_media(media="print")
    assert page.is_visible(".print-copy")
    assert not page.is_visible("#find")
