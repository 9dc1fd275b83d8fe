"""What is seen at once when the map opens, measured on the screen. All data is invented."""

import base64
import dataclasses
import math
import re
from typing import Any, NamedTuple

import numpy as np
import pandas as pd
import pyproj
import pytest
import scipy.ndimage
import shapely
from playwright.sync_api import Page

from asbuilt import look, tables
from asbuilt.as_built import AsBuilt
from asbuilt.publish import webmap
from tests.map_pages import DESK, DEVICES, PHONE, card, find, keep
from tests.map_record import _checks, invented

INK, PAPER = (0x11, 0x11, 0x11), (0xFF, 0xFF, 0xFF)
RINGED = {look.IN_WINDOW: 34, look.OUT_OF_WINDOW: 35, look.CANNOT_TELL: 36, look.NOT_RECORDED: 37}  # rows, position
SHAPED = {verdict: 13 + i for i, verdict in enumerate(look.FUSION)}  # rows, by fusion verdict; the line is steep there
INFERRED, SHOT = 43, 44
# Keeps each text that is written on a canvas of the map, with its place in pixels of the canvas.
LISTENING = """
window.written = [];
const write = CanvasRenderingContext2D.prototype.fillText;
CanvasRenderingContext2D.prototype.fillText = function (text, x, y) {
  if (this.canvas.closest(".leaflet-overlay-pane")) {
    const t = this.getTransform();
    const width = this.measureText(text).width * t.a, height = parseInt(this.font.match(/(\\d+)px/)[1]) * t.a;
    window.written.push([text, x * t.a + t.e, y * t.d + t.f, width, height]);
  }
  return write.apply(this, arguments);
};
const clear = Object.getOwnPropertyDescriptor(HTMLCanvasElement.prototype, "width");
Object.defineProperty(HTMLCanvasElement.prototype, "width", { ...clear, set(value) {
  if (this.closest(".leaflet-overlay-pane")) window.written = [];
  clear.set.call(this, value);
}});
"""


def told() -> AsBuilt:
    """The invented record with one joint for each sign, none of them ringed but those that are about rings."""
    made = invented()
    joints = made.tables["joints"].copy()
    joints.loc[[*range(12, 19), *range(30, 46)], ["fusion_verdict", "position_verdict"]] = look.IN_WINDOW
    for verdict, row in RINGED.items():
        joints.loc[row, "position_verdict"] = verdict
    for verdict, row in SHAPED.items():
        joints.loc[row, "fusion_verdict"] = verdict
    joints.loc[INFERRED, "placed_by"], joints.loc[SHOT, "placed_by"] = "tally", "survey"
    done = {**made.tables, "joints": tables.conform(joints, tables.JOINTS), "window_checks": _checks(joints)}
    of = joints[joints["in_line"]]
    fusion, position = (of[f"{kind}_verdict"].value_counts().to_dict() for kind in ("fusion", "position"))
    return dataclasses.replace(
        made, tables=done, counts=dataclasses.replace(made.counts, fusion=fusion, position=position)
    )


@pytest.fixture(scope="module")
def record() -> AsBuilt:
    return told()


@pytest.fixture(scope="module")
def path(record, tmp_path_factory):
    made = tmp_path_factory.mktemp("map") / "map.html"
    webmap.write_map(record, made)
    return made


@pytest.fixture(scope="module")
def desk(opener, path) -> Page:
    return opener(path, DESK, script=LISTENING)


@pytest.fixture(scope="module")
def phone(opener, path) -> Page:
    return opener(path, PHONE, script=LISTENING)


# ---- measuring -------------------------------------------------------------------------------------------------------


def go(page: Page, latitude: float, longitude: float, zoom: float) -> None:
    page.evaluate("([at, zoom]) => map_of_joints.setView(at, zoom, {animate: false})", [[latitude, longitude], zoom])


def wgs84(record: AsBuilt, joint: pd.Series) -> tuple[float, float]:
    longitude, latitude = record.wgs84.applied(np.array([joint["longitude"]]), np.array([joint["latitude"]]))
    return float(latitude[0]), float(longitude[0])


def pixels(page: Page, record: AsBuilt, points: list[Any]) -> np.ndarray:
    """Points of the route's frame as pixels of the window: by pyproj, the record's shift, and Leaflet's projection."""
    to = pyproj.Transformer.from_crs(record.crs_wkt, pyproj.CRS(record.crs_wkt).geodetic_crs, always_xy=True)
    lon, lat = to.transform([p.x for p in points], [p.y for p in points])
    lon, lat = record.wgs84.applied(np.array(lon), np.array(lat))
    return np.array(
        page.evaluate(
            """places => { const box = map_of_joints.getContainer().getBoundingClientRect();
              const shift = map_of_joints.getPixelOrigin().subtract(map_of_joints.layerPointToContainerPoint([0, 0]));
              return places.map(place => { const at = map_of_joints.project(place).subtract(shift);
                return [box.left + at.x, box.top + at.y]; }); }""",
            np.column_stack([lat, lon]).tolist(),
        )
    )


