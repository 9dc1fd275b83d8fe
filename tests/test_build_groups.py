"""What a group shares is one finding and not one red joint after the other; a joint off its own group stays red."""

import numpy as np
import pytest

from asbuilt import build, settings
from tests.making import E0, N0, csv_of, make_route

HEADING = "Joint,Finished,East,North,Plate (°C),Machine"
STRUNG = '[[string]]\nstring = "B"\njoints = ["J21", "J50"]\nmethod = "strung beside trench"\nfirst_fused = "back"\n'


def built(folder, *, off, odd=0.0, more=""):
    """70 joints in ten days; J21 to J50 lie `off` to the right, J35 `odd` farther."""
    rng = np.random.default_rng(5)
    rows = []
    for i in range(1, 71):
        aside = (off if 21 <= i <= 50 else 0.0) + (odd if i == 35 else 0.0) + rng.normal(0, 0.15)
        when = f"2026-03-{1 + (i - 1) // 7:02d} {8 + (i - 1) % 7:02d}:00"
        rows.append(f"J{i:02d},{when},{E0 + 12 * i + rng.normal(0, 0.15):.3f},{N0 - aside:.3f},225,M1")
    changes = {"records.columns.machine": "Machine", "records.default_accuracy": "0.4 m"}
    return build.build(
        settings.load(make_route(folder, records=csv_of(*rows, heading=HEADING), toml_changes=changes, more=more))
    )


def test_a_clean_line_has_nothing_to_say_of_groups(tmp_path):
    found = built(tmp_path, off=0.0)
    assert found.tables["findings"].empty
    assert found.counts.position["in window"] == 70


def test_a_string_on_the_bank_is_one_finding(tmp_path):
    found = built(tmp_path, off=7.0)
    assert found.counts.position["out of window"] == 0
    assert found.counts.position["cannot tell"] == pytest.approx(30, abs=1)
    offsets = found.tables["findings"].query("kind == 'offset'")
    assert len(offsets) == 1
    assert offsets["joints_n"].iloc[0] == pytest.approx(30, abs=1)
    assert "right of the alignment together" in offsets["statement"].iloc[0]
    assert offsets["statement"].iloc[0] in found.statements
    joints = found.tables["joints"].set_index("joint_id")
    assert "right of the alignment by its fix; its group does, too" in joints.loc["J30", "reasons"]
    assert joints.loc["J30", "offset_m"] == pytest.approx(7.0, abs=0.6)  # nothing is corrected
    assert joints.loc["J30", "chainage_m"] == pytest.approx(360.0, abs=0.3)


def test_a_joint_off_its_own_group_is_out_of_window_all_the_same(tmp_path):
    joints = built(tmp_path, off=7.0, odd=5.0).tables["joints"].set_index("joint_id")
    assert joints.index[joints["position_verdict"] == "out of window"].to_list() == ["J35"]


def test_what_was_declared_is_no_finding_and_passes_nothing(tmp_path):
    found = built(tmp_path, off=7.0, more=STRUNG)
    assert found.tables["findings"].query("kind == 'offset'").empty
    strung = found.tables["joints"].set_index("joint_id").loc["J21":"J50"]
    assert set(strung["position_verdict"]) == {"cannot tell"}
    assert "its string was strung beside the trench" in strung["reasons"].iloc[3].lower()
