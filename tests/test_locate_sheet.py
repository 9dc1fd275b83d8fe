"""The locate sheet: one page, readable in grey, at a true scale, with a code that a phone reads."""

import io
import json
import re
from dataclasses import replace

import numpy as np
import pypdf
import pytest
import shapely
from click.testing import CliRunner

from asbuilt import cli
from asbuilt.cautions import CAUTIONS, ON_SITE
from asbuilt.find.asked import AskedJoint
from asbuilt.find.record import record
from asbuilt.find.search import joint_answer
from asbuilt.find.sheet import locate_sheet, sheet_data
from asbuilt.find.sheet_map import scale_text
from tests.handed import copied, edit_geopackage, hand_over, rows
from tests.pdf_pages import places_of

SIZES = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}  # millimetres: ISO 216; 8.5 x 11 inches


def page_of(data):
    (page,) = pypdf.PdfReader(io.BytesIO(data)).pages
    return page


def words(text):
    return re.sub(r"\s+", "", text)


@pytest.fixture(scope="module")
def sample(handover):
    return record(handover)


def answer(of, name):
    return joint_answer(of, AskedJoint(name, name))


def data_of(of, name):
    return sheet_data(of, answer(of, name), paper="A4", longest=400)


@pytest.mark.parametrize("paper", ["A4", "Letter"])
@pytest.mark.parametrize("name", ["B110", "C-119", "TI-4"])
def test_it_is_one_page_that_says_all(sample, name, paper):
    joint = answer(sample, name)
    page = page_of(locate_sheet(sample, joint, paper=paper))
    size = np.array([float(page.mediabox.width), float(page.mediabox.height)]) / 72 * 25.4
    assert size == pytest.approx(SIZES[paper], abs=0.1)
    told = words(page.extract_text())
    wanted = [
        f"Locate sheet: joint {name}",
        f"{joint.place.x:.3f}",
        f"{joint.base.y:.7f}".lstrip("-"),
        "GDA2020",
        "WGS 84",
    ]
    wanted += [n.joint_id for n in joint.neighbours] + [tie.feature for tie in joint.ties] + list(CAUTIONS + ON_SITE)
    wanted += ["print line", "photo no.", "depth to the crown", "date and time", f"geo:{joint.wgs84.place.y:.7f}"]
    assert [text for text in wanted if words(text) not in told] == []


def test_a_photo_is_named_with_where_to_look_and_the_error_of_ones_own_receiver_is_told(sample, saltreach):
    photo = dict(data_of(sample, "C-034")["record"])["photo"]
    assert photo == "C-034.jpg: in the map (joint_map.html) and in the GeoPackage (table photos)"
    assert [p.joint_id for p in saltreach.photos if p.jpeg and p.joint_id == "C-034"] == ["C-034"]
    without = replace(answer(sample, "C-034"), photos=())
    assert "photo" not in dict(sheet_data(sample, without, paper="A4", longest=400)["record"])
    assert ["", "The error of your own receiver is in none of these: allow for it."] in data_of(sample, "B110")["box"]


def test_the_command_writes_it_and_the_same_again(handover, tmp_path):
    made = []
    for _ in range(2):
        result = CliRunner().invoke(cli.main, ["find", str(handover), "B110", "--sheet", str(tmp_path / "b110.pdf")])
        assert result.exit_code == 0, result.output
        made.append((tmp_path / "b110.pdf").read_bytes())
    assert made[0] == made[1]
    assert words("Locate sheet: joint B110") in words(page_of(made[0]).extract_text())


def test_of_a_place_the_nearest_joint_has_the_sheet(handover, tmp_path):
    path = tmp_path / "near.pdf"
    result = CliRunner().invoke(cli.main, ["find", str(handover), "1+612", "--sheet", str(path), "--paper", "Letter"])
    assert result.exit_code == 0, result.output
    assert "joint B110" in page_of(path.read_bytes()).extract_text()


