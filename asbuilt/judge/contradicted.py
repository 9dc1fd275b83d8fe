"""Records that their own curve contradicts: neither of the two values decides alone, so it cannot be told."""

import numpy as np
import pandas as pd

from asbuilt.judge.added import Added, no_checks, worded_checks
from asbuilt.judge.traces import Compared, Traced
from asbuilt.look import CANNOT_TELL, IN_WINDOW
from asbuilt.window import judge

_SOURCE = "the curve beside the record, a rule of this tool"


def judge_contradictions(rows: pd.DataFrame, traced: Traced, checks: pd.DataFrame) -> Added:
    """Judge for each joint with a curve whether the curve would decide a window otherwise than the stated value.

    `rows` are those of `judge_traces`, `checks` of `judge_windows`. A difference that leaves the verdict of the window
    as it is (both inside, or both outside) is told among the findings only.
    """
    said = np.full(len(rows), "", dtype=object)
    for compared in traced.compared:
        own = checks[checks["check"] == compared.check].set_index("row").reindex(rows.index)
        other = _otherwise(compared, own)
        for at in map(int, np.flatnonzero(other)):
            said[at] += ("; " if said[at] else "") + _sentence(compared, own, at)
    seen = traced.rows["trace_fusion_pressure_mpa"].notna().to_numpy()
    if not seen.any():
        return Added(no_checks())
    verdict = np.where(said == "", IN_WINDOW, CANNOT_TELL).astype(object)[seen]
    told = {"source": _SOURCE, "status": "the writers' judgement", "cause": said[seen]}
    return Added(worded_checks(rows.index[seen], "curve", verdict=verdict, required=True, **told))


def _otherwise(compared: Compared, own: pd.DataFrame) -> np.ndarray:
    """Return where the curve decides otherwise; not where the check judged the value in another kind of pressure."""
    value, low, high = (own[name].to_numpy(float) for name in ("value", "low", "high"))
    known = compared.beyond & np.isclose(value, compared.stated, rtol=1e-9) & ~(np.isnan(low) & np.isnan(high))
    stated, found = (judge(v, low, high, computable=known) for v in (compared.stated, compared.found))
    return known & (stated != found)


def _sentence(compared: Compared, own: pd.DataFrame, at: int) -> str:
    stated, found = compared.words(at)
    low, high = (own[name].iloc[at] for name in ("low", "high"))
    sides = [
        f"{word} {bound:.{max(compared.decimals, 1)}f}"
        for word, bound in (("from", low), ("to", high))
        if np.isfinite(bound)
    ]
    window = f"{' '.join(sides)} {compared.unit}"
    return f"the curve shows a {compared.name} of {found}, the record states {stated}; window {window}"
