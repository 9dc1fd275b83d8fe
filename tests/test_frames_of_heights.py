"""Which names say what heights are in, and what of them is told."""

import pytest

from asbuilt import crs, settings
from asbuilt.build import build
from asbuilt.errors import FrameError
from asbuilt.publish.report_data import report_data
from tests.making import make_route


@pytest.mark.parametrize(
    ("asked", "told"),
    [
        ("EPSG:5711", "EPSG:5711, AHD height"),
        ("EPSG:7855+5711", "EPSG:5711, AHD height"),
        ("EPSG:4979", "EPSG:4979, above the ellipsoid of WGS 84"),
    ],
)
def test_what_heights_are_in_is_named(asked, told):
    """Names as the EPSG register has them (seen in the copy that PROJ carries)."""
    assert crs.heights(asked, where="route.height_crs") == told


@pytest.mark.parametrize("asked", ["EPSG:7855", "EPSG:4326", "sea level", ""])
def test_what_names_no_heights_is_refused(asked):
    with pytest.raises(FrameError, match="names no frame of heights"):
        crs.heights(asked, where="route.height_crs")


def test_a_stated_frame_of_heights_is_told_by_name_in_record_and_report(tmp_path):
    record = build(settings.load(make_route(tmp_path, toml_changes={"route.height_crs": "EPSG:5711"})))
    info = record.tables["build_info"]
    told = info.loc[(info["topic"] == "frame") & (info["name"] == "heights"), "value"].item()
    assert told == "as recorded, stated to be in EPSG:5711, AHD height; never transformed"
    assert "stated to be in EPSG:5711, AHD height" in " ".join(report_data(record)["answer"]["datum"])