def test_it_has_no_colour(sample):
    """A grey copy loses nothing: every colour that the page sets has three equal parts."""
    content = (
        page_of(locate_sheet(sample, answer(sample, "C-119"), paper="A4")).get_contents().get_data().decode("latin-1")
    )
    number = r"(-?[\d.]+)"
    set_to = re.findall(rf"{number} {number} {number} (?:rg|RG|scn|SCN)\b", content)
    assert set_to
    assert [c for c in set_to if max(map(float, c)) - min(map(float, c)) > 0.001] == []


def modules_of(data):
    """The code drawn as an image with its quiet zone, 8 pixels a module, dark 0."""
    size = max(run[1] + run[2] for run in data["code"]) + 2 * data["quiet"]
    image = np.full((size, size), 255, dtype=np.uint8)
    for row, first, many in data["code"]:
        image[row + data["quiet"], first + data["quiet"] : first + data["quiet"] + many] = 0
    return np.kron(image, np.ones((8, 8), dtype=np.uint8))


def test_a_reader_of_codes_reads_the_address_beside_it(sample):
    """By ZXing-C++, a library of its own."""
    reader = pytest.importorskip("zxingcpp")
    data = data_of(sample, "B110")
    (seen,) = reader.read_barcodes(modules_of(data))
    assert seen.text == data["address"]
    assert re.fullmatch(r"geo:-?\d+\.\d{7},-?\d+\.\d{7}", seen.text)


@pytest.mark.parametrize("name", ["B110", "C-119"])
def test_the_map_is_true_to_scale(sample, name):
    data, joint = data_of(sample, name)["map"], answer(sample, name)
    scale = int(re.match(r"1:(\d+)", data["scale"])[1])
    assert data["bar"]["mm"] * scale / 1000 == pytest.approx(float(data["bar"]["says"].split()[0]), rel=1e-3)
    own = next(one for one in data["joints"] if one["own"])
    assert (own["x"], own["y"]) == (data["width"] / 2, data["height"] / 2)
    table = sample.between(joint.line, 0.0, 1e6).set_index("joint_id")
    others = [one for one in data["joints"] if not one["own"]]
    assert len(others) >= 2
    for one in others:
        grid = table.loc[one["says"], ["easting", "northing"]].to_numpy(float) - [joint.place.x, joint.place.y]
        drawn = np.array([one["x"] - own["x"], own["y"] - one["y"]]) * scale / 1000
        assert drawn == pytest.approx(grid, abs=0.02 * scale / 1000)


def test_arcs_pass_through_the_joint_about_their_features(sample):
    data, joint = data_of(sample, "B110")["map"], answer(sample, "B110")
    scale = int(re.match(r"1:(\d+)", data["scale"])[1])
    arcs = next(ink["paths"] for ink in data["ink"] if ink["pen"] == "arc")
    assert len(arcs) == len(joint.ties) >= 3
    middle = np.array([data["width"], data["height"]]) / 2
    for path, tie in zip(arcs, joint.ties, strict=True):
        points = np.array(path).reshape(-1, 2)
        feature = middle + np.array([tie.easting - joint.place.x, joint.place.y - tie.northing]) * 1000 / scale
        assert np.hypot(*(points - feature).T) == pytest.approx(np.hypot(*(middle - feature)), abs=0.03)
        assert np.hypot(*(points - middle).T).min() < 0.05


def test_the_legend_names_what_the_map_shows_and_nothing_else(sample):
    ties = ("numbered squares", "a number at the edge", "dotted arcs")
    tied, free = (data_of(sample, name)["map"] for name in ("B110", "C-034"))
    assert answer(sample, "C-034").ties == ()
    assert [text for text in free["says"] if text.startswith(ties)] == []
    assert [text.split(":")[0] for text in tied["says"]][-2:] == ["numbered squares", "dotted arcs"]
    assert all("search boxes" not in text for text in tied["says"])
    assert any("search boxes, one on each leg" in text for text in data_of(sample, "C-119")["map"]["says"])
    told = words(page_of(locate_sheet(sample, answer(sample, "C-034"), paper="A4")).extract_text())
    assert "numberedsquares" not in told
    assert words("dashed: with a receiver in WGS 84.") in told


