"""Every window of every joint: one check each, the worst required one is the joint's fusion verdict."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from asbuilt.fields import FIELDS, stored_as
from asbuilt.judge.derived import PRESSURES, Derived, wall_findings
from asbuilt.judge.finding import Finding
from asbuilt.judge.fittings import how_joined
from asbuilt.look import CANNOT_TELL, IN_WINDOW, NO_WINDOW, NOT_RECORDED, OUT_OF_WINDOW, WORST_FIRST
from asbuilt.procedures import Limits, Procedure, ProcedureWindow
from asbuilt.sentence import several
from asbuilt.settings import Settings
from asbuilt.window import judge

_CONFIRM = "limit from memory, confirm against your edition"


@dataclass(frozen=True)
class Judged:
    """`checks` has the columns of tables.WINDOW_CHECKS, with `row` (index of the joint's row) for joint_id.

    `joints` has fusion_verdict, recorded_n, procedure_n and reasons (tuple of texts) on the index of the rows.
    `findings` are what a file has in common: pressures that only fit as the other kind, walls that do not fit.
    """

    checks: pd.DataFrame
    joints: pd.DataFrame
    findings: tuple[Finding, ...] = ()


@dataclass(frozen=True)
class _Check:
    """One window over all rows."""

    name: str
    value: np.ndarray
    limits: Limits
    verdict: np.ndarray
    cause: np.ndarray
    misread: np.ndarray  # texts; empty where not
    said: np.ndarray  # texts: what goes with a sentence of an out-of-window value
    required: bool
    kind: str  # of a pressure: gauge or interfacial

    @property
    def margin(self) -> np.ndarray:
        """How far inside its window the value lies, negative outside; NaN where there is no saying."""
        inside = np.fmin(self.value - self.limits.low, self.limits.high - self.value)
        return np.where(self.limits.known & ~self.limits.none, inside, np.nan)


def judge_windows(
    rows: pd.DataFrame, derived: Derived, *, procedure: Procedure, settings: Settings, recorded: frozenset[str]
) -> Judged:
    """Judge every row against every window of the procedure and of the project.

    `recorded` are the fields with a column in any source: by default those are required of each record.
    """
    required = settings.window.required
    needed = frozenset(required) if required is not None else recorded
    theirs = (procedure.not_covered(derived.values), f"{procedure.title}: ")
    ours = (np.full(len(rows), "", dtype=object), "")  # a limit of the project's own holds for every joint
    checks = []
    for window, own in _windows(procedure, settings):
        outside, title = ours if own else theirs
        checks.append(_check(window, derived, outside=outside, title=title, required=window.check in needed))
    judged = (how_joined(rows) == "butt").to_numpy(bool)
    joints = _by_joint(rows, checks, judged=judged, doubts=derived.wall_doubts)
    found = (*_misread(rows, checks, judged), *wall_findings(rows, derived))
    return Judged(_long(rows, checks, judged, procedure=procedure), joints, found)


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
            source="project limit in route.toml",
            status="project",
            pressure=limit.kind or "",
            **sides,  # type: ignore[arg-type]
        )
    theirs = [w.model_copy(update={"pressure": w.pressure or procedure.pressure}) for w in procedure.window]
    ours = [(own.get(w.check, w), w.check in own) for w in theirs]
    return ours + [(w, True) for check, w in own.items() if check not in {p.check for p in procedure.window}]


def _check(window: ProcedureWindow, derived: Derived, *, outside: np.ndarray, title: str, required: bool) -> _Check:
    limits = window.limits(derived.values, title)
    value, other, blocked = derived.values[stored_as(window.check)], None, np.full(len(outside), "", dtype=object)
    computable = limits.known & (outside == "")
    if window.check in PRESSURES:
        value, other = derived.in_kind(window.check, window.pressure)
        blocked = derived.lacks(window.check, window.pressure)
        unsized = derived.recorded_only(window.check, window.pressure)
        value, computable = np.where(unsized, derived.values[stored_as(window.check)], value), computable & ~unsized
    verdict, allowed = _verdicts(value, limits, computable)
    verdict[limits.none & (outside == "")] = NO_WINDOW
    why = np.where(outside == "", limits.why_not, outside)
    here = (verdict == NOT_RECORDED) | (blocked != "")
    why[here] = blocked[here]
    why[allowed] = "long enough only with what the procedure allows to take off, which somebody has to decide"
    told = np.isin(verdict, [IN_WINDOW, OUT_OF_WINDOW])
    corrected = np.where(told | allowed, _corrected(window, derived, limits), "")
    misread = _only_as_other(window, limits, other, out=(verdict == OUT_OF_WINDOW), derived=derived)
    said = _joined(np.where(limits.factor > 1, corrected, ""), misread, _whose(limits, told))
    if window.check in PRESSURES:
        why = _joined(why, derived.computed_from(window.check, window.pressure, at=told))
    cause = _joined(why, np.where((limits.factor < 1) & (verdict != IN_WINDOW), corrected, ""), said)
    return _Check(window.check, value, limits, verdict, cause, misread, said, required, window.pressure)


def _verdicts(value: np.ndarray, limits: Limits, computable: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return the verdicts, and where only what a correction takes off would help: that cannot be told here."""
    verdict = judge(value, limits.low, limits.high, computable=computable)
    low = limits.low * np.fmin(limits.factor, 1.0)
    allowed = (verdict == OUT_OF_WINDOW) & (judge(value, low, limits.high, computable=computable) == IN_WINDOW)
    verdict[allowed] = CANNOT_TELL
    return verdict, allowed


def _joined(*texts: np.ndarray) -> np.ndarray:
    """Join the texts of each row that say something."""
    said = texts[0].copy()
    for other in texts[1:]:
        here = other != ""
        both = here & (said != "") if here.any() else here
        said[both] = said[both] + "; " + other[both]
        said[here & ~both] = other[here & ~both]
    return said


def _whose(limits: Limits, told: np.ndarray) -> np.ndarray:
    said = np.full(len(told), "", dtype=object)
    said[told & (limits.status == "from memory")] = _CONFIRM
    said[told & (limits.status == "project")] = "limit of the project"
    return said


def _corrected(window: ProcedureWindow, derived: Derived, limits: Limits) -> np.ndarray:
    """Say of a corrected limit what was added to it, or may be taken off."""
    if window.correction is None:
        return np.full(len(limits.low), "", dtype=object)
    over = window.correction.over
    distinct, at = np.unique(np.stack([derived.values[stored_as(over)], limits.factor]), axis=1, return_inverse=True)
    name, unit = over.replace("_", " "), _shown_unit(over)
    words = [_percent(factor) and f"{_percent(factor)} for {name} {x:.1f} {unit}" for x, factor in distinct.T]
    return np.array(words, dtype=object)[at]


def _percent(factor: float) -> str:
    if np.isnan(factor) or factor == 1:
        return ""
    share = f"{100 * abs(factor - 1):.0f} %"
    return f"with {share} added" if factor > 1 else f"the procedure allows {share} off"


def _only_as_other(
    window: ProcedureWindow, limits: Limits, other: np.ndarray | None, *, out: np.ndarray, derived: Derived
) -> np.ndarray:
    if other is None:
        return np.full(len(out), "", dtype=object)
    fits = judge(other, limits.low, limits.high, computable=limits.known) == IN_WINDOW
    return derived.fits_as_other(window.check, at=out & fits)


def _misread(rows: pd.DataFrame, checks: list[_Check], judged: np.ndarray) -> Iterator[Finding]:
    """Say once for each file which of its pressures fit only as the other kind."""
    for check in checks:
        said = pd.Series(check.misread, index=rows.index)[judged & (check.misread != "")]
        for file, of in said.groupby(rows["source_file"], sort=True):
            how = f"{check.name.replace('_', ' ')} of {several(len(of), 'joint')}: {of.iloc[0]}"
            yield Finding(f"{file}: {how}.", of.index.to_numpy(), "pressure kind")


def _long(rows: pd.DataFrame, checks: list[_Check], judged: np.ndarray, *, procedure: Procedure) -> pd.DataFrame:
    """Return the checks of the first row, then those of the second, and so on."""

    def each(of: Callable[[_Check], Any]) -> np.ndarray:
        return np.stack([np.broadcast_to(of(c), len(rows)) for c in checks], axis=1).ravel()

    on = np.repeat(judged, len(checks))
    columns = {"row": np.repeat(rows.index.to_numpy(), len(checks)), "check": each(lambda c: np.array(c.name, object))}
    columns |= {"value": each(lambda c: c.value), "low": each(lambda c: c.limits.low)}
    columns |= {"high": each(lambda c: c.limits.high), "unit": each(lambda c: np.array(_shown_unit(c.name), object))}
    columns |= {"margin": np.where(on, each(lambda c: c.margin), np.nan), "required": each(lambda c: c.required)}
    columns |= {"verdict": np.where(on, each(lambda c: c.verdict), NO_WINDOW)}
    columns |= {"cause": np.where(on, each(lambda c: c.cause), "not butt fusion")}
    columns |= {"source": each(lambda c: c.limits.source), "status": each(lambda c: c.limits.status)}
    return pd.DataFrame(columns).assign(procedure=procedure.title)


def _by_joint(rows: pd.DataFrame, checks: list[_Check], *, judged: np.ndarray, doubts: np.ndarray) -> pd.DataFrame:
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
    for at in map(int, np.flatnonzero(doubts != "")):
        reasons[rows.index[at]].append(doubts[at])
    for i in rows.index[~judged]:
        reasons[i].append("not butt fusion: recorded, not judged")
    return pd.DataFrame(
        {
            "fusion_verdict": verdict,
            "recorded_n": (~np.isin(verdicts, [NOT_RECORDED, NO_WINDOW])).sum(axis=0),
            "procedure_n": (verdicts != NO_WINDOW).sum(axis=0),
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
    value, low, high = check.value[at], check.limits.low[at], check.limits.high[at]
    limit, word = (low, "below") if value < low else (high, "above")
    shown, bound, by = _told_apart(value, limit, decimals=3 if unit == "MPa" else 1)
    kind = f"{check.kind} " if check.name in PRESSURES else ""
    said = f"; {check.said[at]}" if check.said[at] else ""
    return f"{kind}{name} {shown} {unit}, {word} {bound} {unit} by {by} {unit}{said}"


def _told_apart(value: float, limit: float, *, decimals: int) -> tuple[str, str, str]:
    """Write value, limit and their difference with as many decimals as it takes to tell them apart."""
    while f"{value:.{decimals}f}" == f"{limit:.{decimals}f}" and decimals < 9:
        decimals += 1
    return f"{value:.{decimals}f}", f"{limit:.{decimals}f}", f"{abs(value - limit):.{decimals}f}"


def _shown_unit(check: str) -> str:
    return FIELDS[check].unit.replace("degC", "°C").replace("mm2", "mm²")
