"""What makes many joints stand out at once is said once, for the group."""

import pandas as pd

from asbuilt.look import NO_WINDOW, NOT_RECORDED


def unrecorded_by_source(rows: pd.DataFrame, checks: pd.DataFrame) -> tuple[str, ...]:
    """Return one statement for each source file in which a required quantity is recorded of no joint at all.

    `rows` are the joints in line, with source_file; `checks` those of `judge_windows`.
    """
    file = rows["source_file"].reindex(checks["row"]).to_numpy(object)
    asked = checks.assign(file=file)[checks["required"] & pd.notna(file) & (checks["verdict"] != NO_WINDOW)]
    none = asked.assign(none=asked["verdict"] == NOT_RECORDED).groupby(["file", "check"], sort=True)
    found = none.agg(all=("none", "all"), size=("none", "size"), cause=("cause", "first"))
    none_at_all = found[found["all"]].reset_index().astype({"file": str, "check": str})
    return tuple(
        f"{file}: {cause or 'there is no ' + check.replace('_', ' ')}, and {check.replace('_', ' ')} is required:"
        f" none of its {size} joints has it."
        for file, check, size, cause in none_at_all[["file", "check", "size", "cause"]].itertuples(index=False)
    )
