"""The alignment sheets: true scale measured on the page, strips that cover the line, and the file itself."""

import itertools
import math
import re
import shutil
import subprocess
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
import shapely
from hypothesis import given
from hypothesis import settings as effort
from hypothesis import strategies as st

from asbuilt import build, settings
from asbuilt.alignment import MeasuredLine, locate
from asbuilt.as_built import Context, ReportForm
from asbuilt.cautions import IN_SHORT
from asbuilt.errors import SettingsError
from asbuilt.publish.sheet_bands import axis_marks, bands, lane_bars, lanes_of
from asbuilt.publish.sheet_plan import NORTH_MM, with_room
from asbuilt.publish.sheets import PAPERS, sheets_data, write_sheets
from asbuilt.publish.strips import Scale, strips
from asbuilt.stationing import ChainageEquation, Stationing
from tests.making import E0, N0, csv_of, make_route
from tests.pdf_pages import archive_faults, pages_of, places_of, size_of, text_of


@pytest.fixture(scope="session")
def sheets(saltreach, tmp_path_factory):
    """The sheets of the sample route, and their data."""
    path = tmp_path_factory.mktemp("sheets") / "alignment_sheets.pdf"
    write_sheets(saltreach, path)
    return path, sheets_data(saltreach)


# A line that turns by 30 degrees; joints on it, of which none has its temperature: each stands out and is named in the
# plan and on the axis.
CORNER = (E0 + 120.0, N0)
END = (CORNER[0] + 120 * math.cos(math.radians(30)), CORNER[1] + 120 * math.sin(math.radians(30)))
BENT = f"easting,northing\n{E0},{N0}\n{CORNER[0]},{CORNER[1]}\n{END[0]:.4f},{END[1]:.4f}\n"


def on_bent(at):
    over = max(at - 120.0, 0.0)
    return (
        E0 + min(at, 120.0) + over * math.cos(math.radians(30)),
        N0 + over * math.sin(math.radians(30)),
    )


def bent_route(folder, **changes):
    places = [(i, *on_bent(12 * i)) for i in range(1, 20)]
    records = csv_of(*(f"J{i:02d},2026-03-{i:02d} 10:00,{x:.3f},{y:.3f}," for i, x, y in places))
    return build.build(settings.load(make_route(folder, records=records, line=BENT, toml_changes=changes)))


def named(path, *, turned):
    """Return where each joint is named on the first page: upright in the plan, turned on the axis."""
    found = [(t, x, y) for t, x, y in places_of(path) if re.fullmatch(r"J\d\d", t)]
    middle = {t: [at for name, *at in found if name == t] for t, _, _ in found}
    return {t: np.array(places[1 if turned else 0]) for t, places in middle.items()}


@pytest.mark.parametrize(
    ("changes", "scale"), [({}, 1000), ({"report.scale": "1:500"}, 500), ({"report.scale": "1 : 2000"}, 2000)]
)
def test_distances_on_the_page_are_those_in_the_ground(tmp_path, changes, scale):
    """In the plan between two joints of either leg, and on the axis by their chainage."""
    as_built = bent_route(tmp_path, **changes)
    write_sheets(as_built, tmp_path / "sheets.pdf")
    plan, axis = named(tmp_path / "sheets.pdf", turned=False), named(tmp_path / "sheets.pdf", turned=True)
    of = as_built.tables["joints"].set_index("joint_id")
    for first, last in (("J01", "J06"), ("J03", "J14")):
        apart = np.hypot(
            *(of.loc[first, ["easting", "northing"]] - of.loc[last, ["easting", "northing"]]).astype(float)
        )
        along = of.loc[last, "chainage_m"] - of.loc[first, "chainage_m"]
        assert np.hypot(*(plan[first] - plan[last])) == pytest.approx(1000 * apart / scale, abs=0.1)
        assert axis[last][0] - axis[first][0] == pytest.approx(1000 * along / scale, abs=0.1)


