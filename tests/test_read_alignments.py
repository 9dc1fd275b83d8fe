"""Design files: one continuous line or a refusal that names the break. All data is invented."""

import numpy as np
import pyproj
import pytest
import shapely
from shapely import LineString, MultiLineString, Point

from asbuilt.errors import AlignmentError, AsBuiltError
from tests.making import designs_of, make_layer, make_route

A, B, C, D = (500000, 5250000), (500100, 5250000), (500100, 5250100), (500200, 5250100)
FILE = {"alignment.file": "design/l.gpkg"}
KML = '<?xml version="1.0"?><kml xmlns="http://www.opengis.net/kml/2.2"><Document>{}</Document></kml>'
MARK = "<Placemark><LineString><coordinates>{}</coordinates></LineString></Placemark>"


def layer(folder, *lines, ending="gpkg", crs="EPSG:7855", changes=None, **how):
    """Return what is read from a layer of these lines."""
    make_layer(folder / f"design/l.{ending}", {}, lines, crs=crs, **how)
    return designs_of(make_route(folder, toml_changes={"alignment.file": f"design/l.{ending}"} | (changes or {})))


def written(folder, text, *, name="design/line.csv", changes=None):
    """Return what is read from a file of this text."""
    make_route(folder, line=None, toml_changes={"alignment.file": name} | (changes or {}))
    (folder / name).parent.mkdir(exist_ok=True)
    (folder / name).write_text(text, encoding="utf-8")
    return designs_of(folder)


def refusal(read, *args, **how):
    with pytest.raises(AlignmentError, match="design/l") as caught:
        read(*args, **how)
    return str(caught.value)


@pytest.mark.parametrize("ending", ["gpkg", "geojson", "shp"])
def test_a_line_of_each_kind_of_layer(tmp_path, ending):
    design = layer(tmp_path, LineString([A, B, C]), ending=ending).lines[0]
    np.testing.assert_allclose(design.line.xy, [A, B, C])
    np.testing.assert_allclose(design.line.measure, [0, 100, 200])
    assert np.isnan(design.z).all()


def test_a_line_of_kml_with_levels(tmp_path):
    text = KML.format(MARK.format("147,-42.9,3 147.001,-42.9,4 147.001,-42.901,5"))
    design = written(tmp_path, text, name="design/l.kml").lines[0]
    to_plane = pyproj.Transformer.from_crs("EPSG:4326", "EPSG:7855", always_xy=True)
    expected = np.column_stack(to_plane.transform([147, 147.001, 147.001], [-42.9, -42.9, -42.901]))
    np.testing.assert_allclose(design.line.xy, expected, atol=0.001)
    assert list(design.z) == [3, 4, 5]


def test_points_of_a_csv(tmp_path):
    found = written(tmp_path, "Easting;Northing;Level (m)\n500000,5;5250000;1,5\n500100,5;5250000;\n")
    np.testing.assert_allclose(found.lines[0].line.xy, [[500000.5, 5250000], [500100.5, 5250000]])
    np.testing.assert_array_equal(found.lines[0].z, [1.5, np.nan])


def test_latitudes_and_longitudes_of_a_csv_need_a_frame(tmp_path):
    text = 'lat,lon\n-42.9,147\n42°54\'S,"147°0\'3.6""E"\n'
    told = refusal(written, tmp_path, text)
    assert "its columns are latitude and longitude, and EPSG:7855, GDA2020 / MGA zone 55 (metre) has none" in told
    xy = written(tmp_path, text, changes={"alignment.crs": "EPSG:7844"}).lines[0].line.xy
    to_plane = pyproj.Transformer.from_crs("EPSG:7844", "EPSG:7855", always_xy=True)
    np.testing.assert_allclose(xy, np.column_stack(to_plane.transform([147, 147.001], [-42.9, -42.9])), atol=0.001)


