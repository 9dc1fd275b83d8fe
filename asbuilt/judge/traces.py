"""What the curves show beside what the records state: times and pressures, and where the two do not agree.

No verdict changes here: contradicted.py does that. What may differ without a word is the writers' judgement, which
[trace] of the route file has.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from asbuilt.judge.derived import interfacial_pressure, pipe_area
from asbuilt.judge.finding import Finding
from asbuilt.judge.fittings import how_joined
from asbuilt.judge.phases import Phases, find_phases
from asbuilt.read.traces import Curve
from asbuilt.settings import TraceSource

_TIMES = {"soak": "trace_soak_time_s", "removal": "trace_removal_time_s", "ramp": "trace_ramp_time_s"}
_COOLING, _WARM = "trace_cooling_time_min", "trace_heater_temperature_c"
_PRESSURES = {"bead_pressure": "trace_bead_pressure_mpa", "fusion_pressure": "trace_fusion_pressure_mpa"}
_COLUMNS = (*_TIMES.values(), _COOLING, *_PRESSURES.values(), _WARM)
_WITHOUT = "without_pressure_s"
_SPANS = (*_TIMES, "without pressure", "cooling")
_EVERY = [*_COLUMNS, _WITHOUT, "trace_cause", *(f"{name}_open_s" for name in _SPANS)]
_WARM_WITHIN_C = 5.0  # between a plate's own thermometer and its surface (the writers' judgement)
_NAMED = 5  # joints that a statement names
_ALIKE = 3  # joints whose values differ by one factor: then it may be a unit
_FACTORS = {
    14.5038: "psi and bar",
    10.0: "bar and MPa",
    100.0: "kPa and bar",
    6.89476: "kPa and psi",
    60.0: "s and min",
}


@dataclass(frozen=True, eq=False)
class Traced:
    """`rows` has on the index of the rows trace_soak_time_s, trace_removal_time_s, trace_ramp_time_s,

    trace_cooling_time_min, trace_bead_pressure_mpa and trace_fusion_pressure_mpa (gauge, as in the curve),
    trace_heater_temperature_c and trace_cause: why there is no curve, or what cannot be told from it.
    `compared` are the quantities of the same rows as stated and as in the curve.
    """

    rows: pd.DataFrame
    findings: tuple[Finding, ...]
    compared: tuple["Compared", ...] = ()


@dataclass(frozen=True, eq=False)
class Compared:
    """One quantity as stated and as in the curve, and how far the two may lie apart, each of shape (rows,).

    `check` is the window that judges it; empty: none does.
    """

    name: str
    check: str
    unit: str
    stated: np.ndarray
    found: np.ndarray
    within: np.ndarray
    allowed: str
    decimals: int = 0

    @property
    def beyond(self) -> np.ndarray:
        """Where the two differ by more than they may."""
        return np.abs(self.found - self.stated) > self.within + 1e-9

    def words(self, at: int) -> tuple[str, str]:
        """Return the stated value of one row and that of its curve, as they are shown."""
        stated, found = (f"{v[at]:.{self.decimals}f} {self.unit}" for v in (self.stated, self.found))
        return stated, found


def judge_traces(
    rows: pd.DataFrame, curves: Mapping[str, Curve], *, source: TraceSource, values: Mapping[str, np.ndarray]
) -> Traced:
    """Find the phases of each row's curve, and compare them with what the row states.

    `rows` are of `read.records` (those kept), `curves` of `read.traces` by the text of the column `trace`, `values` of
    `derived.derive` for the same rows: size, drag and piston area bring a gauge pressure to the melt face where the
    record states it there.
    """
    names = _names(rows)
    known = {name: _phases(curves[name]) for name in names.unique() if name}
    table = pd.DataFrame([_row(known.get(n), curves.get(n)) for n in names], index=rows.index, columns=_EVERY)
    table["trace_cause"] = table["trace_cause"].where(rows["trace"].isna() | (names != ""), "not butt fusion")
    has = table[_PRESSURES["fusion_pressure"]].notna()
    every = [*_times(rows, table, source), *_at_pressure(rows, table, source, values), _plates(rows, table)]
    told = [*_unread(rows, table, (names != "") & ~has)]
    told += [finding for compared in every for finding in _disagreements(rows, compared, curves_n=has)]
    return Traced(table[[*_COLUMNS, "trace_cause"]], tuple(told), tuple(every))


def _names(rows: pd.DataFrame) -> pd.Series:
    return rows["trace"].astype(object).where(rows["trace"].notna() & (how_joined(rows) == "butt"), "")


def _phases(curve: Curve) -> Phases:
    return (
        Phases(cause=curve.cause) if curve.cause else find_phases(curve.time_s, curve.pressure_mpa, jumps=curve.jumps)
    )


def _row(phases: Phases | None, curve: Curve | None) -> dict[str, object]:
    if phases is None or curve is None:
        return {**dict.fromkeys(_COLUMNS, np.nan), "trace_cause": ""}
    spans = {name: span.seconds for name, span in phases.spans.items()}
    row: dict[str, object] = {column: spans.get(name, np.nan) for name, column in _TIMES.items()}
    row |= {_COOLING: spans.get("cooling", np.nan) / 60, _WITHOUT: spans.get("without pressure", np.nan)}
    row |= {f"{name}_open_s": span.open_s for name, span in phases.spans.items()}
    row |= dict(zip(_PRESSURES.values(), (phases.bead_pressure, phases.fusion_pressure), strict=True))
    return row | {_WARM: _heated(phases, curve), "trace_cause": phases.cause or "; ".join(phases.remarks)}


def _heated(phases: Phases, curve: Curve) -> float:
    """Return the median temperature while the plates were heated."""
    if not phases.spans or np.isnan(curve.temperature_c).all():
        return np.nan
    start, end = phases.heated
    part = (curve.time_s >= start) & (curve.time_s <= end) & ~np.isnan(curve.temperature_c)
    return float(np.median(curve.temperature_c[part])) if part.any() else np.nan


def _column(table: pd.DataFrame, name: str) -> np.ndarray:
    return table[name].to_numpy(float)


def _times(rows: pd.DataFrame, table: pd.DataFrame, source: TraceSource) -> Iterator[Compared]:
    within, minutes = source.time_within.total_seconds(), source.cooling_within.total_seconds() / 60
    for name, column in _TIMES.items():
        open_s = _column(table, f"{name}_open_s")
        words = {"soak": "soak time", "removal": "heater removal time", "ramp": "ramp time"}[name]
        stated = rows[column.removeprefix("trace_")].to_numpy(float)
        yield Compared(words, f"{name}_time", "s", stated, _column(table, column), within + open_s, f"{within:g} s")
    both = rows["soak_time_s"].to_numpy(float) + rows["removal_time_s"].to_numpy(float)
    whole = np.where(np.isnan(_column(table, _TIMES["soak"])), _column(table, _WITHOUT), np.nan)
    open_s = _column(table, "without pressure_open_s")
    yield Compared("soak and heater removal together", "", "s", both, whole, 2 * within + open_s, f"{2 * within:g} s")
    open_min = _column(table, "cooling_open_s") / 60
    stated, found = rows["cooling_time_min"].to_numpy(float), _column(table, _COOLING)
    yield Compared("cooling time", "cooling_time", "min", stated, found, minutes + open_min, f"{minutes:g} min", 1)


def _at_pressure(
    rows: pd.DataFrame, table: pd.DataFrame, source: TraceSource, values: Mapping[str, np.ndarray]
) -> Iterator[Compared]:
    """Gauge is compared with gauge; what is stated at the melt face, with the curve brought there."""
    area, drag, piston = pipe_area(values), values["drag_pressure_mpa"], values["piston_area_mm2"]
    for name, column in _PRESSURES.items():
        gauge, stated = _column(table, column), rows[f"{name}_mpa"].to_numpy(float)
        at_face = interfacial_pressure(gauge, drag, piston=piston, area=area)
        found = np.where(rows[f"{name}_kind"].to_numpy(object) == "interfacial", at_face, gauge)
        within = source.pressure_within * np.abs(stated)
        words = name.replace("_", " ")
        yield Compared(words, name, "MPa", stated, found, within, f"{source.pressure_within:.0%} of it", 3)


def _plates(rows: pd.DataFrame, table: pd.DataFrame) -> Compared:
    stated, found = rows["heater_temperature_c"].to_numpy(float), _column(table, _WARM)
    within = np.full(len(rows), _WARM_WITHIN_C)
    return Compared(
        "heater temperature", "heater_temperature", "°C", stated, found, within, f"{_WARM_WITHIN_C:g} °C", 1
    )


def _disagreements(rows: pd.DataFrame, compared: Compared, *, curves_n: pd.Series) -> Iterator[Finding]:
    for file, at in sorted(rows[compared.beyond].groupby("source_file").indices.items()):
        own = np.flatnonzero(compared.beyond)[at]
        n = int((curves_n.to_numpy() & (rows["source_file"] == file).to_numpy()).sum())
        named = "; ".join(_pair(rows, compared, i) for i in own[:_NAMED])
        more = f"; and {len(own) - _NAMED} more" if len(own) > _NAMED else ""
        statement = (
            f"{file}: the {compared.name} of {len(own)} of {n} joints with a curve is not that of the curve, beyond its"
            f" sampling and {compared.allowed}: {named}{more}.{_unit(compared, own)}"
        )
        yield Finding(statement, rows.index[own].to_numpy(), "trace")


def _pair(rows: pd.DataFrame, compared: Compared, at: int) -> str:
    stated, found = compared.words(at)
    return f"{rows['joint'].iloc[at]} stated {stated}, curve {found}"


def _unit(compared: Compared, own: np.ndarray) -> str:
    """Say where all differ by one factor that lies between two units."""
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = compared.found[own] / compared.stated[own]
    if len(own) < _ALIKE or not (np.isfinite(ratio) & (ratio > 0)).all() or np.ptp(np.log(ratio)) > 0.1:
        return ""
    factor = float(np.exp(abs(np.median(np.log(ratio)))))
    units = next((words for number, words in _FACTORS.items() if abs(factor / number - 1) < 0.03), "")
    return f" All differ by a factor of about {factor:.3g}: are {units} mixed up?" if units else ""


def _unread(rows: pd.DataFrame, table: pd.DataFrame, unread: pd.Series) -> Iterator[Finding]:
    for file, own in rows[unread].groupby("source_file", sort=True):
        causes = table.loc[own.index, "trace_cause"]
        named = "; ".join(f"{joint}: {why}" for joint, why in zip(own["joint"][:_NAMED], causes, strict=False))
        more = f"; and {len(own) - _NAMED} more" if len(own) > _NAMED else ""
        what = "curve that a record names shows" if len(own) == 1 else "curves that records name show"
        yield Finding(f"{file}: {len(own)} {what} no fusion: {named}{more}.", own.index.to_numpy(), "trace")