class Seen(NamedTuple):
    """A square of the map's canvas on paper, in pixels of the page, and where in it a point of interest lies."""

    image: np.ndarray  # (n, n, 3)
    x: float
    y: float

    def near(self, colour: tuple[int, ...] | str, within: float = 40) -> np.ndarray:
        """Where the picture has a colour, shape (n, n)."""
        wanted = tuple(bytes.fromhex(colour[1:])) if isinstance(colour, str) else colour
        return np.abs(self.image - np.array(wanted)).max(axis=2) < within

    def around(self, mask: np.ndarray, low: float, high: float, parts: int = 72) -> float:
        """The share of the directions from the point in which something lies between two radii."""
        y, x = np.indices(mask.shape) + 0.5 - np.array([self.y, self.x])[:, None, None]
        far, turn = np.hypot(x, y), np.floor((np.arctan2(y, x) + np.pi) / (2 * np.pi) * parts).astype(int) % parts
        return len(set(turn[mask & (far >= low) & (far <= high)])) / parts

    def disc(self, mask: np.ndarray, radius: float) -> bool:
        """Whether all within a radius of the point is in the mask."""
        y, x = np.indices(mask.shape) + 0.5 - np.array([self.y, self.x])[:, None, None]
        return bool(mask[np.hypot(x, y) <= radius].all())

    def at(self, mask: np.ndarray, points: np.ndarray) -> np.ndarray:
        """The mask at points (x, y) from the point of interest, shape (m,)."""
        x, y = np.floor(points.reshape(-1, 2) + np.array([self.x, self.y])).astype(int).T
        return mask[y, x]


def seen(page: Page, x: float, y: float, half: int) -> Seen:
    """What the canvas shows round a point of the window."""
    left, top = math.floor(x) - half, math.floor(y) - half
    told = page.evaluate(
        """([left, top, size]) => {
          const canvas = document.querySelector(".leaflet-overlay-pane canvas"), box = canvas.getBoundingClientRect();
          const ratio = canvas.width / box.width, to = document.createElement("canvas");
          to.width = to.height = size;
          const c = to.getContext("2d");
          c.fillStyle = "#FFFFFF";
          c.fillRect(0, 0, size, size);
          const [x, y, width] = [left - box.left, top - box.top, size].map(value => value * ratio);
          c.drawImage(canvas, x, y, width, width, 0, 0, size, size);
          return btoa(Array.from(c.getImageData(0, 0, size, size).data, v => String.fromCharCode(v)).join(""));
        }""",
        [left, top, 2 * half],
    )
    flat = np.frombuffer(base64.b64decode(told), dtype="uint8").astype(float)
    return Seen(flat.reshape(2 * half, 2 * half, 4)[:, :, :3], x - left, y - top)


def sign_of(page: Page, record: AsBuilt, row: int, zoom: float = 20) -> Seen:
    """What the canvas shows round a joint."""
    joint = record.tables["joints"].iloc[row]
    go(page, *wgs84(record, joint), zoom)
    return seen(page, *pixels(page, record, [joint["geometry"]])[0], half=30)


# ---- the head --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("device", ["desk", "phone"])
def test_the_head_says_what_there_is_before_anything_is_touched(record, request, device):
    page = request.getfixturevalue(device)
    keep(page, f"at-once-{device}")
    joints, gaps = record.tables["joints"], record.tables["gaps"]
    line = joints[joints["in_line"]]
    count = line["fusion_verdict"].value_counts()
    length = record.tables["alignment"]["geometry"].iloc[0].length
    covered = length - sum(shape.length for shape in gaps["geometry"])
    assert page.inner_text("h1") == "Invented demonstration route <4>"
    assert page.inner_text(".issue") == "Revision P01, as of 20 March 2026 17:30 (UTC+00:00)"
    assert re.sub(r"\s+", " ", page.inner_text("#at-once")).strip() == (
        f"{len(line)} joints: {count['in window']} in window, {count['out of window']} out of window,"
        f" {count['cannot tell']} cannot tell, {count['not recorded']} not recorded, {count['no window']} no window;"
        f" {len(gaps)} gaps with {gaps['missing_records'].sum()} missing records,"
        f" {line['geometry'].isna().sum()} unplaced; {covered:.0f} of {length:.0f} m covered."
    )
    assert page.evaluate("scrollY") == 0
    foot = page.viewport_size["height"]
    for what in ("h1", ".issue", "#at-once"):
        box = page.locator(what).bounding_box()
        assert 0 <= box["y"] < box["y"] + box["height"] < foot / 2
    chart = page.locator("#map").bounding_box()
    assert chart["y"] + chart["height"] <= foot
    assert chart["height"] > foot / 3


