"""The page's modules one by one: joined, run in a blank page, and held against what is known elsewhere."""

import dataclasses
import math
import re
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pyproj
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from playwright.sync_api import Page

from asbuilt import as_built, look, map_tables
from asbuilt.publish import webmap
from asbuilt.publish.map_columns import packed
from asbuilt.publish.map_data import map_data
from asbuilt.publish.scripts import joined
from asbuilt.stationing import ChainageEquation, Stationing
from tests.map_pages import until
from tests.map_record import PLAIN, invented

SCRIPTS = Path(webmap.__file__).parents[1] / "assets" / "map"
FOOT = 1200 / 3937  # metres in a US survey foot (from memory; 15 U.S.C. 205c gives the metre as 39.37 inches)
Run = Callable[..., Page]


def read_map(name: str) -> str:
    return (SCRIPTS / f"{name}.js").read_text(encoding="utf-8")


def with_probe(imports: str) -> str:
    """One script that hands what is imported to the window: 'a, b from text; c from earth'."""
    parts = [part.strip().split(" from ") for part in imports.split(";")]
    lines = [f'import {{ {names} }} from "./{module}.js";\n' for names, module in parts]
    names = ", ".join(names for names, _ in parts)
    probe = "".join(lines) + f"window.probe = {{ {names} }};\n"
    return joined("probe", lambda name: probe if name == "probe" else read_map(name))


@pytest.fixture(scope="module")
def run(browser):
    """A function that runs some of the page's functions in a blank page, with a document; no module may complain."""
    page, complaints = browser.new_page(), []
    page.on("pageerror", lambda error: complaints.append(str(error)))

    def ready(imports: str, document: dict[str, Any] | None = None) -> Page:
        told = webmap.packed(document) if document else ""
        page.set_content(f'<script id="record" type="text/plain">{told}</script>')
        page.evaluate("window.probe = undefined")
        page.add_script_tag(content=with_probe(imports))
        until(page, "() => window.probe !== undefined", seconds=5)
        return page

    yield ready
    page.close()
    assert complaints == []


def each(page: Page, name: str, calls: list[list[Any]]) -> list[Any]:
    """The results of one function for many calls, in one turn."""
    return list(page.evaluate("([name, calls]) => calls.map((one) => window.probe[name](...one))", [name, calls]))


@pytest.fixture(scope="module")
def document() -> dict[str, Any]:
    return map_data(invented())


# ---- text.js ---------------------------------------------------------------------------------------------------------


def test_figures_are_four_and_a_value_never_rounds_onto_its_limit(run, document):
    page = run("figure, besideLimits, windowText, countText, many from text", document)
    assert each(page, "figure", [[221.4999], [0.517107], [1234567], [-0.00012345], [0], [238.4, 2]]) == [
        "221.5", "0.5171", "1235000", "-0.0001234", "0", "240",
    ]  # fmt: skip
    edge = [[0.1500001, None, 0.15], [0.15, None, 0.15], [229.96, 210, 230], [229.94, 210, 230], [209.99999, 210, None]]
    assert each(page, "besideLimits", edge) == ["0.1500001", "0.15", "229.96", "229.9", "209.99999"]
    windows = [[210, 230, "°C"], [None, 0.15, "MPa"], [600, None, "s"], [None, None, "s"], [0, 1, None]]
    assert each(page, "windowText", windows) == ["210 to 230 °C", "at most 0.15 MPa", "at least 600 s", None, "0 to 1"]


def test_counts_are_grouped_as_python_groups_them(run, document):
    page = run("countText, many from text", document)
    numbers = [0, 7, 999, 1000, 12345, 123456, 1234567, 1000000]
    assert each(page, "countText", [[n] for n in numbers]) == [f"{n:,}" for n in numbers]
    assert each(page, "many", [[1, "gap"], [0, "gap"], [1200, "joint"]]) == ["1 gap", "0 gaps", "1,200 joints"]


def test_lengths_round_halves_up_and_offsets_name_their_side(run, document):
    page = run("lengthText, offsetText from text", document)
    lengths = [[23.65, 1], [1.005, 2], [0, 0], [11.999, 1], [None, 2]]
    assert each(page, "lengthText", lengths) == ["23.7 m", "1.01 m", "0 m", "12.0 m", None]
    sides = [[1.396], [-0.05], [0.004], [-0.004], [None]]
    assert each(page, "offsetText", sides) == ["1.40 m R", "0.05 m L", "0.00 m", "0.00 m", None]


