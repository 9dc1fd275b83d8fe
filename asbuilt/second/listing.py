"""What changed, as short lists for a terminal."""

from collections.abc import Iterator

import numpy as np
import pandas as pd

from asbuilt.quantities import LengthUnit
from asbuilt.second.difference import Difference
from asbuilt.second.plain import plain_text
from asbuilt.second.telling import CAUTION, difference_said, measured_line, placed_line, whole

_SHOWN = 20


def lists(found: Difference) -> list[tuple[str, list[str]]]:
    """Return the changes as headings with a line for each, 20 lines at most; how many more there are is the last."""
    unit = found.new.length_unit
    told = (
        ("Counts", _each_count(found.counts)),
        ("Added", _each_joint(found.added)),
        ("Removed", _each_joint(found.removed)),
        ("Moved", _each_move(found.moves.moved, unit)),
        ("Placed otherwise", (placed_line(row, unit) for row in found.placed_anew.to_dict("records"))),
        ("Measured on the pipe", (measured_line(row, unit) for row in found.measured.to_dict("records"))),
        ("Verdicts", _each(found.verdicts, "{joint_id} at {station}: {which} {old} to {new}")),
        ("Values", _each(found.values, "{joint_id}: {title} {old} to {new} {unit}")),
        ("Decisions", _from_to(found.decisions, "{about} {id}: {what}")),
        ("Gaps", _from_to(found.gaps, "{gap_id} ({from_station} to {to_station}): {what}")),
        ("Settings", _each(found.settings, "{topic} {name}: {old} to {new}")),
    )
    return [(heading, _cut(lines)) for heading, lines in told]


def as_text(found: Difference) -> list[str]:
    """Return the sentences, then the lists that are not empty, then the caution: the lines for a terminal."""
    parts = [line for heading, lines in lists(found) if lines for line in (f"{heading}:", *(f"  {x}" for x in lines))]
    return [*difference_said(found), *parts, CAUTION]


def _each(changes: pd.DataFrame, form: str) -> Iterator[str]:
    """Fill the form for each row. Where there is nothing, that is said."""
    for row in changes.to_dict("records"):
        shown = {str(name): value if value != "" or name == "unit" else "nothing" for name, value in row.items()}
        yield form.format_map(shown).strip()


def _from_to(changes: pd.DataFrame, form: str) -> Iterator[str]:
    """Fill the form for each row, then say what was and what is, as far as there is either."""
    for row in changes.to_dict("records"):
        sides = [f"{row[s]} ({row[f'{s}_state']})" if row.get(f"{s}_state") else row[s] for s in ("old", "new")]
        yield f"{form.format_map({str(k): v for k, v in row.items()})}; {' to '.join(filter(None, sides))}"


def _cut(lines: Iterator[str]) -> list[str]:
    shown: list[str] = []
    rest = 0
    for line in lines:
        if len(shown) < _SHOWN:
            shown.append(plain_text(line))
        else:
            rest += 1
    return [*shown, f"and {rest:,} more"] if rest else shown


def _each_count(counts: pd.DataFrame) -> Iterator[str]:
    for name, was, now, change in counts[counts["change"] != 0].itertuples(index=False):
        by = f" ({change:+,.0f})" if change == round(change) else ""
        yield f"{name.replace('_', ' ')}: {whole(was)} to {whole(now)}{by}"


def _each_joint(joints: pd.DataFrame) -> Iterator[str]:
    for row in joints.to_dict("records"):
        place = f"at {row['station']}" if row["station"] else "without a place"
        now = f"; now: {row['now']}" if "now" in row else ""
        out = "" if row["in_line"] else ", not in line"
        yield f"{row['joint_id']} {place}{out}: fusion {row['fusion_verdict']}, position {row['position_verdict']}{now}"


def _each_move(moved: pd.DataFrame, unit: LengthUnit) -> Iterator[str]:
    for row in moved.to_dict("records"):
        if row["what"] != "moved":
            was, now = (row[f"{when}_station"] or "no place" for when in ("old", "new"))
            yield f"{row['joint_id']}: {row['what']} ({was} to {now})"
            continue
        along = "" if np.isnan(row["along_m"]) else f", {unit.text(row['along_m'])} along"
        by = f"{row['old_placed_by']} to {row['new_placed_by']}"
        by = row["new_placed_by"] if row["old_placed_by"] == row["new_placed_by"] else by
        yield (
            f"{row['joint_id']}: {unit.text(row['plan_m'])} in plan{along}, more than {unit.text(row['limit_m'])}"
            f" ({row['old_station']} to {row['new_station']}; placed by {by})"
        )