def test_the_grid_is_at_the_same_scale_and_turned_as_north_says(sheets, saltreach):
    """Two crosses of the grid of the first strip: 100 m apart they lie 100 mm apart at 1:1000, across to north."""
    strip = sheets[1]["sheets"][0][0]
    spots = {spot["says"]: np.array([spot["x"], spot["y"]]) for spot in strip["spots"]}
    at = {tuple(map(int, re.findall(r"\d{6,7}", says))): xy for says, xy in spots.items()}
    (one, other), spread = list(at)[:2], math.dist(*list(at)[:2])
    assert math.dist(at[one], at[other]) == pytest.approx(1000 * spread / saltreach.form.scale, abs=0.01)
    ground = math.degrees(math.atan2(other[0] - one[0], other[1] - one[1]))
    way = at[other] - at[one]
    page = math.degrees(math.atan2(way[0], -way[1]))
    assert (page - ground - strip["north"] + 180) % 360 - 180 == pytest.approx(0.0, abs=0.05)


def test_the_scale_bar_has_its_length(sheets, saltreach):
    scale = sheets[1]["scale"]
    metres = float(scale["bar"].removesuffix(" m"))
    assert scale["bar_mm"] == pytest.approx(1000 * metres / saltreach.form.scale)
    said = {text: x for text, x, _ in places_of(sheets[0])}
    assert scale["bar"] in said
    assert scale["says"] == "1:1000 on A3"


def test_strips_follow_each_other_from_end_to_end(sheets):
    panels = [panel for sheet in sheets[1]["sheets"] for panel in sheet]
    ends = [re.search(r"(\d\+[\d.]+) to (\d\+[\d.]+)", panel["head"]).groups() for panel in panels]
    assert (ends[0][0], ends[-1][1]) == ("0+000.00", "4+417.91")
    assert [low for low, _ in ends[1:]] == [high for _, high in ends[:-1]]
    assert panels[0]["before"] == panels[-1]["after"] == ""
    for number, (panel, after) in enumerate(itertools.pairwise(panels), start=1):
        assert panel["after"].startswith(f"match line {ends[number][0]}: strip {number + 1}, sheet")
        assert after["before"].startswith(f"match line {ends[number][0]}: strip {number}, sheet")
        assert f"sheet {(number) // 2 + 1}" in panel["after"]


def test_every_joint_stands_on_the_axis_of_a_strip_and_in_its_plan(sheets, saltreach):
    joints = saltreach.tables["joints"]
    drawn = joints[joints["in_line"].astype(bool) & joints["chainage_m"].notna()]
    panels = [panel for sheet in sheets[1]["sheets"] for panel in sheet]
    shown = [joint["says"] for panel in panels for joint in panel["joints"]]
    assert set(shown) - {""} <= set(drawn["joint_id"])
    crowded = drawn[~drawn["joint_id"].isin(shown)]  # no room: another stands within 2.6 m, at 1:1000
    assert [n for n in crowded["chainage_m"] if drawn["chainage_m"].sub(n).abs().nsmallest(2).iloc[1] >= 2.6] == []
    assert len(crowded) < 0.02 * len(drawn)
    in_plan = sum(sign["own"] for panel in panels for sign in panel["signs"])
    assert in_plan == len(shown) >= len(drawn)


def test_gaps_strings_and_tests_are_named(sheets):
    said = text_of(sheets[0])
    for what in ("S1", "Creek bore, bore", "TS-1 passed 2026-03-10", "TS-2 failed 2026-03-17", "TS-3 not yet tested"):
        assert what in said
    assert "3 missing records" in said
    assert "1+800.00 back = 1+850.00 ahead" in said


def test_each_sheet_has_its_number_frame_and_caution(sheets, saltreach):
    pages = pages_of(sheets[0])
    for i, page in enumerate(pages, start=1):
        assert f"sheet {i} of {len(pages)}" in page
        assert saltreach.title.crs in page
        assert re.sub(r"\s+", " ", IN_SHORT) in page
        assert "as of 2026-03-20 23:59 (UTC+11:00)" in page


