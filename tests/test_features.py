"""features.csv and the table of ties: what is read, which features are chosen, bearings and distances. Invented data.

The line of `tests.making` runs due east from E0, N0; its joints J1, J2 and J3 lie at 12, 24 and 36 m. How azimuths and
lengths of geodesics compare with published ones is in tests/published/test_geodesics.py.
"""

import time

import numpy as np
import pyproj
import pytest

from asbuilt import build, redact, settings, tables
from asbuilt.errors import InputError, SettingsError
from asbuilt.place.ties import GOOD_DEG, folded_deg, nearest_ties
from asbuilt.read.alignments import read_alignments
from asbuilt.read.features import FEATURES, read_features
from asbuilt.read.positions import Target
from tests.making import E0, N0, make_route

HEAD = "Feature,Description,Easting,Northing\n"


def feature(name, east, north, description="") -> str:
    return f"{name},{description},{E0 + east:.3f},{N0 + north:.3f}\n"


def built(folder, *rows, head=HEAD, **how):
    made = make_route(folder, **how)
    (made / "features.csv").write_text(head + "".join(rows), encoding="utf-8")
    return build.build(settings.load(made))


def ties_of(as_built, joint):
    ties = as_built.tables["ties"]
    return ties[ties["joint_id"] == joint].reset_index(drop=True)


# --- reading ----------------------------------------------------------------------------------------------------------


def read(folder, content, more=""):
    made = make_route(folder, more=more)
    (made / "features.csv").write_text(content, encoding="utf-8")
    asked = settings.load(made)
    designs = read_alignments(asked)
    return read_features(asked, Target(designs.frame, designs.area))


def test_features_are_read_with_their_own_headings_and_frame(tmp_path):
    """The central meridian of zone 55 is 147° E, easting 500000 (false easting of every UTM-like zone)."""
    more = '[features]\ncrs = "EPSG:7844"\n[features.columns]\nfeature = "Mark"\n'
    found = read(tmp_path, "Mark;Details;Lat;Lon\nH1;hydrant;-42.8;147,0\n".replace(",", "."), more)
    (row,) = found.rows.to_dict("records")
    assert list(found.rows) == list(FEATURES)
    assert (row["feature"], row["description"], row["frame_accuracy_m"]) == ("H1", "hydrant", 0)
    assert row["easting"] == pytest.approx(500000, abs=1e-6)
    assert (row["source_file"], row["source_row"]) == ("features.csv", 2)


def test_rows_without_name_or_place_are_left_out_copies_too_and_all_are_told(tmp_path):
    rows = [feature("H1", 12, 5), feature("", 13, 5), "H2,a pole,,\n", feature("H1", 12, 5), feature("h1", 30, 5)]
    made = built(tmp_path, *rows)
    told = "\n".join(made.notes)
    assert "features.csv row 3: left out, no feature is named" in told
    assert "features.csv row 4: left out, no position was recorded" in told
    assert "left out, for each repeats a feature before it: features.csv row 5" in told
    assert "names that stand at several places, told apart by their description only: h1" in told
    assert list(ties_of(made, "J1")["easting"]) == [E0 + 12, E0 + 30]


def test_a_file_without_positions_is_refused_and_an_idle_key_too(tmp_path):
    with pytest.raises(InputError, match=r"map easting and northing in \[features.columns\]"):
        read(tmp_path, "Feature,Description\nH1,hydrant\n")
    make_route(tmp_path, more='[features]\nreach = "50 m"\naccuracy = "95%"\n')
    with pytest.raises(SettingsError, match=r"without accuracy, which would change nothing in \[features\]"):
        settings.load(tmp_path)


def test_without_a_file_there_are_no_ties_and_no_word_of_them(tmp_path):
    made = build.build(settings.load(make_route(tmp_path)))
    assert made.tables["ties"].empty
    assert not any("feature" in n for n in made.notes)
    assert tuple(made.tables["ties"].columns) == (*tables.TIES.names, "geometry")


def test_features_in_another_place_are_told(tmp_path):
    made = built(tmp_path, feature("H1", 0, 100_000))
    assert made.tables["ties"].empty
    assert any("none of 1 feature lies within 100 m of a placed joint: check the crs" in n for n in made.notes)


def test_the_file_is_among_the_inputs(tmp_path):
    info = built(tmp_path, feature("H1", 12, 5)).tables["build_info"]
    assert "features.csv" in set(info.loc[info["topic"] == "input", "name"])


# --- bearings and distances -------------------------------------------------------------------------------------------


