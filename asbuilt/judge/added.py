"""Checks beside the windows of the procedure, and how they join the fusion verdict of a joint."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from asbuilt.judge.finding import Finding
from asbuilt.look import CANNOT_TELL, NO_WINDOW, NOT_RECORDED, OUT_OF_WINDOW, WORST_FIRST
from asbuilt.settings import Settings

_NO_NUMBER = {"value": np.nan, "low": np.nan, "high": np.nan, "margin": np.nan, "unit": "", "procedure": ""}
_COLUMNS = ("row", "check", *_NO_NUMBER, "verdict", "required", "source", "status", "cause")


@dataclass(frozen=True)
class Added:
    """`checks` has the columns of those of `judge_windows`; `findings` and `statements` are of groups."""

    checks: pd.DataFrame
    findings: tuple[Finding, ...] = ()
    statements: tuple[str, ...] = ()


def no_checks() -> pd.DataFrame:
    """Return the table of checks without a row."""
    return pd.DataFrame({name: pd.Series(dtype=object) for name in _COLUMNS})


def worded_checks(index: pd.Index, check: str, *, verdict: np.ndarray, required: bool, **said: object) -> pd.DataFrame:
    """Return one check for each label of `index` that has a word and no number. `said`: source, status, cause."""
    return pd.DataFrame(
        {"row": index, "check": check, **_NO_NUMBER, "verdict": verdict, "required": required}
        | {name: said[name] for name in ("source", "status", "cause")}
    )


def is_required(check: str, settings: Settings, *, by_default: bool) -> bool:
    """Whether the fusion verdict needs the check: as [window] required says, else `by_default`."""
    asked = settings.window.required
    return by_default if asked is None else check in asked


def with_added(joints: pd.DataFrame, checks: pd.DataFrame) -> pd.DataFrame:
    """Return the joints of `judge_windows`, their fusion_verdict and reasons with what the added checks say.

    The worst of what is required counts, and each check that is out of window. What no window applies to (a flange)
    stays so unless a check is out of window.
    """
    rank = {word: k for k, word in enumerate(WORST_FIRST)}
    told = checks[checks["required"].astype(bool) | (checks["verdict"] == OUT_OF_WINDOW)]
    bare = joints.index[joints["fusion_verdict"] == NO_WINDOW]
    told = told[(told["verdict"] != NO_WINDOW) & ((told["verdict"] == OUT_OF_WINDOW) | ~told["row"].isin(bare))]
    ranks = pd.Series([rank[word] for word in told["verdict"]], index=told["row"].to_numpy(), dtype="int64")
    worst = ranks.groupby(level=0).min().reindex(joints.index, fill_value=len(WORST_FIRST))
    both = np.minimum(joints["fusion_verdict"].map(rank).to_numpy(int), worst.to_numpy(int))
    more: dict[object, list[str]] = {}
    for row, check, verdict, cause in told[["row", "check", "verdict", "cause"]].itertuples(index=False):
        if sentence := _sentence(str(check), str(verdict), str(cause)):
            more.setdefault(row, []).append(sentence)
    reasons = [(*said, *more.get(row, ())) for row, said in joints["reasons"].items()]
    verdicts = np.array(WORST_FIRST, dtype=object)[both]
    return joints.assign(fusion_verdict=verdicts, reasons=pd.Series(reasons, index=joints.index, dtype=object))


def _sentence(check: str, verdict: str, cause: str) -> str:
    if verdict == OUT_OF_WINDOW:
        return cause
    return f"{check}: {cause}" if verdict in (NOT_RECORDED, CANNOT_TELL) else ""
