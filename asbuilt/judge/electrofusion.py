"""Electrofusion joints against the nominal values that their own records state; other joints are recorded, not judged.

No procedure is applied: what a fitting asks for stands on the fitting, and the record repeats it. How far the actual
value may lie from the nominal one is the writers' judgement, and every check says so. What only a fitting code can tell
is required only of a record that has one: many sound records have times and words, and no code.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import pandas as pd

from asbuilt.fields import stored_as
from asbuilt.judge.finding import Finding
from asbuilt.judge.fittings import (
    BROKEN,
    CODE,
    ENDED,
    MOST_V,
    SECONDS,
    code_volts,
    digits,
    how_joined,
    not_judged,
    of_code,
    said_of_others,
    texts,
)
from asbuilt.look import CANNOT_TELL, IN_WINDOW, NOT_RECORDED, OUT_OF_WINDOW, WORST_FIRST
from asbuilt.window import judge

CHECKS = ("actual_time", "voltage", "end_state", "cooling_time", "fitting_code")
_BY_CODE = ("voltage", "fitting_code")  # what cannot be judged without a fitting code

PROCEDURE = "electrofusion, by the record's own nominal values"
OURS, SECOND_HAND = "the writers' judgement", "second-hand"
_TIME_SHARE, _TIME_S = 0.05, 1.0  # of the nominal time, and at least: times are written in whole seconds
_VOLT_SHARE, _VOLT = 0.05, 1.0  # the same of the nominal voltage: the code holds whole volts
_TRACE_CODE = 26  # digits of a traceability code (from memory)


@dataclass(frozen=True, eq=False)
class Electrofused:
    """`checks` has the columns of `windows.Judged.checks`; `joints` those of `windows.Judged.joints`, on the index of

    the rows that are not butt fusion: electrofused ones, and those that are recorded and not judged. `findings` are
    what the fitting codes contradict, `statements` what is said once of all.
    """

    checks: pd.DataFrame
    joints: pd.DataFrame
    findings: tuple[Finding, ...] = ()
    statements: tuple[str, ...] = ()


@dataclass(frozen=True, eq=False)
class _Check:
    """One check of all electrofused rows."""

    name: str
    unit: str
    value: np.ndarray
    verdict: np.ndarray
    source: str
    status: str
    low: np.ndarray
    high: np.ndarray
    cause: np.ndarray


def judge_electrofusion(
    rows: pd.DataFrame, *, recorded: frozenset[str], required: frozenset[str] | None = None
) -> Electrofused:
    """Judge every electrofused row by its own nominal values.

    `recorded` are the fields with a column in any source, required of each such joint unless `required` (that of the
    route file) names some of CHECKS itself. The voltage and the fitting code are required only where the record has a
    fitting code, unless the route file names them: a code that is missing is a check `not recorded`, one that is there
    and cannot be read leaves the joint `cannot tell`.
    """
    how = how_joined(rows)
    own = rows[how == "electrofusion"]
    asked = frozenset(CHECKS) & (required or frozenset())
    needed = asked or recorded
    every = [_time(own), _voltage(own), _end_state(own), _cooling(own), _fitting_code(own)]
    checks = [c for c in every if c.name in needed or (c.verdict != NOT_RECORDED).any()]
    of_each = _required(own, checks, needed, asked=asked)
    joints = pd.concat([_by_joint(own, checks, of_each), not_judged(how)]).reindex(rows.index[how != "butt"])
    return Electrofused(_long(own, checks, of_each), joints, tuple(_codes(own)), tuple(said_of_others(how)))


def _required(own: pd.DataFrame, checks: list[_Check], needed: frozenset[str], *, asked: frozenset[str]) -> np.ndarray:
    """Return whether each check is required of each row, shape (checks, rows)."""
    has_code = (digits(own) != "").to_numpy(bool)
    free = [name in asked or name not in _BY_CODE for name in (c.name for c in checks)]
    named = np.array([c.name in needed for c in checks], dtype=bool)
    return named[:, None] & (np.array(free, dtype=bool)[:, None] | has_code)


def with_electrofusion(
    checks: pd.DataFrame, joints: pd.DataFrame, own: Electrofused
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Return the checks and joints of `windows.Judged` with those of electrofusion in the place of `no window`."""
    judged = own.checks["row"].unique()
    parts = [checks[~checks["row"].isin(judged)], own.checks.reindex(columns=checks.columns)]
    every = pd.concat([p for p in parts if len(p)] or parts[:1])
    joints = joints.copy()
    joints.loc[own.joints.index, own.joints.columns] = own.joints
    return every.sort_values("row", kind="stable", ignore_index=True), joints