def test_every_bad_point_of_a_csv_is_named(tmp_path):
    told = refusal(
        written, tmp_path, "easting,northing,level (m)\n500000,5250000,high\nx,5250000,\n500100,,\n1e999,0,\n"
    )
    for line in (
        "design/line.csv row 3, column easting: 'x' is not a number",
        "design/line.csv row 4, column northing: there is no number",
        "design/line.csv row 5, column easting: '1e999' is not finite",
        "design/line.csv row 2, column level (m): 'high' is not a number",
    ):
        assert line in told


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("easting,northing\n", "there is no point below the heading"),
        ("easting,northing\n500000,5250000\n", "all its points are one place"),
        ("a,b\n1,2\n3,4\n", "no two columns are positions"),
        ("", "no two columns are positions"),
        ("easting,northing\n1e7,5250000\n2e7,5250000\n", "vertex 1 (10000000, 5250000) is not where EPSG:7855"),
        ("easting,northing\n147,-42.9\n147.001,-42.9\n", "vertex 1 (147, -42.9) is not where EPSG:7855"),
    ],
)
def test_a_csv_that_holds_no_line(tmp_path, text, told):
    assert told in refusal(written, tmp_path, text)


def test_headings_in_feet_against_a_frame_in_metres(tmp_path):
    told = refusal(written, tmp_path, "easting (ft),northing (ft)\n500000,5250000\n500100,5250000\n")
    assert "its columns are in ft, and crs is EPSG:7855" in told


def test_a_level_without_unit_is_said(tmp_path):
    found = written(tmp_path, "easting,northing,level\n500000,5250000,1\n500100,5250000,2\n")
    assert "column 'level' could be elevation, and is not used: it has no unit" in found.notes[0]
    assert np.isnan(found.lines[0].z).all()


# --- parts ------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("lines", [[MultiLineString([[A, B], [B, C]])], [LineString([A, B]), LineString([B, C])]])
def test_parts_in_order_are_joined(tmp_path, lines):
    found = layer(tmp_path, *lines)
    np.testing.assert_allclose(found.lines[0].line.xy, [A, B, C])
    assert not any("put in order" in note for note in found.notes)


@pytest.mark.parametrize(
    "parts", [[[A, B], [C, D], [B, C]], [[A, B], [C, B], [C, D]], [[B, A], [B, C], [D, C]], [[B, C], [A, B], [C, D]]]
)
def test_parts_out_of_order_are_merged_and_that_is_said(tmp_path, parts):
    found = layer(tmp_path, *map(LineString, parts))
    xy = found.lines[0].line.xy
    np.testing.assert_allclose(xy if tuple(xy[0]) == A else xy[::-1], [A, B, C, D])
    assert found.notes[0] == "design/l.gpkg: its 3 parts were put in order, starting with the first"


def test_levels_follow_their_vertices_when_parts_are_merged(tmp_path):
    parts = [[(*A, 1), (*B, 2)], [(*C, 3), (*D, 4)], [(*B, 2), (*C, 3)]]
    assert list(layer(tmp_path, *map(LineString, parts)).lines[0].z) == [1, 2, 3, 4]


@pytest.mark.parametrize(
    ("parts", "told"),
    [
        ([[A, B], [(500101, 5250000), D]], "part 1 ends at (500100, 5250000), and part 2 begins 1.000 units away"),
        (
            [[A, B], [B, C], [(500150, 5250100), D]],
            "part 2 ends at (500100, 5250100), and part 3 begins 50.000 units away",
        ),
        ([[A, B], [B, C], [B, D]], "the line is broken"),  # a branch
        ([[A, B], [(500100, 5250000.5), C]], "part 2 begins 0.500 units away"),
        ([[A, B], [A, B]], "part 2 is drawn on part 1; draw each part once"),
        ([[A, B], [B, C], [B, A]], "part 3 is drawn on part 1; draw each part once"),
    ],
)
def test_a_broken_line_is_refused_with_size_and_place(tmp_path, parts, told):
    assert told in refusal(layer, tmp_path, *map(LineString, parts))


@pytest.mark.parametrize("parts", [[[A, B, C, A]], [[A, B], [B, C], [C, A]], [[A, B], [C, A], [B, C]]])
def test_a_closed_loop_is_a_line(tmp_path, parts):
    design = layer(tmp_path, *map(LineString, parts)).lines[0]
    assert design.end_m == pytest.approx(200 + np.hypot(100, 100))
    np.testing.assert_allclose(design.line.xy[0], design.line.xy[-1])


