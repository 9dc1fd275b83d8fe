"""What makes many joints stand out at once is said once, for the group."""

from collections import Counter

import pandas as pd

from asbuilt.look import NO_WINDOW, NOT_RECORDED


def unrecorded_by_source(rows: pd.DataFrame, checks: pd.DataFrame) -> tuple[str, ...]:
    """Return one statement for each source file in which a required quantity is recorded of no joint at all.

    `rows` are the joints in line, with source_file and unread; `checks` those of `judge_windows`.
    """
    file = rows["source_file"].reindex(checks["row"]).to_numpy(object)
    asked = checks.assign(file=file)[checks["required"] & pd.notna(file) & (checks["verdict"] != NO_WINDOW)]
    none = asked.assign(none=asked["verdict"] == NOT_RECORDED).groupby(["file", "check"], sort=True)
    found = none.agg(all=("none", "all"), size=("none", "size"), cause=("cause", "first"))
    none_at_all = found[found["all"]].reset_index().astype({"file": str, "check": str})
    unread = Counter((f, *pair) for f, pairs in zip(rows["source_file"], rows["unread"], strict=True) for pair in pairs)
    return tuple(
        f"{file}: {_unread(file, check, unread) or cause or 'there is no ' + check.replace('_', ' ')}, and"
        f" {check.replace('_', ' ')} is required: none of its {size} joints has it."
        for file, check, size, cause in none_at_all[["file", "check", "size", "cause"]].itertuples(index=False)
    )


def _unread(file: str, check: str, unread: Counter[tuple[str, str, str]]) -> str:
    """Say in how many cells of which column the quantity stands and could not be read; "" where in none."""
    found = [(heading, n) for (f, name, heading), n in unread.items() if (f, name) == (file, check)]
    columns = " and ".join(f"column {heading}: {n} cell{'s' if n > 1 else ''}" for heading, n in found)
    return f"{check.replace('_', ' ')} could not be read ({columns})" if found else ""
