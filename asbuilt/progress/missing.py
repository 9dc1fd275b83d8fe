"""Records that are missing between two days' work: nobody knows which day they are of, and so no day counts them."""

from collections.abc import Iterator
from typing import Any

import numpy as np

from asbuilt.progress.calendar import day_of
from asbuilt.progress.rows import each
from asbuilt.progress.work import Work
from asbuilt.sentence import several

_MOST = 10


def missing_between(work: Work, *, last: int | None = None) -> tuple[str, ...]:
    """Say after and before which joints records are missing, those that touch the `last` days only; of many the first.

    A gap is known on an evening once both of its joints were made.
    """
    told = list(_gaps(work, -np.inf if last is None else work.evening - last))
    if not told:
        return ()
    more = f"; and {len(told) - _MOST} more" if len(told) > _MOST else ""
    return (f"In no day's row, for no record tells which day they are of: {'; '.join(told[:_MOST])}{more}.",)


def _gaps(work: Work, since: float) -> Iterator[str]:
    gaps, made = work.tables["gaps"], {joint.joint_id: joint for joint in each(work.made)}
    counts = (gaps["missing_records"] > 0).to_numpy(bool) & (gaps["kind"] != "not yet recorded").to_numpy(bool)
    for gap in each(gaps[counts]):
        ends = [made[name] for name in (gap.from_joint, gap.to_joint) if name in made]
        if len(ends) == 2 and max(end.moment for end in ends) >= since + 1:
            before, after = sorted(ends, key=lambda end: end.moment)
            crews = " / ".join(dict.fromkeys([before.crew, after.crew]))
            yield f"{crews} {several(int(gap.missing_records), 'record')} between {_when(before)} and {_when(after)}"


def _when(joint: Any) -> str:
    minutes = round((joint.moment % 1) * 24 * 60)
    return f"{joint.joint_id} ({day_of(np.floor(joint.moment)):%a} {minutes // 60:02d}:{minutes % 60:02d})"
