"""All that is judged of a joint's record: windows, people and machines, what the eye saw, curves, electrofusion."""

from collections.abc import Mapping
from dataclasses import dataclass
from zoneinfo import ZoneInfo

import pandas as pd

from asbuilt.judge.added import Added, with_added
from asbuilt.judge.contradicted import judge_contradictions
from asbuilt.judge.derived import Derived, derive
from asbuilt.judge.electrofusion import CHECKS, judge_electrofusion, with_electrofusion
from asbuilt.judge.eye import judge_eye
from asbuilt.judge.finding import Finding
from asbuilt.judge.fittings import said_of_unknown
from asbuilt.judge.integrity import integrity_findings
from asbuilt.judge.machines import days_without_trial, piston_areas
from asbuilt.judge.people import judge_machines, judge_operators
from asbuilt.judge.traces import judge_traces
from asbuilt.judge.windows import judge_windows
from asbuilt.outcome import KEPT, TRIAL
from asbuilt.procedures import Procedure
from asbuilt.read.beside import Sides
from asbuilt.read.traces import Curve
from asbuilt.settings import Settings, matching


@dataclass(frozen=True)
class OfRecord:
    """`checks` and `joints` as of `judge_windows`, with all other checks joined; values derived from the records;

    `traced` what was read from curves, on the index of the rows; `findings` and `statements` are of groups.
    """

    checks: pd.DataFrame
    joints: pd.DataFrame
    derived: Derived
    traced: pd.DataFrame
    findings: tuple[Finding, ...]
    statements: tuple[str, ...]


def judge_record(
    rows: pd.DataFrame,
    sides: Sides,
    curves: Mapping[str, Curve],
    *,
    procedure: Procedure,
    settings: Settings,
    recorded: frozenset[str],
) -> OfRecord:
    """Judge the record of every row (of `read.records`, with outcome).

    `curves` are by the name that records give them, `recorded` are the fields that have a column in any source.

    The piston area of the list of machines serves where a record has none; the record itself is not changed.
    """
    zone = settings.route.timezone or ZoneInfo("UTC")
    areas = piston_areas(rows, machines=sides.machines, zone=zone)
    derived = derive(rows.assign(piston_area_mm2=areas.values), settings)
    judged = judge_windows(rows, derived, procedure=procedure, settings=settings, recorded=recorded)
    own = judge_electrofusion(rows, recorded=recorded, required=frozenset(settings.window.required or ()))
    checks, joints = with_electrofusion(judged.checks, judged.joints, own)
    kept = rows[rows["outcome"].isin(KEPT)]
    values = {name: pd.Series(v, index=rows.index).loc[kept.index].to_numpy() for name, v in derived.values.items()}
    traced = judge_traces(kept, curves, source=settings.trace, values=values)
    added = _added(rows, derived, sides, settings=settings, recorded=recorded)
    added.append(judge_contradictions(kept, traced, judged.checks))
    extra = pd.concat([a.checks for a in added if len(a.checks)] or [added[0].checks])
    if len(extra):
        checks = pd.concat([checks, extra.reindex(columns=checks.columns)])
        checks = checks.sort_values("row", kind="stable", ignore_index=True)
        joints = with_added(joints, extra)
    findings = (
        *judged.findings,
        *own.findings,
        *areas.findings,
        *(finding for a in added for finding in a.findings),
        *traced.findings,
        *integrity_findings(kept, curves),
    )
    said = (*said_of_unknown(kept), *own.statements, *areas.statements, *_of_lists(added), *_trials(rows, zone))
    return OfRecord(checks, joints, derived, traced.rows.reindex(rows.index), findings, said)


def beside_the_procedure(settings: Settings) -> frozenset[str]:
    """Return the checks that may be required besides the windows of the procedure, as far as they can be judged."""
    lists = {"operator": settings.people, "machine": settings.machines}
    given = {name for name, source in lists.items() if any(matching(settings.folder, f) for f in source.files)}
    return frozenset({*given, *CHECKS} | ({"visual"} if settings.window.visual else set()))


def _added(
    rows: pd.DataFrame, derived: Derived, sides: Sides, *, settings: Settings, recorded: frozenset[str]
) -> list[Added]:
    size, zone = derived.values["outside_diameter_mm"], settings.route.timezone or ZoneInfo("UTC")
    return [
        judge_operators(rows, size, people=sides.people, settings=settings, zone=zone),
        judge_machines(rows, machines=sides.machines, settings=settings, zone=zone),
        judge_eye(rows, settings=settings, recorded=recorded),
    ]


def _of_lists(added: list[Added]) -> tuple[str, ...]:
    """Return what is said of lists; where there is none of either kind that is one sentence."""
    said = tuple(s for a in added for s in a.statements)
    none = [s for s in said if s.startswith("There is no ")]
    if len(none) < 2:
        return said
    both = "There is no people.csv and no machines.csv: who was qualified and what was in calibration was not judged."
    return (both, *(s for s in said if s not in none))


def _trials(rows: pd.DataFrame, zone: ZoneInfo) -> tuple[str, ...]:
    """Say on which days no trial joint was made, where trial joints are made at all: whether one is due nobody told."""
    if not (rows["outcome"] == TRIAL).any():
        return ()
    return tuple(finding.statement for finding in days_without_trial(rows, zone))