@pytest.mark.parametrize("device", ["desk", "phone"])
def test_the_sentence_shows_each_verdict_in_its_colour(request, device):
    page = request.getfixturevalue(device)
    middles = page.evaluate(
        """Array.from(document.querySelectorAll("#at-once canvas"), canvas => Array.from(canvas.getContext("2d")
          .getImageData(canvas.width / 2, canvas.height / 2, 1, 1).data).slice(0, 3))"""
    )
    wanted = [list(bytes.fromhex(look.FUSION[v].fill[1:])) for v in look.IN_ORDER]
    assert middles[:5] == wanted
    assert len(middles) == 6  # and the gap's


@DEVICES
def test_the_whole_line_is_in_sight_and_nothing_is_chosen(record, opener, path, device):
    page = opener(path, device)
    assert page.evaluate("asbuilt.chosen()") is None
    assert card(page) == ""
    chart = page.locator("#map").bounding_box()
    placed = record.tables["joints"].loc[lambda t: t["geometry"].notna(), "joint_id"]
    at = np.array(page.evaluate("ids => ids.map(id => asbuilt.pixelOf(id))", list(placed)))
    assert (at >= [chart["x"], chart["y"]]).all()
    assert (at <= [chart["x"] + chart["width"], chart["y"] + chart["height"]]).all()
    assert np.ptp(at[:, 0]) > 0.5 * chart["width"]


# ---- signs -----------------------------------------------------------------------------------------------------------

RADIUS = 8.0  # pixels, of a disc seen close
SHAPES = {
    "disc": shapely.Point(0, 0).buffer(RADIUS),
    "diamond": shapely.Point(0, 0).buffer(1.25 * RADIUS, quad_segs=1),
    "triangle": shapely.Polygon([(0, -9.6), (9.2, 6.8), (-9.2, 6.8)]),
    "square": shapely.box(-7.6, -7.6, 7.6, 7.6),
    "bar": shapely.box(-9.6, -4, 9.6, 4),
}


def likeness(shown: Seen, shape: shapely.Polygon) -> float:
    """How much of a shape and of what is drawn is common to both, 0 to 1, about the point of interest."""
    drawn = scipy.ndimage.binary_fill_holes(~shown.near(PAPER, 60))
    y, x = np.indices(drawn.shape) + 0.5 - np.array([shown.y, shown.x])[:, None, None]
    drawn, wanted = drawn & (np.hypot(x, y) < 11), shapely.contains_xy(shape.buffer(0.75), x, y)
    return float((drawn & wanted).sum() / (drawn | wanted).sum())


@pytest.mark.parametrize("device", ["desk", "phone"])
@pytest.mark.parametrize("verdict", look.FUSION)
def test_a_fusion_verdict_has_its_own_colour_and_shape(record, request, device, verdict):
    shown, own = sign_of(request.getfixturevalue(device), record, SHAPED[verdict]), look.FUSION[verdict]
    assert shown.disc(shown.near(own.fill, 8), 2)
    others = {other.fill for name, other in look.FUSION.items() if name != verdict}
    assert not any(shown.disc(shown.near(fill, 8), 1.5) for fill in others)
    like = {name: likeness(shown, shape) for name, shape in SHAPES.items()}
    assert max(like, key=like.__getitem__) == own.shape
    assert like[own.shape] > 0.7


@pytest.mark.parametrize("device", ["desk", "phone"])
def test_a_position_verdict_is_a_ring_that_leaves_the_fusion_sign_as_it_is(record, request, device):
    page = request.getfixturevalue(device)
    shown = {verdict: sign_of(page, record, row) for verdict, row in RINGED.items()}
    keep(page, f"at-once-rings-{device}")
    share = {verdict: one.around(one.near(INK, 90), 11.5, 15.5) for verdict, one in shown.items()}
    assert share[look.OUT_OF_WINDOW] > 0.9  # a name's halo may touch it
    assert 0.55 < share[look.NOT_RECORDED] < 0.9
    assert 0.25 < share[look.CANNOT_TELL] < 0.55
    assert share[look.IN_WINDOW] < 0.2  # the line itself crosses there
    area = [int(one.near(look.FUSION[look.IN_WINDOW].fill, 12).sum()) for one in shown.values()]
    assert min(area) > 120
    assert max(area) - min(area) < 0.12 * max(area)