def test_the_file_is_an_archive_file_and_the_same_again(sheets, saltreach, tmp_path):
    assert archive_faults(sheets[0]) == []
    write_sheets(saltreach, tmp_path / "again.pdf")
    assert (tmp_path / "again.pdf").read_bytes() == sheets[0].read_bytes()


@pytest.mark.parametrize(
    ("changes", "paper", "says"),
    [
        ({}, "A3", "1:1000 on A3"),
        ({"route.units": "us", "route.foot": "survey"}, "Tabloid", "1:1200, 1 in = 100 ft on Tabloid"),
        ({"report.sheets": "Tabloid", "report.scale": "1:250"}, "Tabloid", "1:250 on Tabloid"),
    ],
)
def test_paper_and_scale_are_those_of_the_units_unless_the_route_says(tmp_path, changes, paper, says):
    as_built = bent_route(tmp_path, **changes)
    write_sheets(as_built, tmp_path / "sheets.pdf")
    assert size_of(tmp_path / "sheets.pdf") == pytest.approx(PAPERS[paper], abs=0.1)
    assert says in pages_of(tmp_path / "sheets.pdf")[0]


@pytest.mark.parametrize("scale", ["1000", "1:10", "1:99999", "2:1000", "1:1e3"])
def test_a_scale_that_is_none_is_refused(tmp_path, scale):
    with pytest.raises(SettingsError, match=r"report.scale"):
        settings.load(make_route(tmp_path, toml_changes={"report.scale": scale}))


def test_a_route_without_a_joint_has_its_sheets(tmp_path):
    folder = make_route(tmp_path, records=csv_of(",2026-03-01 10:00,,,"))
    write_sheets(build.build(settings.load(folder)), tmp_path / "empty.pdf")
    assert "Strip 3: line main, 0+744.00 to 1+000.00" in " ".join(pages_of(tmp_path / "empty.pdf"))


def test_numbers_that_have_no_room_give_way_to_those_that_stand_out(saltreach):
    coarse = sheets_data(replace(saltreach, form=ReportForm("A4", "A3", 10_000)))
    joints = [joint for sheet in coarse["sheets"] for panel in sheet for joint in panel["joints"]]
    assert any(not joint["says"] for joint in joints)
    assert all(joint["says"] for joint in joints if joint["loud"])
    for sheet in coarse["sheets"]:
        for panel in sheet:
            shown = [joint["x"] for joint in panel["joints"] if joint["says"]]
            assert np.diff(shown).min() >= 2.6 - 1e-3


# ---- words -----------------------------------------------------------------------------------------------------------

needs_pdftotext = pytest.mark.skipif(not shutil.which("pdftotext"), reason="pdftotext, of Poppler")


def words_of(path):
    """Return each word with its page and box, by Poppler: page, x0, y0, x1, y1 (points), shape (n, 5)."""
    said = subprocess.run(["pdftotext", "-bbox", str(path), "-"], capture_output=True, check=True, text=True).stdout
    words, boxes = [], []
    for number, page in enumerate(said.split("<page ")[1:]):
        for *box, word in re.findall(r'xMin="(.+?)" yMin="(.+?)" xMax="(.+?)" yMax="(.+?)">(.*?)<', page):
            words.append(word)
            boxes.append([number, *map(float, box)])
    return words, np.array(boxes)


def overlaps(path):
    """Return which words lie on another by more than a quarter of a letter's height, which fonts leave free."""
    words, boxes = words_of(path)
    free = 0.25 * np.minimum(boxes[:, 3] - boxes[:, 1], boxes[:, 4] - boxes[:, 2])[:, None]
    low, high = boxes[:, 1:3] + free, boxes[:, 3:5] - free
    on = (low[:, None] < high[None]).all(axis=2) & (high[:, None] > low[None]).all(axis=2)
    on &= boxes[:, None, 0] == boxes[None, :, 0]
    return [(words[i], words[j]) for i, j in np.argwhere(np.triu(on, 1))]