def test_days_and_minutes_are_those_of_pythons_calendar(run, document):
    page = run("dayText, dayOfMinute, minuteText, dayNamed from text", document)
    first, days = date(1970, 1, 1), [-1, 0, 1, 11016, 20524, 20528, 47540]  # 11016: 29 February 2000
    whole = [first + timedelta(days=d) for d in days]
    said = [f"{d.day} {d:%B %Y}" for d in whole]
    assert each(page, "dayText", [[d] for d in days]) == said
    assert each(page, "dayNamed", [[text] for text in said]) == days
    assert each(page, "dayNamed", [[f"{d:%Y-%m-%d}"] for d in whole]) == days
    at = datetime(2026, 3, 12, 14, 32, tzinfo=UTC)
    minute = int(at.timestamp() // 60)
    assert each(page, "dayOfMinute", [[minute], [minute - 872], [minute - 873], [-1]]) == [20524, 20524, 20523, -1]
    zones = [[minute, "+11:00"], [minute, "Z"], [minute, None], [minute - 872, "-03:30"], [None, None]]
    assert each(page, "minuteText", zones) == [
        "12 March 2026 14:32 (UTC+11:00)", "12 March 2026 14:32 (UTC)", "12 March 2026 14:32",
        "12 March 2026 00:00 (UTC-03:30)", None,
    ]  # fmt: skip


NO_DAYS = [
    "2026-02-30",
    "2026-13-01",
    "03/12/2026",
    "12.3.2026",
    "March 2026",
    "12 Ma 2026",
    "31 April 2026",
    "12 Foo 2026",
]


@pytest.mark.parametrize("text", [*NO_DAYS, ""])
def test_what_is_no_day_is_not_guessed(run, document, text):
    assert each(run("dayNamed from text", document), "dayNamed", [[text]]) == [None]


def test_sentences_end_at_full_stops_and_not_inside_numbers(run, document):
    page = run("sentences from text", document)
    text = "Heater 238.4 °C is above 230 °C. Offset 1.40 m. See 3.b of A.1 for it."
    assert each(page, "sentences", [[text], [None], ["One. two"]]) == [
        ["Heater 238.4 °C is above 230 °C.", "Offset 1.40 m.", "See 3.b of A.1 for it."], [], ["One. two"],
    ]  # fmt: skip


def test_a_sentence_is_not_cut_in_a_name_nor_in_what_somebody_wrote(run, document):
    """Common practice of writing names; no source."""
    page = run("sentences from text", document)
    whole = [
        "Found on 2031-05-02 by T. Plover at 2+478.51; 0.40 m ahead.",
        "Qualification of J. R. R. Tern ended on 2026-03-12.",
        "Found by Dr. Plover and Ø. Åre-B. Tern.",
        "Column Remarks: 'wet. Trench full' is not a number.",
    ]
    assert each(page, "sentences", [[text] for text in whole]) == [[text] for text in whole]
    two = [
        ("Offset 1.40 m against a window of 2 m.", "Heater 238 °C is above 230 °C."),
        ("Recorded 'tidy', a word that passes.", "Éric's joint is not in line."),
        ("Cooled for 12 min.", "Soak time was not recorded."),
    ]
    assert each(page, "sentences", [[" ".join(pair)] for pair in two]) == [list(pair) for pair in two]


@pytest.mark.parametrize("length", [1000, 100])
def test_a_station_is_written_and_read_as_stationing_does(run, document, length):
    title = document["title"] | {"station_length": f"{length} m"}
    page = run("stationText, stated, statedOf from text", document | {"title": title})
    rng = np.random.default_rng(11)
    values = [*rng.uniform(-3000, 90000, 200).round(3).tolist(), 0, 99.996, 999.996, -0.004, 1000, -145.67]
    texts = each(page, "stationText", [[v] for v in values])
    own = Stationing(station_length_m=length).labels(np.array(values))
    back = each(page, "stated", [[t] for t in texts])
    assert back == pytest.approx(values, abs=0.0051)  # written to the centimetre
    half = [math.isclose(abs(v) * 1000 % 10, 5, abs_tol=1e-6) for v in values]  # the two round a half differently
    assert [t for t, h in zip(texts, half, strict=True) if not h] == [
        o for o, h in zip(own, half, strict=True) if not h
    ]
    assert each(page, "statedOf", [["250"], ["-12.5"], [f"0+{length}"], ["J1"], ["1+2+3"], ["1e3"], [" 1+050.5 "]]) == [
        250, -12.5, None, None, None, None, length + 50.5,
    ]  # fmt: skip


# ---- earth.js --------------------------------------------------------------------------------------------------------

GEOD = pyproj.Geod(ellps="WGS84")  # its geodesics are held against GeographicLib's own test set in tests/published


@pytest.mark.parametrize(("farthest", "within"), [(5_000, 0.001), (50_000, 1.0)])
def test_distance_and_bearing_are_those_of_the_geodesic(run, farthest, within):
    page, rng, n = run("wayFrom from earth"), np.random.default_rng(3), 500
    latitude, longitude = rng.uniform(-60, 60, n), rng.uniform(-180, 180, n)
    latitude[:20], longitude[:20] = -42.8, rng.uniform(179.98, 180, 20)  # across the antimeridian, too
    bearing, distance = rng.uniform(0, 360, n), rng.uniform(1, farthest, n)
    to_longitude, to_latitude, _ = GEOD.fwd(longitude, latitude, bearing, distance)
    pairs = np.stack([latitude, longitude, to_latitude, to_longitude], axis=1).reshape(-1, 2, 2).tolist()
    found = each(page, "wayFrom", pairs)
    assert [f["distance"] for f in found] == pytest.approx(distance.tolist(), abs=within)
    assert [f["distance"] for f in found] == pytest.approx(distance.tolist(), rel=2e-5)
    off = [(f["bearing"] - b + 180) % 360 - 180 for f, b in zip(found, bearing, strict=True)]
    assert max(map(abs, off)) < 0.001
    assert all(0 <= f["bearing"] < 360 for f in found)


def test_a_bearing_has_three_figures_and_a_wind(run):
    page = run("bearingText from earth")
    assert each(page, "bearingText", [[0], [7.4], [22.6], [90], [179.6], [359.6], [315]]) == [
        "000° (N)", "007° (N)", "023° (NE)", "090° (E)", "180° (S)", "000° (N)", "315° (NW)",
    ]  # fmt: skip


SOUTH_EAST = (-42 - 51 / 60 - 8.3 / 3600, 149 + 13 / 60 + 38.9 / 3600)


@pytest.mark.parametrize(
    ("text", "place"),
    [
        ("-42.85229, 149.22748", (-42.85229, 149.22748)),
        ("  -42.85229,149.22748  ", (-42.85229, 149.22748)),
        ("-42.85229 149.22748", (-42.85229, 149.22748)),
        ("\u221242.85229, 149.22748", (-42.85229, 149.22748)),  # the minus of printed texts
        ("42.85229 S 149.22748 E", (-42.85229, 149.22748)),
        ("42.85229S149.22748E", (-42.85229, 149.22748)),
        ("N45.5 W120.25", (45.5, -120.25)),
        ("42.85229°s, 149.22748°e", (-42.85229, 149.22748)),
        ("42°51'08.3\"S 149°13'38.9\"E", SOUTH_EAST),
        ("42° 51′ 08.3″ S, 149° 13′ 38.9″ E", SOUTH_EAST),
        ("42d51m08.3s S, 149d13m38.9s E", SOUTH_EAST),
        ("42d51m08.3s 149d13m38.9e", SOUTH_EAST),
        ("42°51’08.3”S 149°13’38.9”E", SOUTH_EAST),  # as a phone's keyboard writes them
        ("S42°51'08.3\", E149°13'38.9\"", SOUTH_EAST),
        ("-42°51'08.3\", 149°13'38.9\"", SOUTH_EAST),
        ("42.5 s 10.25 w", (-42.5, -10.25)),
        ("42°51.5'S 149°13.25'E", (-42 - 51.5 / 60, 149 + 13.25 / 60)),
        ("geo:-42.85,149.22", (-42.85, 149.22)),  # RFC 5870: latitude first; parameters after a semicolon
        ("geo:-42.85,149.22;u=35", (-42.85, 149.22)),
        ("geo:-42.85,149.22,12.5?z=18", (-42.85, 149.22)),
        ("+42.5,+10.25", (42.5, 10.25)),
        ("90, -180", (90, -180)),
        ("0,0", (0, 0)),
    ],
)
def test_a_position_is_read_in_the_forms_that_people_paste(run, text, place):
    (found,) = each(run("positionNamed from earth"), "positionNamed", [[text]])
    assert found == pytest.approx(place, abs=1e-9)


HOSTILE = [
    "", " ", ",", "J0004", "8+20.21", "0+250", "10 20", "12.5 N", "1,2,3", "1 2 3 4", "42,85229 149,22748",
    "90.0001, 0", "0, 180.0001", "45 E 45 N", "45 N 45 N", "42°61'00\"S 149°13'00\"E", "42°51'60\"S 149°13'00\"E",
    "1e3, 5", "NaN, NaN", "Infinity, 0", "null, null", "<script>, 1", "(1.5), 2", "5-6, 7", "٤٢.٥, ١٠.٢", "--1, 2",
    "1..5, 2", "\u202e1, 2x",
    "1, 2; rm", "__proto__, 1", "2026-03-12",
    "42.8 S, 149.2", "-42.8 S, 149.2 E", "-42.8 N, 149.2 E", "42.5°30'S 149°E", "42°30.5'10\"S 149°E", "42°51''08.3S",
]  # fmt: skip


def test_what_is_no_position_is_not_read_as_one(run):
    found = each(run("positionNamed from earth"), "positionNamed", [[text] for text in HOSTILE])
    assert dict(zip(HOSTILE, found, strict=True)) == dict.fromkeys(HOSTILE)


def test_a_long_paste_is_no_position(run):
    long = [["0" * 20000], ["1 " * 5000], ["1°" * 5000], ["1.5," + " " * 20000 + "2.5"], ["1.1," * 5000]]
    assert each(run("positionNamed from earth"), "positionNamed", long) == [None] * len(long)


def test_degrees_minutes_and_seconds_carry_over_and_lead_back(run):
    page = run("degreesText, inDegrees, positionNamed from earth")
    values = [
        [-42.8522919, "N", "S"],
        [59.9999999, "N", "S"],
        [0, "E", "W"],
        [12.5, "E", "W"],
        [-120.99999999, "E", "W"],
    ]
    assert each(page, "degreesText", values) == [
        "42° 51′ 08.251″ S", "60° 00′ 00.000″ N", "0° 00′ 00.000″ E", "12° 30′ 00.000″ E", "121° 00′ 00.000″ W",
    ]  # fmt: skip
    places = np.random.default_rng(5).uniform([-90, -180], [90, 180], (200, 2)).tolist()
    back = each(page, "positionNamed", [[text] for text in each(page, "inDegrees", places)])
    assert np.abs(np.array(back) - places).max() < 0.00051 / 3600  # half of the last figure


# ---- along.js: stations ----------------------------------------------------------------------------------------------


def jumps(*pairs: tuple[float, float]) -> tuple[ChainageEquation, ...]:
    return tuple(ChainageEquation(back_m=back, ahead_m=ahead) for back, ahead in pairs)


STATIONINGS = {
    "plain": PLAIN,
    "hole": Stationing(equations=jumps((300, 350))),
    "overlap": Stationing(equations=jumps((300, 240.5))),
    "several": Stationing(equations=jumps((150, 1150), (1250, 1200), (1400.25, 400))),
    "feet": Stationing(station_length_m=100 * FOOT, metres_per_unit=FOOT, equations=jumps((300, 290))),
}


@pytest.fixture(params=STATIONINGS, scope="module")
def stations(request, run):
    stationing = STATIONINGS[request.param]
    told = map_data(invented(stationing=stationing))
    if request.param == "feet":
        told["title"] |= {"station_length": "100 ft", "length_unit": {"name": "ft", "metres": FOOT}}
    return stationing, run("statedAt, chainagesOf, endsOf from along", told)


def test_a_stated_value_is_that_of_stationing(stations):
    stationing, page = stations
    at = np.sort(np.random.default_rng(2).uniform(0, 732, 300))
    at = at[(np.abs(at[:, None] - stationing.breaks_m) > 0.02).all(axis=1)]  # labels are to the centimetre
    assert len(at) > 250
    found = each(page, "statedAt", [["main", c] for c in [*at.tolist(), *stationing.breaks_m.tolist()]])
    own = stationing.stated_m(np.array([*at, *stationing.breaks_m])) / stationing.metres_per_unit
    assert found == pytest.approx(own.tolist(), abs=0.0051)
    assert each(page, "statedAt", [["main", -0.1], ["main", 732.1]]) == [None, None]
    assert page.evaluate("window.probe.endsOf('main')") == pytest.approx({"from": 0, "to": 732}, abs=0.001)


def test_the_chainages_of_a_stated_value_are_those_of_stationing(stations):
    stationing, page = stations
    low, high = stationing.stated_m(np.array([0.0, 732.0]))
    values = [*np.random.default_rng(4).uniform(min(low, 0) - 50, max(high, 1400) + 50, 300).tolist()]
    values += [v for e in stationing.equations for v in (e.back_m, e.ahead_m)]
    own = [[c for c in stationing.chainages_m(v) if 0 <= c <= 732] for v in values]
    edges = [0.0, 732.0]
    near = [min(abs(c - e) for c in stationing.chainages_m(v) or [1e9] for e in edges) < 0.02 for v in values]
    found = each(page, "chainagesOf", [["main", v / stationing.metres_per_unit] for v in values])
    assert sum(map(len, own)) > 60
    for mine, theirs, unsure in zip(found, own, near, strict=True):
        assert unsure or mine == pytest.approx(theirs, abs=0.0051)


# ---- days.js ---------------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def sample(run, saltreach):
    return run("days, counts, ofTheDay, withoutTime from days; change, state from state", map_data(saltreach))


def counted(found: dict[str, Any]) -> dict[str, Any]:
    return {
        **found,
        "covered": pytest.approx(found["covered"], abs=0.01),
        "length": pytest.approx(found["length"], abs=0.01),
    }


def of_the_sentence(record: as_built.AsBuilt) -> dict[str, Any]:
    """The counts that the Python side writes at the head, as the page counts them."""
    of = record.counts
    return counted(
        {"joints": of.joints, "fusion": dict(of.fusion), "position": dict(of.position), "gaps": of.gaps,
         "missing": of.missing_records, "unplaced": of.unplaced, "length": of.length_m, "covered": of.covered_m}
    )  # fmt: skip


def test_the_counts_of_the_whole_record_are_those_of_the_sentence(sample, saltreach):
    found = sample.evaluate("(window.probe.change({evening: null}), window.probe.counts())")
    assert found == of_the_sentence(saltreach)


def days_of(record: as_built.AsBuilt) -> pd.Series:
    """The day of each joint of the line on the clock of the route, days since 1970-01-01; NA without a time."""
    joints = record.tables["joints"]
    local = joints.loc[joints["in_line"].astype(bool), "fused_local"]
    return (pd.to_datetime(local.str[:10], errors="coerce") - pd.Timestamp(0)).dt.days


def test_the_last_evening_counts_all_where_every_joint_has_a_time(sample, saltreach):
    day = days_of(saltreach)
    assert sample.evaluate("[window.probe.days, window.probe.withoutTime]") == [sorted(day.unique()), 0]
    last = sample.evaluate("(window.probe.change({evening: window.probe.days.at(-1)}), window.probe.counts())")
    assert last == of_the_sentence(saltreach)


def test_each_evening_counts_what_was_made_by_then(sample, saltreach):
    joints, day = saltreach.tables["joints"], days_of(saltreach)
    every = sample.evaluate(
        "window.probe.days.map((evening) => (window.probe.change({evening}), {...window.probe.counts(), day: evening}))"
    )
    for found in every:
        made = joints.loc[day.index[day <= found["day"]]]
        assert found["joints"] == len(made)
        assert {v: n for v, n in found["fusion"].items() if n} == made["fusion_verdict"].value_counts().to_dict()
        assert {v: n for v, n in found["position"].items() if n} == made["position_verdict"].value_counts().to_dict()
        assert found["unplaced"] == (made["placed_by"] == "unplaced").sum()
    covered = [found["covered"] for found in every]
    assert covered == sorted(covered)


def test_what_the_days_cover_adds_up_to_what_is_covered(sample):
    lengths, rows, last = sample.evaluate(
        """() => {
          const done = window.probe.days.map((evening) => (window.probe.change({evening}), window.probe.ofTheDay()));
          return [done.map(d => d.length), done.map(d => d.rows.length), window.probe.counts()];
        }"""
    )
    assert len(lengths) > 3
    assert sum(lengths) == pytest.approx(last["covered"], abs=0.01)
    assert sum(rows) == last["joints"]


def test_a_bracket_that_holds_joints_leaves_only_its_share_uncovered(run):
    """Where the place of a missing record is uncertain, of so many pipes of the bracket so many have no record."""
    record = invented()
    gaps = record.tables["gaps"].assign(joints_within=[2, 0])
    told = map_data(dataclasses.replace(record, tables={**record.tables, "gaps": gaps}))
    found = run("counts from days", told).evaluate("window.probe.counts().covered")
    # by hand: 732 m, without 24 m with one missing record, and without 4 of 6 pipes of 48 m with three
    assert found == pytest.approx(732 - 24 - 48 * 4 / 6, abs=0.01)


# ---- joined ----------------------------------------------------------------------------------------------------------


def test_every_module_of_the_page_is_reached_and_runs_once():
    script = joined("main", read_map)
    names = sorted(path.stem for path in SCRIPTS.glob("*.js"))
    assert sorted(re.findall(r"^const from_(\w+) = await", script, re.MULTILINE)) == names
    assert not re.search(r"^(import|export)\b", script, re.MULTILINE)


def test_modules_run_once_each_before_those_that_need_them(run):
    texts = {
        "top": 'import { left } from "./left.js";\nimport { right, also } from "./right.js";\n'
        "window.probe = [left, right, also];\n",
        "left": 'import { step } from "./base.js";\nexport const left = step("left");\n',
        "right": 'import { step } from "./base.js";\nexport const right = step("right"), also = "a, b = c";\n',
        "base": "let n = 0;\nexport function step(name) { n += 1; return name + n; }\n",
    }
    page = run("figure from text", map_data(invented()))  # a blank page; the probe is written anew
    page.evaluate("window.probe = undefined")
    page.add_script_tag(content=joined("top", texts.__getitem__))
    until(page, "() => window.probe !== undefined")
    assert page.evaluate("window.probe") == ["left1", "right2", "a, b = c"]


@pytest.mark.parametrize(
    ("texts", "says"),
    [
        ({"a": 'import { b } from "./b.js";\n', "b": 'import { a } from "./a.js";\n'}, "in a ring: a -> b -> a"),
        ({"a": 'import { a } from "./a.js";\n'}, "in a ring: a -> a"),
        (
            {"a": 'import { b, c } from "./b.js";\n', "b": "export const b = 1;\n"},
            r"a.js imports \['c'\], which b.js does",
        ),
        ({"a": 'import { c } from "./b.js";\n', "b": "const c = 1;\n"}, r"imports \['c'\]"),
        ({"a": 'import * as b from "./b.js";\n'}, "a.js: a form that is not read: import"),
        ({"a": "import b from './b.js';\n"}, "a form that is not read: import b"),
        ({"a": "export default 1;\n"}, "a form that is not read: export default"),
        ({"a": "const b = 1;\nexport { b };\n"}, "a form that is not read: export { b }"),
        ({"a": 'import { b as c } from "./b.js";\n', "b": "export const b = 1;\n"}, r"imports \['b as c'\]"),
    ],
)
def test_what_cannot_be_joined_is_an_error(texts, says):
    with pytest.raises(ValueError, match=says):
        joined("a", texts.__getitem__)


# ---- columns ---------------------------------------------------------------------------------------------------------


def values_of(column: Any, rows: int) -> list[Any]:
    """The values of a packed column, one for each row."""
    if column is None:
        return [None] * rows
    return [column["all"]] * rows if isinstance(column, dict) and "all" in column else map_tables.plain(column)


DECIMALS = {"latitude": 7, "fix_longitude": 7, "chainage_m": 3, "easting": 3, "value": 9, "soak_time_s": 6}
REALS = st.one_of(
    st.none(), st.sampled_from([math.nan, math.inf, -math.inf, 0.0, -0.0, 1e250, 2.0**53]),
    st.floats(-1e6, 1e6), st.floats(-180, 180), st.integers(-50, 50).map(float),
)  # fmt: skip


@settings(deadline=None)
@given(st.sampled_from(sorted(DECIMALS)), st.lists(REALS, min_size=1, max_size=40), st.booleans())
def test_numbers_come_back_to_their_decimals(name, values, often):
    values = values * 5 if often else values  # then few values repeat
    column = pd.Series(values, name=name, dtype="float64")
    back = values_of(packed(column), len(column))
    for given_, found in zip(column, back, strict=True):
        assert (found is None) == (not math.isfinite(given_))
        if found is not None:
            assert found == pytest.approx(given_, rel=1e-14, abs=0.5000001 * 10 ** -DECIMALS[name])


@settings(deadline=None)
@given(
    st.sampled_from(["Int64", "object", "boolean", "str", "category"]),
    st.lists(st.one_of(st.none(), st.integers(-(2**52), 2**52)), min_size=1, max_size=40),
    st.booleans(),
)
def test_other_values_come_back_as_they_are(dtype, numbers, often):
    turn = {
        "Int64": int,
        "object": lambda n: f"t{n}",
        "boolean": lambda n: n % 2 == 0,
        "str": lambda n: f" {n} ",
        "category": str,
    }
    values = [None if n is None else turn[dtype](n) for n in numbers] * (5 if often else 1)
    column = pd.Series(values, name="anything", dtype=dtype)
    assert values_of(packed(column), len(column)) == values


def test_empty_texts_and_spaces_are_nothing_and_an_empty_column_is_absent():
    assert packed(pd.Series(["", "  ", None], name="remarks", dtype=object)) is None
    assert packed(pd.Series([math.nan, math.inf], name="value")) is None
    assert packed(pd.Series([], name="value", dtype="float64")) is None
    assert values_of(packed(pd.Series(["a", "", "b"], name="remarks")), 3) == ["a", None, "b"]
    assert packed(pd.Series([7.0, 7.0], name="value")) == {"all": 7}


def test_the_page_reads_a_column_to_the_last_bit_as_python_rounds_it(run, document):
    rng = np.random.default_rng(8)
    columns = {
        "latitude": rng.uniform(-43, -42, 56),
        "chainage_m": np.where(rng.random(56) < 0.2, np.nan, rng.uniform(0, 9e4, 56)),
        "soak_time_s": rng.uniform(0, 900, 56), "order": rng.integers(-9, 9, 56).astype(float),
    }  # fmt: skip
    told = {name: packed(pd.Series(values, name=name)) for name, values in columns.items()}
    page = run(
        "joint from record", document | {"joints": {"rows": 56, "columns": document["joints"]["columns"] | told}}
    )
    for name, values in columns.items():
        own = [
            None if math.isnan(v) else round(v, {"latitude": 7, "chainage_m": 3}.get(name, 6)) for v in values.tolist()
        ]
        assert each(page, "joint", [[name, row] for row in range(56)]) == own
    assert each(page, "joint", [["elevation_m", 3], ["machine", 0], ["in_line", 0]]) == [None, "M1", True]


# ---- the shape of the document ---------------------------------------------------------------------------------------


def test_a_document_of_the_stated_shape_passes(document):
    assert map_tables.checked(document) is document
    assert set(document) == {*map_tables.TABLES, *map_tables.OTHERS}


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (lambda d: d.pop("gaps"), "part 'gaps' is missing"),
        (lambda d: d.update(secret=1), "part 'secret' is not stated"),
        (lambda d: d["joints"]["columns"].update(time_recorded=["x"] * 56), "joints.time_recorded is not stated"),
        (lambda d: d["joints"]["columns"].update(remarks=["x"]), "joints.remarks has 1 values in 56 rows"),
        (lambda d: d["gaps"]["columns"].update(kind={"words": ["a"], "at": [0]}), "gaps.kind has 1 values in 2 rows"),
        (lambda d: d["checks"]["counts"].pop(), "checks: the counts are not those of 56 joints and 168 rows"),
        (lambda d: d["opinions"]["counts"].__setitem__(0, 1), "opinions: the counts are not those of 56 joints"),
    ],
)
def test_a_document_of_another_shape_is_refused(change, says):
    told = map_data(invented())
    change(told)
    with pytest.raises(ValueError, match=re.escape(says)):
        map_tables.checked(told)


def test_every_fault_of_a_document_is_told_at_once():
    told = map_data(invented())
    del told["look"]
    told["joints"]["columns"] |= {"remarks": ["x"], "secret": ["x"] * 56}
    with pytest.raises(ValueError, match=r"(?s)'look' is missing.*secret is not stated.*remarks has 1 values"):
        map_tables.checked(told)


def test_the_look_of_the_page_is_that_of_look(document):
    assert document["look"]["fusion"] == {v: vars(one) for v, one in look.FUSION.items()}