def test_an_inferred_place_has_an_empty_heart_and_a_shot_a_point(record, desk):
    inferred, shot, plain = (sign_of(desk, record, row) for row in (INFERRED, SHOT, 42))
    keep(desk, "at-once-inferred")
    fill = look.FUSION[look.IN_WINDOW].fill
    assert inferred.disc(inferred.near(PAPER, 8), 1.5)
    assert shot.disc(shot.near(INK, 40), 1)
    assert plain.disc(plain.near(fill, 8), 4)
    for one in (inferred, shot):
        assert one.near(fill, 30).sum() > 40  # the verdict's colour is still there


# ---- gaps ------------------------------------------------------------------------------------------------------------


def written(page: Page) -> dict[str, tuple[float, float]]:
    """The texts on the map, with the middle of each in pixels of the window."""
    found = page.evaluate(
        """() => {
          const canvas = document.querySelector(".leaflet-overlay-pane canvas"), box = canvas.getBoundingClientRect();
          const ratio = canvas.width / box.width;
          const place = ([text, x, y, width]) => [text, box.left + (x + width / 2) / ratio, box.top + y / ratio];
          return window.written.map(place);
        }"""
    )
    return {text: (x, y) for text, x, y in found}


@pytest.mark.parametrize("device", ["desk", "phone"])
def test_a_gap_is_a_hatched_band_with_its_length_and_count(record, request, device):
    page = request.getfixturevalue(device)
    gap = record.tables["gaps"].iloc[0]
    page.locator(f"#list-rows button:has-text('{gap['gap_id']}')").click()
    page.click("#card .close")
    page.evaluate("scrollTo(0, 0)")
    keep(page, f"at-once-gap-{device}")
    label = written(page)[f"{gap['geometry'].length:.1f} m, {gap['missing_records']} missing records"]
    (middle,) = pixels(page, record, [gap["geometry"].interpolate(0.5, normalized=True)])
    assert math.dist(label, middle) < 140
    # beside the line's own stroke, on the side without the label: dark strokes and paper in turn
    a, b = pixels(page, record, [gap["geometry"].interpolate(part, normalized=True) for part in (0.66, 0.88)])
    along = (b - a) / np.linalg.norm(b - a)
    side = np.array([-along[1], along[0]])
    side = side if np.dot(np.array(label) - middle, side) < 0 else -side
    shown = seen(page, *middle, half=100)
    dark, way = shown.near(look.GAP, 70), np.linspace(a, b, 400) - middle
    changes = int(np.abs(np.diff(shown.at(dark, way + 5 * side).astype(int))).sum())
    assert changes == pytest.approx(2 * np.linalg.norm(b - a) / 7, rel=0.35)  # strokes of 3 and spaces of 4 pixels
    assert not shown.at(shown.near(look.GAP, 40), way + 14 * side).any()


# ---- chainage marks --------------------------------------------------------------------------------------------------


def stations(page: Page) -> dict[float, tuple[float, float]]:
    found = {t: at for t, at in written(page).items() if re.fullmatch(r"\d+\+\d+(\.\d+)?", t)}
    return {1000 * int(t.split("+")[0]) + float(t.split("+")[1]): at for t, at in found.items()}


@pytest.mark.parametrize("device", ["desk", "phone"])
def test_chainage_marks_thin_out_and_fill_in(record, request, device):
    """Seen from far away few round stations are named, closer more; each stands beside its place on the line."""
    page = request.getfixturevalue(device)
    line, steps, counts = record.tables["alignment"]["geometry"].iloc[0], [], []
    page.click("#whole-route")
    whole = page.evaluate("asbuilt.zoom()")
    for nearer in (-2, -1, 0, 1):
        page.evaluate("zoom => map_of_joints.setZoom(zoom, {animate: false})", whole + nearer)
        ends = {0.0, round(line.length, 2)}
        named = {s: at for s, at in stations(page).items() if s not in ends}
        places = pixels(page, record, [line.interpolate(s) for s in named])
        assert all(math.dist(at, place) < 75 for at, place in zip(named.values(), places, strict=True))
        assert nearer > 0 or ends <= set(stations(page))  # the ends are always named
        steps += [min(np.diff([0.0, *sorted(named)]))] if named else []
        counts.append(len(named))
        keep(page, f"at-once-marks-{device}-{nearer}")
    assert len(steps) >= 2
    assert all(re.fullmatch("[125]0*", f"{step:.0f}") for step in steps)  # round steps: 1, 2 or 5
    assert steps == sorted(steps, reverse=True)
    assert steps[0] > steps[-1]
    assert counts[0] < counts[2] <= 7