def test_a_grid_bearing_runs_from_the_feature_to_the_joint(tmp_path):
    """By hand: J1 lies 3 m east and 4 m south of H1: arctan(3 / -4) = 180° - 36.8699° from grid north; 5 m in the grid.

    On the central meridian of a zone the grid is 0.9996 of the ellipsoid: 5 / 0.9996 = 5.0020 m, and true north is
    grid north.
    """
    (row,) = ties_of(built(tmp_path, feature("H1", 9, 4, "hydrant")), "J1").to_dict("records")
    assert row["bearing_deg"] == pytest.approx(143.130102, abs=1e-6)
    assert row["distance_m"] == pytest.approx(5.0020008, abs=1e-6)
    assert row["true_bearing_deg"] == pytest.approx(row["bearing_deg"], abs=1e-3)
    assert (row["feature"], row["description"], row["easting"], row["northing"]) == ("H1", "hydrant", E0 + 9, N0 + 4)
    assert list(row["geometry"].coords) == [(E0 + 9, N0 + 4), (E0 + 12, N0)]
    assert np.isnan(row["crossing_deg"])


def test_true_bearing_and_distance_are_those_of_the_geodesic(saltreach):
    """Against pyproj.Geod, by the places of features and joints in degrees; grid bearing less true is the convergence.

    For the sample route that is sin(latitude) times the difference of longitude from 147° E, to some 0.01°.
    """
    ties = saltreach.tables["ties"]
    joints = saltreach.tables["joints"].set_index("joint_id").loc[ties["joint_id"]]
    to_degrees = pyproj.Transformer.from_crs("EPSG:7855", "EPSG:7844", always_xy=True)
    longitude, latitude = to_degrees.transform(ties["easting"], ties["northing"])
    geod = pyproj.Geod(ellps="GRS80")
    azimuth, _, length = geod.inv(longitude, latitude, joints["longitude"], joints["latitude"])
    assert len(ties) > 200
    np.testing.assert_allclose(ties["distance_m"], length, atol=2e-4)
    far = (ties["distance_m"] > 20).to_numpy()
    turn = (ties["true_bearing_deg"].to_numpy() - azimuth + 180) % 360 - 180
    assert np.abs(turn[far]).max() < 1e-3
    convergence = (ties["bearing_deg"] - ties["true_bearing_deg"] + 180) % 360 - 180
    expected = -(np.asarray(longitude) - 147.0) * np.sin(np.radians(latitude))
    np.testing.assert_allclose(convergence, expected, atol=0.01)


def test_on_a_line_of_ground_length_the_distance_is_by_its_factor(tmp_path):
    changes = {"alignment.length": "ground", "alignment.ground_factor": 1.0004}
    (row,) = ties_of(built(tmp_path, feature("H1", 9, 4), toml_changes=changes), "J1").to_dict("records")
    assert row["distance_m"] == pytest.approx(5 * 1.0004, abs=1e-6)


def test_in_feet_the_reach_and_the_distance_are_still_metres(tmp_path):
    """EPSG:2277, US survey feet: 100 ft in the grid are 30.48006 m, over a scale that is 1 to some 1e-4."""
    east, north = 3_115_000.0, 10_070_000.0
    line = f"easting,northing\n{east},{north}\n{east + 3000},{north}\n"
    records = "Joint,Finished,East,North,Plate (°C)\n" + "".join(
        f"J{i},2026-03-0{i} 10:00,{east + 40 * i},{north},215\n" for i in (1, 2, 3)
    )
    changes = {"route.crs": "EPSG:2277", "records.crs": "EPSG:2277", "route.timezone": "America/Chicago"}
    text = HEAD + f"near,,{east + 40},{north - 100}\nfar,,{east + 40},{north + 400}\n"
    made = built(tmp_path, head=text, line=line, records=records, toml_changes=changes)
    (row,) = ties_of(made, "J1").to_dict("records")
    assert (row["feature"], row["bearing_deg"]) == ("near", pytest.approx(0, abs=1e-6))
    assert row["distance_m"] == pytest.approx(30.48006, rel=2e-4)


def test_a_feature_at_the_joint_itself_has_no_bearing(tmp_path):
    made = built(tmp_path, feature("M1", 12, 0), feature("M2", 12, 9))
    at, other = ties_of(made, "J1").to_dict("records")
    assert (at["feature"], at["distance_m"], at["geometry"]) == ("M1", pytest.approx(0, abs=1e-6), None)
    assert np.isnan([at["bearing_deg"], at["true_bearing_deg"]]).all()
    assert other["bearing_deg"] == pytest.approx(180)
    assert other["crossing_deg"] == 0


# --- which features ---------------------------------------------------------------------------------------------------


def test_the_nearest_five_within_reach_the_nearest_first(tmp_path):
    rows = [feature(f"F{k}", 12 + k, 10 + 10 * k) for k in range(8)]
    found = ties_of(built(tmp_path, *rows, feature("far", 12, 101)), "J1")
    assert list(found["feature"]) == ["F0", "F1", "F2", "F3", "F4"]
    assert found["distance_m"].is_monotonic_increasing
    wide = ties_of(built(tmp_path, feature("far", 12, 101), more='[features]\nreach = "102 m"\n'), "J1")
    assert list(wide["feature"]) == ["far"]