@needs_pdftotext
@pytest.mark.parametrize(("paper", "scale"), [("A3", 1000), ("A3", 250), ("A3", 5000), ("Tabloid", 1200)])
def test_no_word_lies_on_another(saltreach, tmp_path, paper, scale):
    write_sheets(replace(saltreach, form=ReportForm("A4", paper, scale)), tmp_path / "sheets.pdf")
    assert overlaps(tmp_path / "sheets.pdf") == []


def crowded(saltreach, many):
    """The sample with many names close to the line, behind it."""
    line = MeasuredLine(
        saltreach.tables["alignment_vertices"][["easting", "northing"]].to_numpy(float),
        saltreach.tables["alignment_vertices"]["chainage_m"].to_numpy(float),
    )
    at = locate(line, np.linspace(0.0, 4300.0, many)) + np.array([3.0, 9.0])
    names = np.array([f"Willow Bend {i:03d}" for i in range(many)], dtype=object)
    return replace(saltreach, context=(Context("Names", "invented", shapely.points(at), names),)), names


@needs_pdftotext
def test_names_that_crowd_give_way_and_are_said(saltreach, tmp_path):
    as_built, names = crowded(saltreach, 500)
    write_sheets(as_built, tmp_path / "crowded.pdf")
    assert overlaps(tmp_path / "crowded.pdf") == []
    panels = [panel for sheet in sheets_data(as_built)["sheets"] for panel in sheet]
    written = {name["says"] for panel in panels for name in panel["names"]}
    said = " ".join(panel["no_room"] for panel in panels)
    assert 0 < len(written) < len(names)
    assert "No room here to name: Willow Bend" in said
    stated = len(set(re.findall(r"Willow Bend \d+", said))) + sum(map(int, re.findall(r"and (\d+) more", said)))
    assert stated >= len(set(names) - written)


def test_the_look_at_words_would_have_found_two_on_each_other(saltreach, tmp_path, monkeypatch):
    monkeypatch.setattr("asbuilt.publish.sheet_plan.with_room", lambda wanted, *_, **__: [boxes[0] for boxes in wanted])
    as_built, _ = crowded(saltreach, 500)
    monkeypatch.setattr("asbuilt.publish.sheet_plan._at_end", lambda *_: np.zeros((1, 4)))
    write_sheets(as_built, tmp_path / "on.pdf")
    assert len(overlaps(tmp_path / "on.pdf")) > 10


def test_no_joint_is_hidden_by_the_arrow_or_a_match_line(saltreach):
    for sheet in sheets_data(saltreach)["sheets"]:
        for panel in sheet:
            x, y = panel["north_at"]
            at = np.array([[sign["x"], sign["y"]] for sign in panel["signs"]])
            assert not ((at > (x, y)) & (at < (x + NORTH_MM, y + NORTH_MM))).all(axis=1).any()


boxes = st.tuples(st.floats(-5, 95), st.floats(-5, 45), st.floats(0.5, 30), st.floats(0.5, 6)).map(
    lambda b: (b[0], b[1], b[0] + b[2], b[1] + b[3])
)


@effort(max_examples=100, deadline=None)
@given(st.lists(st.lists(boxes, min_size=1, max_size=5), max_size=15), st.lists(boxes, max_size=6))
def test_a_word_takes_the_first_place_that_is_free_or_none(wanted, taken):
    found = with_room([np.array(of) for of in wanted], np.array(taken).reshape(-1, 4), (100.0, 50.0))
    held = list(taken)
    for of, place in zip(wanted, found, strict=True):
        free = [b for b in of if min(b[:2]) >= 0 and b[2] <= 100 and b[3] <= 50 and not any(meet(b, h) for h in held)]
        assert (free[:1] or [None])[0] == (None if place is None else tuple(place))
        held += free[:1]