def test_no_text_on_the_map_covers_another(record, desk):
    for zoom in (14, 16, 18, 20, 22):
        go(desk, *wgs84(record, record.tables["joints"].iloc[19]), zoom)  # at the first gap
        boxes = desk.evaluate("window.written.map(([t, x, y, w, h]) => [x, y - h / 2, x + w, y + h / 2])")
        assert len(boxes) >= (2 if zoom < 22 else 1)
        clashes = [
            (a, b) for i, a in enumerate(boxes) for b in boxes[:i]
            if a[0] < b[2] and b[0] < a[2] and a[1] < b[3] and b[1] < a[3]
        ]  # fmt: skip
        assert clashes == []


# ---- radius and fix --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("device", ["desk", "phone"])
def test_the_circle_of_the_chosen_joint_is_its_95_percent_radius(record, request, device):
    page = request.getfixturevalue(device)
    joints = record.tables["joints"].iloc[25:50]
    row = joints["radius95_m"].idxmax()
    joint = record.tables["joints"].loc[row]
    find(page, joint["joint_id"])
    go(page, *wgs84(record, joint), 20.5)
    edge = [joint["geometry"].buffer(1, 2).exterior.interpolate(k / 4, normalized=True) for k in range(4)]
    (x, y), *round_it = pixels(page, record, [joint["geometry"], *edge])
    wanted = np.mean([math.dist((x, y), at) for at in round_it]) * joint["radius95_m"]
    assert wanted > 30
    keep(page, f"at-once-circle-{device}")

    def share(low: float, high: float) -> float:
        shown = seen(page, *pixels(page, record, [joint["geometry"]])[0], half=math.ceil(wanted * 1.3))
        return shown.around(shown.near(INK, 130), low, high, parts=300)

    assert 0.4 < share(wanted - 1.5, wanted + 1.5) < 0.9  # dashed
    assert share(wanted * 0.86, wanted * 0.94) < 0.2
    assert share(wanted * 1.06, wanted * 1.14) < 0.2
    page.click("#card .close")
    assert share(wanted - 1.5, wanted + 1.5) < 0.2


@pytest.mark.parametrize("device", ["desk", "phone"])
def test_a_fix_is_tied_to_its_joint_on_demand(record, request, device):
    page = request.getfixturevalue(device)
    fixes = record.tables["positions"].set_index("joint_id")
    joint = record.tables["joints"].iloc[47]
    fix = fixes.loc[joint["joint_id"]]
    go(page, *wgs84(record, joint), 21)

    def inked() -> float:
        """The share of the way from joint to fix, without its ends, that is drawn. A click may have moved the page."""
        (x, y), (fx, fy) = pixels(page, record, [joint["geometry"], fix["geometry"]])
        assert math.dist((x, y), (fx, fy)) > 40
        way = np.linspace((x, y), (fx, fy), 60)[24:54]
        shown = seen(page, x, y, half=math.ceil(math.dist((x, y), (fx, fy))) + 5)
        grey = shown.image.mean(axis=2)
        nearby = [grey[math.floor(py - y + shown.y) + dy, math.floor(px - x + shown.x) + dx]
                  for px, py in way for dy in (-1, 0, 1) for dx in (-1, 0, 1)]  # fmt: skip
        return float((np.array(nearby).reshape(30, 9).min(axis=1) < 190).mean())

    before = inked()
    page.click("#fixes")
    during = inked()
    keep(page, f"at-once-fixes-{device}")
    assert page.get_attribute("#fixes", "aria-pressed") == "true"
    page.click("#fixes")
    assert page.get_attribute("#fixes", "aria-pressed") == "false"
    assert (during, inked()) == (1.0, before)
    assert before < 0.3


def test_the_key_says_what_each_sign_means(record, desk):
    said, joints = desk.inner_text(".key"), record.tables["joints"]
    line = joints[joints["in_line"]]
    position = line["position_verdict"].value_counts()
    for words, count in (
        ("out of window (ring)", position[look.OUT_OF_WINDOW]),
        ("not recorded (broken ring)", position[look.NOT_RECORDED]),
        ("inferred from pipe lengths alone", (line["placed_by"] == "tally").sum()),
        ("measured on the pipe", (line["placed_by"] == "survey").sum()),
        ("cut out or trial, in no count", (~joints["in_line"]).sum()),
    ):
        assert re.search(re.escape(words) + rf"\s+{count}\b", said)