@pytest.mark.parametrize("name", ["B110", "C-034", "C-119", "TI-4", "B178"])
def test_nothing_is_drawn_over_the_north_arrow(sample, name):
    """The arrow is 7 mm wide and 13 mm high; its middle is told."""
    drawn = data_of(sample, name)["map"]
    x, y = drawn["north"]
    arrow = shapely.box(x - 3.5, y - 6.5, x + 3.5, y + 6.5)
    paths = [shapely.linestrings(np.reshape(p, (-1, 2))) for ink in drawn["ink"] for p in ink["paths"]]
    assert [path for path in paths if path.intersects(arrow)] == []
    assert arrow.within(shapely.box(0, 0, drawn["width"], drawn["height"]))


@pytest.mark.parametrize("name", ["B110", "C-034", "B178"])
def test_the_scale_bars_stand_under_their_maps_beside_their_scales_and_cut_no_line(sample, name, tmp_path):
    """A bar on the map had a white box, which broke what was drawn there."""
    (tmp_path / "a.pdf").write_bytes(locate_sheet(sample, answer(sample, name), paper="A4"))
    data, places = data_of(sample, name), places_of(tmp_path / "a.pdf")
    for drawn, beside in ((data["map"], "Scale"), (data["detail"], "detail,")):
        (bar,) = [y for text, _, y in places if text == drawn["bar"]["says"]]
        (scale,) = [y for text, _, y in places if text.startswith(beside)]
        assert abs(bar - scale) < 4  # millimetres


def test_a_finding_that_concerns_the_joint_stands_on_its_sheet(sample):
    (finding,) = answer(sample, "B178").findings
    told = words(page_of(locate_sheet(sample, answer(sample, "B178"), paper="A4")).extract_text())
    assert words(f"{finding.finding_id}, open, of 1 joint") in told
    assert words(f"yes, by finding {finding.finding_id}; the joint itself is not") in told


def test_in_feet_sizes_of_pipe_are_in_inches_first_and_sides_are_rounded_up(tmp_path):
    """By hand: 630 mm / 25.4 = 24.803 in; 57.2 mm / 25.4 = 2.252 in. No side in feet is shorter than in metres."""
    out = hand_over(tmp_path, rows(), toml_changes={"route.units": "us", "route.foot": "survey"})[1]
    of = record(out)
    text = page_of(locate_sheet(of, answer(of, "J5"), paper="Letter")).extract_text()
    told = words(text)
    assert words("OD 24.8 in (630 mm), wall 2.252 in (57.2 mm)") in told
    pairs = re.findall(r"±([\d.]+)ft\(([\d.]+)m\)", told)
    assert len(pairs) >= 4
    assert all(float(feet) * 1200 / 3937 >= float(metres) - 1e-9 for feet, metres in pairs)


def test_a_box_too_small_to_be_seen_has_a_detail(sample):
    assert data_of(sample, "B110")["detail"]["scale"] == "1:100"
    assert scale_text(240, sample.title.length_unit) == "1:240"


def test_long_texts_are_cut_and_it_stays_one_page(tmp_path):
    out = hand_over(tmp_path, rows())[1]
    long = "word " * 2000
    change = "UPDATE joints SET remarks = '{0}', reasons = '{0}'".format(long)  # noqa: S608, UP032
    out = edit_geopackage(copied(out, tmp_path / "a"), change)
    of = record(out)
    text = page_of(locate_sheet(of, answer(of, "J5"), paper="Letter")).extract_text()
    assert "(cut)" in text


def test_texts_of_the_record_are_no_markup(tmp_path):
    out = hand_over(tmp_path, rows())[1]
    out = edit_geopackage(copied(out, tmp_path / "a"), "UPDATE joints SET remarks = '#panic() *x* $a$ \\u{41}'")
    of = record(out)
    assert words("#panic() *x* $a$") in words(page_of(locate_sheet(of, answer(of, "J5"), paper="A4")).extract_text())


def test_without_ties_it_says_so(tmp_path):
    out = hand_over(tmp_path, rows())[1]
    of = record(out)
    assert json.dumps(sheet_data(of, answer(of, "J5"), paper="A4", longest=100))
    assert "no fixed features" in page_of(locate_sheet(of, answer(of, "J5"), paper="A4")).extract_text().replace(
        "\n", " "
    )
