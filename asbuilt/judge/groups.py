"""What makes many joints stand out at once is said once, for the group."""

import pandas as pd

from asbuilt.look import NOT_RECORDED


def unrecorded_by_source(rows: pd.DataFrame, checks: pd.DataFrame) -> tuple[str, ...]:
    """Return one statement for each source file in which a required quantity is recorded of no joint at all.

    `rows` are the joints in line, with source_file; `checks` those of `judge_windows`.
    """
    file = rows["source_file"].reindex(checks["row"]).to_numpy(object)
    asked = checks.assign(file=file)[checks["required"] & pd.notna(file)]
    share = (
        asked.assign(none=asked["verdict"] == NOT_RECORDED)
        .groupby(["file", "check"], sort=True)["none"]
        .agg(["all", "size"])
    )
    return tuple(
        f"{file} has no {check.replace('_', ' ')}, which is required: that alone leaves its {size} joints not recorded."
        for (file, check), size in share.loc[share["all"], "size"].items()
    )
