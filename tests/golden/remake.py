"""Golden copies of what the sample route gives, to the millimetre: `python -m tests.golden.remake` writes them anew.

It also ties the decisions of the sample route that are meant to hold to what is shown now, as somebody would who has
looked at the new wording of a reason.

Look at the difference before you commit it: each changed line is a joint, a gap or a row that now reads otherwise.
"""

from pathlib import Path

import pandas as pd

from asbuilt import basis, build, settings
from asbuilt.as_built import AsBuilt

GOLDEN = Path(__file__).parent
_ROUTE = GOLDEN.parents[1] / "sample_routes" / "saltreach"
_DECISIONS, _HELD = _ROUTE / "decisions.csv", ("C-034", "0052", "0022--0024")
_COLUMNS = {
    "joints": "joint_id kind in_line line chainage_m station offset_m radius95_m placed_by fused_local machine_run"
    " fusion_verdict position_verdict recorded_n reasons decision closed easting northing",
    "gaps": "gap_id from_chainage_m to_chainage_m missing_records missing_low missing_high unplaced_here kind evidence"
    " decision closed",
    "decisions": "joint_id gap_id decision date basis state",
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


def tied_again(as_built: AsBuilt) -> str:
    """Return decisions.csv of the sample route with the present basis on the decisions that are meant to hold."""
    tables = as_built.tables
    joints, gaps = tables["joints"], tables["gaps"]
    now = dict(zip(joints["joint_id"], basis.of_joints(joints, tables["window_checks"]), strict=True))
    now |= dict(zip(gaps["gap_id"], basis.of_gaps(gaps), strict=True))
    rows = pd.read_csv(_DECISIONS, dtype=str, keep_default_na=False)
    named = rows["joint_id"] + rows["gap_id"]
    rows["basis"] = named.map(now).where(named.isin(_HELD), rows["basis"])
    return rows.to_csv(index=False, lineterminator="\n")


if __name__ == "__main__":
    _DECISIONS.write_text(tied_again(build.build(settings.load(_ROUTE))), encoding="utf-8")
    for name, text in golden_tables(build.build(settings.load(_ROUTE))).items():
        (GOLDEN / name).write_text(text, encoding="utf-8")