def _causes(size: int, *told: tuple[np.ndarray, object]) -> np.ndarray:
    out = np.full(size, "", dtype=object)
    for where, what in told:
        out[where] = what[where] if isinstance(what, np.ndarray) else what
    return out


def _about(nominal: np.ndarray, share: float, least: float) -> tuple[np.ndarray, np.ndarray]:
    allowed = np.maximum(share * nominal, least)
    return nominal - allowed, nominal + allowed


def _time(own: pd.DataFrame) -> _Check:
    value, stated = own["actual_time_s"].to_numpy(float), own["nominal_time_s"].to_numpy(float)
    low, high = _about(stated, _TIME_SHARE, _TIME_S)
    known = ~np.isnan(stated)
    verdict = judge(value, low, high, computable=known)
    cause = _causes(len(own), (~known, "the nominal fusion time was not recorded"))
    source = f"the record's own nominal fusion time, ±{_TIME_SHARE:.0%} and at least ±{_TIME_S:g} s"
    return _Check("actual_time", "s", value, verdict, source, OURS, low, high, cause)


def _voltage(own: pd.DataFrame) -> _Check:
    value, nominal = own["voltage_v"].to_numpy(float), code_volts(own)
    low, high = _about(nominal, _VOLT_SHARE, _VOLT)
    known = ~np.isnan(nominal)
    # without a code only too much can be told: that a voltage is low enough for a unit says nothing of the fitting
    high = np.where(known, high, MOST_V)
    verdict = judge(value, low, high, computable=known | (value > MOST_V))
    cause = _causes(len(own), (~known, f"no nominal voltage is known: no fitting code of {CODE} digits"))
    source = (
        f"places 12-13 of the fitting code (ISO 13950, second-hand), ±{_VOLT_SHARE:.0%} and at least ±{_VOLT:g} V; a"
        f" control unit gives at most {MOST_V:g} V (second-hand)"
    )
    return _Check("voltage", "V", value, verdict, source, OURS, low, high, cause)


def _cooling(own: pd.DataFrame) -> _Check:
    value, low = own["cooling_time_min"].to_numpy(float), own["nominal_cooling_min"].to_numpy(float)
    known, high = ~np.isnan(low), np.full(len(own), np.nan)
    verdict = judge(value, low, high, computable=known)
    cause = _causes(len(own), (~known, "the cooling time that the fitting asks for was not recorded"))
    source = "the record's own nominal cooling time"
    return _Check("cooling_time", "min", value, verdict, source, OURS, low, high, cause)


def _end_state(own: pd.DataFrame) -> _Check:
    words = texts(own["end_state"]).str.casefold()
    ended, broken = words.str.fullmatch(ENDED).to_numpy(bool), words.str.fullmatch(BROKEN).to_numpy(bool)
    verdict = np.full(len(own), CANNOT_TELL, dtype=object)
    verdict[ended], verdict[broken & ~ended], verdict[(words == "").to_numpy()] = IN_WINDOW, OUT_OF_WINDOW, NOT_RECORDED
    quoted = np.array([f"end state {word!r}" for word in texts(own["end_state"])], dtype=object)
    unknown = (verdict == CANNOT_TELL, quoted + ", a word or code that is not known")
    cause = _causes(len(own), (verdict != NOT_RECORDED, quoted), unknown)
    empty = np.full(len(own), np.nan)
    source = "words of control units (common practice, no source)"
    return _Check("end_state", "", empty, verdict, source, OURS, empty, empty, cause)


def _fitting_code(own: pd.DataFrame) -> _Check:
    """A code of another length may be another code, or badly copied: that says nothing of the joint."""
    found = digits(own)
    length = found.str.len().to_numpy(float)
    plain, there = found.str.fullmatch(r"\d+").to_numpy(bool), length > 0
    verdict = np.where(there, np.where(plain & (length == CODE), IN_WINDOW, CANNOT_TELL), NOT_RECORDED).astype(object)
    other = np.array([f"{n:.0f} digits, a fusion code has {CODE}" for n in length], dtype=object)
    cause = _causes(
        len(own),
        (plain & (length != CODE), other),
        (plain & (length == _TRACE_CODE), f"{_TRACE_CODE} digits: as a traceability code has them (from memory)"),
        (there & ~plain, "not digits only"),
    )
    empty = np.full(len(own), np.nan)
    source, value = f"ISO 13950: {CODE} digits (second-hand)", np.where(there, length, np.nan)
    return _Check("fitting_code", "digits", value, verdict, source, SECOND_HAND, empty, empty, cause)