def test_a_feature_that_crosses_well_takes_the_place_of_the_fifth():
    """Eight posts along a fence due north, 1 m apart, cross nothing; a pole due east crosses them at 90 degrees."""
    fence = np.array([[0.0, 10.0 + k] for k in range(8)])
    found = nearest_ties(np.zeros((1, 2)), np.vstack([fence, [[40.0, 0.0]]]), reach=100)
    assert found.feature.tolist() == [0, 1, 2, 3, 8]
    assert found.crossing_deg.tolist() == [90.0] * 5
    alone = nearest_ties(np.zeros((1, 2)), fence, reach=100)
    assert alone.feature.tolist() == [0, 1, 2, 3, 4]
    assert alone.crossing_deg.tolist() == [0.0] * 5


@pytest.mark.parametrize(("direction", "is_taken"), [(29.9, False), (30.1, True), (149.9, True), (150.1, False)])
def test_a_crossing_is_good_from_30_to_150_degrees(direction, is_taken):
    """The rule itself: common practice, no source."""
    fence = np.array([[0.0, 10.0 + k] for k in range(5)])
    turn = np.radians(direction)
    found = nearest_ties(np.zeros((1, 2)), np.vstack([fence, 50 * np.array([[np.sin(turn), np.cos(turn)]])]), reach=100)
    assert (5 in found.feature) == is_taken


def test_crossings_by_hand():
    """East against north-east is 45°; against the west-south-west of (-2, -1) arctan(1/2) = 26.565°; folded at 90."""
    east = np.array([[1.0, 0.0]] * 3)
    others = np.array([[1.0, 1.0], [-2.0, -1.0], [0.0, -3.0]])
    np.testing.assert_allclose(folded_deg(east, others), [45.0, 26.565051, 90.0], atol=1e-6)


def test_against_all_pairs_one_by_one():
    """Two hundred joints among sixty features: by a plain search over all of them."""
    rng = np.random.default_rng(7)
    joints, features = rng.uniform(0, 500, (200, 2)), rng.uniform(0, 500, (60, 2))
    found = nearest_ties(joints, features, reach=100)
    swapped = 0
    for k, joint in enumerate(joints):
        away = np.hypot(*(features - joint).T)
        near = [i for i in np.argsort(away) if away[i] <= 100]
        taken = found.feature[found.joint == k].tolist()
        swapped += taken != near[:5]
        assert len(taken) == min(5, len(near))
        assert taken[:4] == near[:4]
        angles = [float(folded_deg(features[a] - joint, features[b] - joint)) for a in taken for b in taken if a < b]
        if angles:
            assert found.crossing_deg[found.joint == k] == pytest.approx(max(angles))
        if taken != near[:5]:
            assert max(angles) >= GOOD_DEG
    assert len(found.joint) == len(found.feature) == len(found.crossing_deg)


def test_a_hundred_thousand_joints_and_a_thousand_features_take_seconds():
    """Measured on two cores with other work beside: some 2 s. The bound is wide, as machines differ."""
    rng = np.random.default_rng(1)
    joints = np.column_stack([np.arange(100_000) * 1.0, rng.normal(0, 1, 100_000)])
    features = np.column_stack([rng.uniform(0, 100_000, 1000), rng.uniform(-60, 60, 1000)])
    began = time.process_time()
    found = nearest_ties(joints, features, reach=200)
    assert time.process_time() - began < 30
    assert np.bincount(found.joint, minlength=100_000).max() == 5


# --- what is said -----------------------------------------------------------------------------------------------------


def test_how_many_joints_are_tied_and_how_well_is_said(tmp_path):
    """All three joints lie within 100 m of all three; only the first two features stand in one line with them."""
    made = built(tmp_path, feature("A", 50, 0), feature("B", 60, 0), feature("C", 24, 30))
    said = [n for n in made.notes if n.startswith("features: ")]
    assert said == [
        "features: 3 of 3 placed joints have a tie within 100 m, 3 three or more, 3 of these with two that cross at"
        " 30° to 150°"
    ]
    poor = built(tmp_path, feature("A", 50, 0), feature("B", 60, 0), feature("C", 70, 0), feature("D", 0, 3000))
    assert any("3 three or more, 0 of these" in n and "1 feature is no tie of any" in n for n in poor.notes)


def test_joints_without_a_place_have_no_ties(tmp_path):
    records = "Joint,Finished,East,North,Plate (°C)\n" + "".join(
        f"J{i},2026-03-0{i} 10:00,{E0 + 12 * i},{N0 + (0 if i < 3 else 9000)},215\n" for i in (1, 2, 3)
    )
    made = built(tmp_path, feature("A", 24, 5), records=records)
    assert set(made.tables["ties"]["joint_id"]) <= {"J1", "J2"} | set(
        made.tables["joints"].loc[made.tables["joints"]["easting"].notna(), "joint_id"]
    )
    assert len(made.tables["ties"]) == made.tables["joints"]["easting"].notna().sum()


def test_redacted_copies_keep_no_words_of_features_and_coarse_ones_no_ties(tmp_path):
    made = built(tmp_path, feature("A", 24, 5, "gate of a farmer"))
    assert set(redact.redacted(made).tables["ties"]["description"]) == {""}
    assert redact.redacted(made, coarsen_m=50.0).tables["ties"].empty