def test_repeated_points_are_left_out_counted_and_their_levels_with_them(tmp_path):
    found = layer(tmp_path, LineString([(*A, 1), (*B, 2), (*B, 9), (*B, 9), (*C, 4)]))
    np.testing.assert_allclose(found.lines[0].line.xy, [A, B, C])
    assert list(found.lines[0].z) == [1, 2, 4]
    assert found.notes == ("design/l.gpkg: 2 repeated points were left out",)


# --- what is no line --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("geometry", "told"),
    [
        ([Point(A), Point(B)], "there is no line in it"),
        ([shapely.Polygon([A, B, C])], "there is no line in it"),
        ([LineString([A, A])], "all its points are one place"),
        ([LineString([A, (float("inf"), 5250000), C])], "vertex 2 is not finite"),
    ],
)
def test_what_is_no_line_is_refused(tmp_path, geometry, told):
    assert told in refusal(layer, tmp_path, *geometry)


def test_a_vertex_that_is_no_number_is_refused(tmp_path):
    with np.errstate(invalid="ignore"):
        bad = LineString([A, (float("nan"), 5250000), C])
    assert "vertex 2 is not finite" in refusal(layer, tmp_path, bad)


def test_other_geometry_beside_the_line_is_left_out_and_said(tmp_path):
    assert layer(tmp_path, LineString([A, B]), Point(A)).notes == (
        "design/l.gpkg: 1 features that are no lines were left out",
    )


@pytest.mark.parametrize("ending", ["gpkg", "geojson", "shp", "kml"])
@pytest.mark.parametrize("raw", [b"", b"\0" * 300, b"{" * 2000, b"SQLite format 3\0" + b"\x9d" * 900, b"a" * 2_000_000])
@pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning", "ignore::RuntimeWarning")  # of GDAL
def test_a_file_that_cannot_be_read_is_a_refusal(tmp_path, ending, raw):
    make_route(tmp_path, toml_changes={"alignment.file": f"design/l.{ending}"})
    (tmp_path / f"design/l.{ending}").write_bytes(raw)
    assert "design/l" in refusal(designs_of, tmp_path)


def test_a_line_of_one_vertex_and_an_ending_that_is_not_read(tmp_path):
    feature = '{"type": "Feature", "properties": {}, "geometry": {"type": "LineString", "coordinates": [[147, -42.9]]}}'
    text = f'{{"type": "FeatureCollection", "features": [{feature}]}}'
    assert "cannot be read" in refusal(written, tmp_path, text, name="design/l.geojson")
    with pytest.raises(AsBuiltError, match=r"alignments in \.dxf are not read"):
        written(tmp_path, text, name="design/l.dxf")


def test_every_alignment_that_cannot_be_read_is_named_at_once(tmp_path):
    make_route(tmp_path, line="a,b\n", more='[[alignment]]\nline = "b"\nfile = "design/l.gpkg"\n')
    (tmp_path / "design/l.gpkg").write_bytes(b"")
    told = refusal(designs_of, tmp_path)
    assert "design/line.csv: no two columns are positions" in told
    assert "design/l.gpkg: cannot be read" in told


# --- layers, frames, direction ----------------------------------------------------------------------------------------


def test_of_several_layers_one_has_to_be_named(tmp_path):
    for name, line in (("north", [A, B]), ("south", [B, C])):
        make_layer(tmp_path / "design/l.gpkg", {}, [LineString(line)], crs="EPSG:7855", layer=name)
    make_route(tmp_path, toml_changes=FILE)
    assert "say layer = one of north, south" in refusal(designs_of, tmp_path)
    make_route(tmp_path, toml_changes=FILE | {"alignment.layer": "south"})
    np.testing.assert_allclose(designs_of(tmp_path).lines[0].line.xy, [B, C])
    make_route(tmp_path, toml_changes=FILE | {"alignment.layer": "east"})
    assert "('east'); say layer = one of north, south" in refusal(designs_of, tmp_path)


def test_the_files_frame_against_the_stated_one(tmp_path):
    told = refusal(layer, tmp_path, LineString([A, B]), changes={"alignment.crs": "EPSG:28355"})
    assert "the file says EPSG:7855" in told
    assert "route.toml says EPSG:28355" in told