def _long(own: pd.DataFrame, checks: list[_Check], required: np.ndarray) -> pd.DataFrame:
    parts = [
        pd.DataFrame(
            {"row": own.index, "check": c.name, "value": c.value, "low": c.low, "high": c.high, "unit": c.unit}
            | {"required": need, "verdict": c.verdict, "cause": c.cause}
            | {"margin": np.where(c.verdict == CANNOT_TELL, np.nan, np.fmin(c.value - c.low, c.high - c.value))}
            | {"source": c.source, "status": c.status, "procedure": PROCEDURE}
        )
        for c, need in zip(checks, required, strict=True)
    ]
    names = ("row", "check", "value", "low", "high", "unit", "required", "verdict", "cause", "margin", "source")
    if not parts or own.empty:
        return pd.DataFrame(columns=[*names, "status", "procedure"])
    return pd.concat(parts, ignore_index=True)


def _by_joint(own: pd.DataFrame, checks: list[_Check], required: np.ndarray) -> pd.DataFrame:
    verdicts = np.stack([c.verdict for c in checks]) if checks else np.empty((0, len(own)), dtype=object)
    counted = np.where(required | (verdicts == OUT_OF_WINDOW), verdicts, "")
    verdict = np.full(len(own), NOT_RECORDED, dtype=object)  # a joint with no check at all
    for word in reversed(WORST_FIRST):
        verdict[(counted == word).any(axis=0)] = word
    reasons = [tuple(_reasons(checks, required, at)) for at in range(len(own))]
    return pd.DataFrame(
        {
            "fusion_verdict": verdict,
            "recorded_n": (verdicts != NOT_RECORDED).sum(axis=0),
            "procedure_n": len(CHECKS),
            "reasons": pd.Series(reasons, index=own.index, dtype=object),
        },
        index=own.index,
    )


def _reasons(checks: list[_Check], required: np.ndarray, at: int) -> Iterator[str]:
    for check, need in zip(checks, required[:, at], strict=True):
        name = check.name.replace("_", " ")
        verdict, cause = check.verdict[at], check.cause[at]
        if verdict == OUT_OF_WINDOW:
            yield _out(check, at, name)
        elif verdict == NOT_RECORDED and need:
            yield f"{name} was not recorded"
        elif verdict == CANNOT_TELL and need:
            yield f"{name} cannot be judged: {cause}"


def _out(check: _Check, at: int, name: str) -> str:
    value, low, high = check.value[at], check.low[at], check.high[at]
    if np.isnan(value):
        return f"{check.cause[at]}: the fusion did not run to its end"
    if check.name == "actual_time":
        return _out_of_time(value, (low + high) / 2)
    limit, word = (low, "below") if value < low else (high, "above")
    by = abs(value - limit)
    return f"{name} {value:.1f} {check.unit}, {word} {limit:.1f} {check.unit} by {by:.1f} {check.unit}; {check.source}"


def _out_of_time(value: float, nominal: float) -> str:
    allowed = f"±{100 * _TIME_SHARE:g} %" if _TIME_SHARE * nominal >= _TIME_S else f"±{_TIME_S:g} s"
    off = f"{abs(value - nominal):.6g} s {'short' if value < nominal else 'too long'}"
    said = f"fusion time {value:.6g} s of a nominal {nominal:.6g} s: {off}"
    return f"{said} ({allowed} allowed, this tool's own tolerance)"


def _codes(own: pd.DataFrame) -> Iterator[Finding]:
    """Yield, for each file, the joints whose fitting code asks for another time than their nominal one."""
    asked, stated = of_code(own, SECONDS), own[stored_as("nominal_time")].to_numpy(float)
    apart = np.abs(asked - stated) > np.maximum(_TIME_SHARE * stated, _TIME_S)
    for file, odd in own.assign(asked=asked)[apart & (asked > 0)].groupby("source_file", sort=True):
        first = odd.iloc[0]
        yield Finding(
            f"{file}: of {len(odd)} electrofused joints the fitting code asks for another fusion time than the nominal"
            f" one, such as {first['joint']}: {first['asked']:.0f} s in places 19-21 of the code (ISO 13950,"
            f" second-hand), {first['nominal_time_s']:.0f} s stated. Another fitting, a time set by hand, or one that"
            " was corrected for the ambient?",
            odd.index.to_numpy(),
            "fitting code",
        )
