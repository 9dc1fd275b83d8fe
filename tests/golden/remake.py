"""Golden copies of what the sample route gives, to the millimetre: `python -m tests.golden.remake` writes them anew.

Look at the difference before you commit it: each changed line is a joint, a gap or a row that now reads otherwise.
"""

from pathlib import Path

from asbuilt import build, settings
from asbuilt.as_built import AsBuilt

GOLDEN = Path(__file__).parent
_ROUTE = GOLDEN.parents[1] / "sample_routes" / "saltreach"
_COLUMNS = {
    "joints": "joint_id kind in_line line chainage_m station offset_m radius95_m placed_by fused_local machine_run"
    " fusion_verdict position_verdict recorded_n reasons easting northing",
    "gaps": "gap_id from_chainage_m to_chainage_m missing_records missing_low missing_high unplaced_here kind evidence",
    "records": "source_file sheet source_row outcome joint_id reason",
}


def golden_tables(as_built: AsBuilt) -> dict[str, str]:
    """Return the text of each golden file."""
    return {
        f"{name}.csv": as_built.tables[name][columns.split()].to_csv(
            index=False, float_format="%.3f", lineterminator="\n"
        )
        for name, columns in _COLUMNS.items()
    }


if __name__ == "__main__":
    for name, text in golden_tables(build.build(settings.load(_ROUTE))).items():
        (GOLDEN / name).write_text(text, encoding="utf-8")