def test_degrees_the_wrong_way_round_are_refused(tmp_path):
    told = refusal(layer, tmp_path, LineString([(-42.9, 147), (-42.9, 147.001)]), crs="EPSG:4326")
    assert "vertex 1 (-42.9, 147) is not where EPSG:4326, WGS 84 is used" in told


def test_reverse_and_start(tmp_path):
    line = LineString([(*A, 1), (*B, 2), (*C, 4)])
    design = layer(tmp_path, line, changes={"alignment.reverse": True, "alignment.start": "500 m"}).lines[0]
    np.testing.assert_allclose(design.line.xy, [C, B, A])
    assert list(design.z) == [4, 2, 1]
    assert (design.start_m, design.end_m) == (500, 700)


# --- lengths ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("changes", "length"),
    [
        ({}, 200.0),
        ({"alignment.length": "ground", "alignment.ground_factor": 1.0002}, 200.04),
        # two legs of 100 m in plan that climb 1 m and 20 m, by Pythagoras
        ({"alignment.length": "slope"}, np.hypot(100, 1) + np.hypot(100, 20)),
    ],
)
def test_lengths_against_a_plain_calculation(tmp_path, changes, length):
    design = layer(tmp_path, LineString([(*A, 1), (*B, 2), (*C, 22)]), changes=changes).lines[0]
    assert design.end_m == pytest.approx(length, abs=1e-9)


def test_geodesic_length_against_the_scale_factor_of_the_projection(tmp_path):
    # EPSG:7855 is a transverse Mercator with scale 0.9996 on its central meridian, easting 500000 (EPSG register):
    # along the meridian a geodesic is the grid length over 0.9996.
    line = LineString([(500000, 5250000), (500000, 5251000)])
    design = layer(tmp_path, line, changes={"alignment.length": "geodesic"}).lines[0]
    assert design.end_m == pytest.approx(1000 / 0.9996, abs=1e-4)


@pytest.mark.parametrize("as_csv", [False, True])
def test_slope_in_a_frame_of_feet(tmp_path, as_csv):
    # 300 ft in plan that climb 40 ft: run and rise are in US survey feet of 1200/3937 m alike
    start, end = (2_300_000, 10_000_000), (2_300_300, 10_000_000)  # within EPSG:6578, Texas Central in US feet
    changes = {"alignment.length": "slope", "route.crs": "EPSG:6578"}
    if as_csv:
        rows = "\n".join(f"{x},{y},{z}" for (x, y), z in ((start, 0), (end, 40)))
        design = written(tmp_path, f"easting,northing,level (us ft)\n{rows}\n", changes=changes).lines[0]
    else:
        line = LineString([(*start, 0), (*end, 40)])
        design = layer(tmp_path, line, crs="EPSG:6578", changes=changes).lines[0]
    assert design.end_m == pytest.approx(np.hypot(300, 40) * 1200 / 3937, abs=1e-6)
    assert design.z[1] == pytest.approx(40 * 1200 / 3937, abs=1e-9)  # metres


def test_slope_without_levels_names_the_vertex(tmp_path):
    told = refusal(layer, tmp_path, LineString([A, B]), changes={"alignment.length": "slope"})
    assert 'length = "slope", and vertex 1 has no level' in told


@pytest.mark.parametrize(
    ("equations", "told"),
    [
        ([("1500 m", "1600 m")], "back = 1500 m lies at 1500.000 m from the start, the line is 1000.000 m long"),
        ([("-1 m", "5 m")], "back = -1 m lies at -1.000 m from the start"),
        ([("500 m", "550 m"), ("400 m", "450 m")], "the equations are not in order along the line"),
    ],
)
def test_equations_off_the_line_or_out_of_order_are_refused(tmp_path, equations, told):
    change = {"alignment.equations": [{"back": back, "ahead": ahead} for back, ahead in equations]}
    with pytest.raises(AlignmentError, match=r"route\.toml: alignment main, equations") as caught:
        designs_of(make_route(tmp_path, toml_changes=change))
    assert told in str(caught.value)
