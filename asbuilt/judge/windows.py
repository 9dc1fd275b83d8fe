"""Every window of every joint: one check each, the worst required one is the joint's fusion verdict."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import pandas as pd

from asbuilt.fields import FIELDS, NOT_BUTT, stored_as
from asbuilt.judge.derived import PRESSURES, Derived
from asbuilt.look import CANNOT_TELL, IN_WINDOW, NO_WINDOW, NOT_RECORDED, OUT_OF_WINDOW, WORST_FIRST
from asbuilt.procedures import Procedure, ProcedureWindow
from asbuilt.settings import Settings
from asbuilt.window import judge

_CONFIRM = "; limit from memory, confirm against your edition"


@dataclass(frozen=True)
class Judged:
    """`checks` has the columns of tables.WINDOW_CHECKS, with `row` (index of the joint's row) for joint_id.

    `joints` has fusion_verdict, recorded_n, procedure_n and reasons (tuple of texts) on the index of the rows.
    """

    checks: pd.DataFrame
    joints: pd.DataFrame


@dataclass(frozen=True)
class _Check:
    """One window over all rows."""

    name: str
    value: np.ndarray
    low: np.ndarray
    high: np.ndarray
    verdict: np.ndarray
    cause: np.ndarray
    source: str
    status: str
    required: bool
    kind: str  # of a pressure: gauge or interfacial


def judge_windows(
    rows: pd.DataFrame, derived: Derived, *, procedure: Procedure, settings: Settings, recorded: frozenset[str]
) -> Judged:
    """Judge every row against every window of the procedure and of the project.

    `recorded` are the fields with a column in any source: by default those are required of each record.
    """
    windows = _windows(procedure, settings)
    required = settings.window.required
    needed = frozenset(required) if required is not None else recorded
    checks = [
        _check(w, rows, derived, source=_source(w, own, procedure), required=w.check in needed) for w, own in windows
    ]
    method = rows["method"].fillna("")
    judged = (method.str.contains("butt", case=False) | ~method.str.contains(NOT_BUTT, case=False)).to_numpy(bool)
    return Judged(_long(rows, checks, judged), _by_joint(rows, checks, judged))


def unknown_requirements(procedure: Procedure, settings: Settings) -> list[str]:
    """Return the required quantities that neither the procedure nor the project has a window for."""
    known = {w.check for w, _ in _windows(procedure, settings)}
    return sorted(set(settings.window.required or ()) - known)


def _windows(procedure: Procedure, settings: Settings) -> list[tuple[ProcedureWindow, bool]]:
    """Return each window, and whether it is the project's own: those outrank the procedure's."""
    own = {}
    for check, limit in settings.window.limits.items():
        low, high = limit.bounds(check)
        sides = {"low": low if low is not None else (), "high": high if high is not None else ()}
        own[check] = ProcedureWindow(
            check=check,
            unit=FIELDS[check].unit,
            source="route.toml",
            status="project",
            pressure=limit.kind or "",
            **sides,  # type: ignore[arg-type]
        )
    theirs = [w.model_copy(update={"pressure": w.pressure or procedure.pressure}) for w in procedure.window]
    ours = [(own.get(w.check, w), w.check in own) for w in theirs]
    return ours + [(w, True) for check, w in own.items() if check not in {p.check for p in procedure.window}]


def _source(window: ProcedureWindow, own: bool, procedure: Procedure) -> str:
    return "project limit in route.toml" if own else f"{procedure.title}: {window.source}"


def _check(window: ProcedureWindow, rows: pd.DataFrame, derived: Derived, *, source: str, required: bool) -> _Check:
    low, high, known = window.limits(derived.values)
    cause = np.full(len(rows), "", dtype=object)
    if window.needs:
        cause[~known] = f"{' and '.join(n.replace('_', ' ') for n in window.needs)} is not known"
    value = derived.values[stored_as(window.check)]
    computable = known.copy()
    if window.check in PRESSURES:
        value, blocked = _pressure(window, rows, derived, computable)
        cause = np.where(blocked != "", blocked, cause)
    verdict = judge(value, low, high, computable=computable)
    told = np.isin(verdict, [IN_WINDOW, OUT_OF_WINDOW])
    cause[told] = _computed(window, rows, derived)[told]
    return _Check(window.check, value, low, high, verdict, cause, source, window.status, required, window.pressure)


def _computed(window: ProcedureWindow, rows: pd.DataFrame, derived: Derived) -> np.ndarray:
    """Say of an interfacial pressure which reading it was computed from."""
    said = np.full(len(rows), "", dtype=object)
    if window.check in PRESSURES and window.pressure != "gauge":
        gauge = (rows[f"{window.check}_kind"] == "gauge").to_numpy()
        reading, drag = derived.values[stored_as(window.check)], derived.values["drag_pressure_mpa"]
        for at in np.flatnonzero(gauge):
            said[at] = f"interfacial, from {reading[at]:.3f} MPa gauge with {drag[at]:.3f} MPa drag"
    return said


def _pressure(
    window: ProcedureWindow, rows: pd.DataFrame, derived: Derived, computable: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Return the pressure in the kind of the window, and what is missing for it; clears `computable` where unknown.

    Without drag or piston area the pressure was not recorded, even where the gauge figure would pass.
    """
    if window.pressure == "gauge":
        other = rows[f"{window.check}_kind"].to_numpy(object) == "interfacial"
        computable &= ~other
        blocked = np.where(other, "recorded as interfacial, and the limit is a gauge pressure", "").astype(object)
        return derived.values[stored_as(window.check)], blocked
    value, blocked = derived.interfacial[window.check].copy(), derived.missing[window.check]
    unsized = blocked == "the pipe's size is not known"
    computable &= ~unsized
    value[unsized] = derived.values[stored_as(window.check)][unsized]
    return value, blocked


def _long(rows: pd.DataFrame, checks: list[_Check], judged: np.ndarray) -> pd.DataFrame:
    parts = []
    for c in checks:
        columns = {"row": rows.index, "check": c.name, "value": c.value, "low": c.low, "high": c.high}
        columns |= {"unit": _shown_unit(c.name), "required": c.required}
        columns |= {
            "verdict": np.where(judged, c.verdict, NO_WINDOW),
            "cause": np.where(judged, c.cause, "not butt fusion"),
        }
        parts.append(pd.DataFrame(columns | {"source": c.source, "status": c.status}))
    return pd.concat(parts, ignore_index=True).sort_values("row", kind="stable", ignore_index=True)


def _by_joint(rows: pd.DataFrame, checks: list[_Check], judged: np.ndarray) -> pd.DataFrame:
    verdicts = np.stack([c.verdict for c in checks])
    required = np.array([c.required for c in checks])
    counted = np.where(required[:, None] | (verdicts == OUT_OF_WINDOW), verdicts, "")
    verdict = np.full(len(rows), NOT_RECORDED, dtype=object)  # a joint with no check at all
    for word in reversed(WORST_FIRST):
        verdict[(counted == word).any(axis=0)] = word
    verdict[~judged] = NO_WINDOW
    reasons: dict[int, list[str]] = {i: [] for i in rows.index}
    for c in checks:
        for at, sentence in _sentences(c, judged):
            reasons[rows.index[at]].append(sentence)
    for i in rows.index[~judged]:
        reasons[i].append("not butt fusion: recorded, not judged")
    return pd.DataFrame(
        {
            "fusion_verdict": verdict,
            "recorded_n": (verdicts != NOT_RECORDED).sum(axis=0),
            "procedure_n": len(checks),
            "reasons": pd.Series({i: tuple(r) for i, r in reasons.items()}, dtype=object),
        },
        index=rows.index,
    )


def _sentences(check: _Check, judged: np.ndarray) -> Iterator[tuple[int, str]]:
    name = check.name.replace("_", " ")
    for at in map(int, np.flatnonzero(judged & (check.verdict == OUT_OF_WINDOW))):
        yield at, _out(check, at, name)
    if check.required:
        for at in map(int, np.flatnonzero(judged & (check.verdict == NOT_RECORDED))):
            yield at, f"{name} was not recorded" if not check.cause[at] else f"{name}: {check.cause[at]}"
        for at in map(int, np.flatnonzero(judged & (check.verdict == CANNOT_TELL))):
            yield at, f"{name} cannot be judged: {check.cause[at]}"


def _out(check: _Check, at: int, name: str) -> str:
    unit = _shown_unit(check.name)
    value, low, high = check.value[at], check.low[at], check.high[at]
    limit, word = (low, "below") if value < low else (high, "above")
    shown, bound, by = _told_apart(value, limit, decimals=3 if unit == "MPa" else 1)
    kind = f"{check.kind} " if check.name in PRESSURES else ""
    memory = _CONFIRM if check.status == "from memory" else ""
    return f"{kind}{name} {shown} {unit}, {word} {bound} {unit} by {by} {unit}{memory}"


def _told_apart(value: float, limit: float, *, decimals: int) -> tuple[str, str, str]:
    """Write value, limit and their difference with as many decimals as it takes to tell them apart."""
    while f"{value:.{decimals}f}" == f"{limit:.{decimals}f}" and decimals < 9:
        decimals += 1
    return f"{value:.{decimals}f}", f"{limit:.{decimals}f}", f"{abs(value - limit):.{decimals}f}"


def _shown_unit(check: str) -> str:
    return FIELDS[check].unit.replace("degC", "°C").replace("mm2", "mm²")