def meet(a, b):
    return a[0] < b[2] and a[2] > b[0] and a[1] < b[3] and a[3] > b[1]


def test_a_bar_is_named_where_it_begins_or_said_to_have_no_room():
    """Three reaches in one lane: room, no room before the next, room again."""
    strip = strips(
        MeasuredLine(np.array([[0.0, 0.0], [300.0, 0.0]]), np.array([0.0, 300.0])),
        Scale(1.0, 1.0), width=400.0, height=60.0, edge=14.0,
    )[0]  # fmt: skip
    reaches = pd.DataFrame({
        "line": ["a"] * 3, "from_chainage_m": [0.0, 100.0, 105.0], "to_chainage_m": [100.0, 105.0, 300.0],
    })  # fmt: skip
    bars = lane_bars(reaches, strip, pd.Series(["first", "second reach", "third"]))
    assert [bar["says"] for bar in bars] == ["first", "", "third"]
    assert [bar["unsaid"] for bar in bars] == ["", "second reach", ""]


def test_a_long_station_keeps_its_neighbours_off():
    marks = pd.DataFrame({"chainage_m": [0.0, 80.0, 100.0], "station": ["0+000.00", "0+080.00", "0+100.00"]})
    strip = strips(
        MeasuredLine(np.array([[0.0, 0.0], [300.0, 0.0]]), np.array([0.0, 300.0])),
        Scale(1.0, 1.0), width=400.0, height=60.0, edge=14.0,
    )[0]  # fmt: skip
    of = Stationing(equations=(ChainageEquation(back_m=100.0, ahead_m=150.0),))
    told = axis_marks(marks.assign(rank=[3, 1, 3]), strip, of)
    assert [mark["says"] for mark in told] == ["0+000.00", "", "0+100.00 back = 0+150.00 ahead"]


def test_reaches_of_one_place_lie_in_lanes_of_their_own(saltreach):
    sections = saltreach.tables["test_sections"]
    lanes = lanes_of(sections)
    for lane in set(lanes):
        of = sections[lanes == lane].sort_values("from_chainage_m")
        assert (of["to_chainage_m"].to_numpy()[:-1] <= of["from_chainage_m"].to_numpy()[1:] + 0.01).all()
    assert bands(saltreach.tables).tests == 2  # TS-2 was tested twice


@effort(max_examples=60, deadline=None)
@given(
    st.lists(st.tuples(st.floats(5, 400), st.floats(-170, 170)), min_size=1, max_size=12),
    st.floats(0.1, 5.0),
)
def test_strips_of_any_line_are_whole_true_and_fit(legs, mm_per_m):
    bearing, xy = 0.0, [(0.0, 0.0)]
    for length, turn in legs:
        bearing += math.radians(turn)
        xy.append((xy[-1][0] + length * math.sin(bearing), xy[-1][1] + length * math.cos(bearing)))
    line = MeasuredLine(np.array(xy), np.concatenate([[0.0], np.cumsum([length for length, _ in legs])]))
    found = strips(line, Scale(mm_per_m, mm_per_m), width=400.0, height=60.0, edge=14.0)
    assert found[0].low == 0.0
    assert found[-1].high == line.measure[-1]
    assert [strip.low for strip in found[1:]] == [strip.high for strip in found[:-1]]
    for strip in found:
        at = np.linspace(strip.low, strip.high, 9)
        ground = locate(line, at)
        mm = strip.on_sheet(ground)
        assert strip.off_sheet(mm) == pytest.approx(ground, abs=1e-6)
        spans = [np.hypot(*np.diff(points, axis=0).T) for points in (mm, ground)]
        assert spans[0] == pytest.approx(spans[1] * mm_per_m, abs=1e-6)
        if strip.high - strip.low > 0.03 * 372 / mm_per_m:
            assert (mm[:, 0] >= 14 - 1e-6).all()
            assert (mm[:, 0] <= 386 + 1e-6).all()
            assert (np.abs(mm[:, 1] - 30) <= 30 + 1e-6).all()
