"""How deep a joint lies, as far as somebody measured: what `asbuilt find` says of heights."""

import json

import pytest
from click.testing import CliRunner

from asbuilt import build, cli, settings
from asbuilt.map_tables import plain
from asbuilt.publish.map_data import map_data
from tests.making import E0, N0, csv_of, make_route

ROWS = [f"J{i},2026-03-0{i} 09:00,{E0 + 12 * i:.0f},{N0:.0f},215" for i in range(1, 7)]
SURVEY = f"""joint,easting,northing,elevation,elevation_of,ground,sd,time
J1,{E0 + 12:.1f},{N0},10.80,crown,12.31,0.02,2026-03-02 15:00
J2,{E0 + 24:.1f},{N0},10.00,invert,12.00,0.02,2026-03-02 15:00
J3,{E0 + 36:.1f},{N0},12.50,antenna,12.31,0.02,2026-03-02 15:00
J4,{E0 + 48:.1f},{N0},12.40,crown,12.31,0.02,2026-03-02 15:00
"""
FOUND = f"""joint_id,easting,northing,depth,sd,date,name
J1,{E0 + 12:.1f},{N0},1.62,0.02,2026-03-10,nobody (invented)
"""
SINCE = "the ground may have changed since"


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    route = make_route(tmp_path_factory.mktemp("route"), records=csv_of(*ROWS))
    (route / "survey.csv").write_text(SURVEY, encoding="utf-8")
    (route / "found.csv").write_text(FOUND, encoding="utf-8")
    return build.build(settings.load(route))


@pytest.fixture(scope="module")
def out(made, tmp_path_factory):
    folder = tmp_path_factory.mktemp("out")
    build.publish(made, folder)
    return folder


def answer(out, joint_id):
    result = CliRunner().invoke(cli.main, ["find", str(out), joint_id, "--json"])
    assert result.exit_code == 0, result.output
    return json.loads(result.stdout)["answers"][0]


def depths(out, joint_id):
    return [text for text in answer(out, joint_id)["levels"] if text.startswith(("depth", "cover"))]


def test_a_depth_found_later_stands_before_the_cover_when_laid(out):
    assert depths(out, "J1") == [
        f"depth 1.62 m from the ground down to the pipe, as recorded (as found on 2026-03-10); {SINCE}",
        f"cover 1.51 m: ground 12.31 m, crown 10.80 m, as recorded (as-laid shot on 2026-03-02); {SINCE}",
    ]


def test_an_invert_is_inside_the_pipe(out):
    """OD 630 and wall 57.2 mm: the crown lies 0.5728 m above it (plain arithmetic)."""
    (said,) = depths(out, "J2")
    assert said.startswith("cover 1.43 m: ground 12.00 m, crown 10.57 m, as recorded")


@pytest.mark.parametrize(
    ("joint_id", "why"),
    [
        ("J3", "cover cannot be told: the level was taken on antenna"),
        (
            "J4",
            "cover cannot be told: the crown would lie above the ground (ground 12.31 m, crown 12.40 m, as recorded)",
        ),
        ("J5", "depth and cover: not recorded"),
    ],
)
def test_what_tells_no_cover_says_why(out, joint_id, why):
    (said,) = depths(out, joint_id)
    assert said.startswith(why)


def test_the_map_carries_the_same_texts(made, out):
    document = map_data(made)["joints"]["columns"]
    told = dict(zip(plain(document["joint_id"]), plain(document["depths"]), strict=True))
    assert set(told) == {f"J{i}" for i in range(1, 7)}
    for joint_id, texts in told.items():
        assert (texts.split("\n") if texts else ["depth and cover: not recorded"]) == depths(out, joint_id)


def test_days_are_those_of_the_clock_of_the_route(out):
    """09:00 at Hobart is the evening before in UTC."""
    fixes = [text for text in answer(out, "J5")["opinions"] if text.startswith("fix")]
    assert fixes
    assert all(text.startswith("fix on 2026-03-05") for text in fixes)


def test_no_design_level_is_made_up_where_the_design_has_none(tmp_path):
    """Levels at 0 and 100 m, none behind: half way it is the mean, and from there on nothing is said."""
    line = f"easting,northing,elevation (m)\n{E0},{N0},10\n{E0 + 100},{N0},12\n{E0 + 400},{N0},\n{E0 + 1000},{N0},\n"
    rows = [f"J{at},2026-03-01 1{i}:00,{E0 + at},{N0},215" for i, at in enumerate((50, 108, 600))]
    route = make_route(tmp_path / "route", records=csv_of(*rows), line=line)
    (tmp_path / "out").mkdir()
    build.publish(build.build(settings.load(route)), tmp_path / "out")
    levels = {name: answer(tmp_path / "out", name)["levels"] for name in ("J50", "J108", "J600")}
    told = {name: [text for text in texts if "design" in text] for name, texts in levels.items()}
    assert told == {"J50": ["design level here 11.00 m, as the design file has it"], "J108": [], "J600": []}
