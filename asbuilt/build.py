"""The whole journey, in reading order: read, tell apart, place, judge, tabulate; then hand over."""

from collections.abc import Callable
from dataclasses import replace
from datetime import date
from pathlib import Path
from zoneinfo import ZoneInfo

from asbuilt import procedures
from asbuilt.as_built import AsBuilt, Title
from asbuilt.errors import Problem, SettingsError
from asbuilt.judge.bending import bends
from asbuilt.judge.decisions import decide
from asbuilt.judge.findings import findings, shared_offsets
from asbuilt.judge.found_again import found_again
from asbuilt.judge.groups import unrecorded_by_source
from asbuilt.judge.lineage import lineage
from asbuilt.judge.of_record import beside_the_procedure, judge_record
from asbuilt.judge.places import Window, judge_places
from asbuilt.judge.said import said_of_groups
from asbuilt.judge.windows import unknown_requirements
from asbuilt.outcome import JOINT
from asbuilt.place.route import placed
from asbuilt.procedures import Procedure
from asbuilt.publish import (
    checksums,
    exports,
    geopackage,
    gpx,
    joint_log,
    log_csv,
    readme,
    report,
    sheets,
    webmap,
)
from asbuilt.read.alignments import Designs, read_alignments
from asbuilt.read.beside import read_sides
from asbuilt.read.photos import read_photos
from asbuilt.read.positions import Target
from asbuilt.read.records import read
from asbuilt.read.traces import read_traces
from asbuilt.read.unread import unread
from asbuilt.receivers import reach_wgs84
from asbuilt.settings import Settings
from asbuilt.tabulate.counts import count
from asbuilt.tabulate.info import info_table, input_files
from asbuilt.tabulate.joints import checks_table, findings_table, joints_table, records_table
from asbuilt.tabulate.journey import Journey
from asbuilt.tabulate.lines import alignment_table, gaps_table, marks_table, pipes_table, vertices_table
from asbuilt.tabulate.moments import as_of, beyond
from asbuilt.tabulate.positions import positions_table
from asbuilt.tabulate.reaches import sections_table, strings_table
from asbuilt.tabulate.runs import runs_table
from asbuilt.tabulate.schedule import schedule_of
from asbuilt.tabulate.standing import accuracy_table, completeness_table
from asbuilt.tabulate.ties import ties_table

Step = Callable[[str], None]


def build(settings: Settings, *, as_of_date: date | None = None, step: Step = lambda _: None) -> AsBuilt:
    """Return the line as installed. `step` is told what is being done. Raises AsBuiltError for wrong input."""
    procedure = _procedure(settings)
    step("reading the alignment")
    designs = read_alignments(settings)
    target = Target(designs.frame, designs.area)
    readings = read(settings, target, step=lambda file: step(f"reading {file}"))
    sides = read_sides(settings, target, designs)
    step("placing joints")
    zone = settings.route.timezone or ZoneInfo("UTC")
    lines = lineage(readings.rows, zone)
    recorded = readings.rows.join(lines.rows)
    rows, placement, unclear = placed(recorded, designs, sides, settings=settings)
    again = found_again(recorded, rows, designs, sides, settings=settings)
    step("judging windows and places")
    curves = read_traces(rows["trace"], settings)
    judged = judge_record(rows, sides, curves, procedure=procedure, settings=settings, recorded=readings.recorded)
    in_line = (rows["outcome"] == JOINT).to_numpy()
    window = Window(settings.window.position.offset, settings.pipe.stick, settings.route.length_unit)
    places, laid = judge_places(rows, window, in_line=in_line), bends(rows, judged.derived, designs, settings)
    shared = (*findings(rows, laid, designs, settings=settings, zone=zone, window=window), *again.findings)
    places = shared_offsets(places, shared, rows, settings=settings, window=window)
    rows = rows.join(judged.traced).assign(position_verdict=places.joints["position_verdict"])
    found = (*judged.findings, *shared)
    step("finding gaps and making tables")
    reasons = again.reasons + places.joints["reasons"] + laid.joints["reasons"]
    journey = Journey(designs, readings, rows, judged, reasons, zone, placement, sides, found, curves)
    moment = as_of(as_of_date or settings.route.as_of, rows.loc[in_line, "fused_at"], zone)
    title = _title(settings, designs, procedure, moment)
    late = beyond(moment, rows["fused_at"]) & in_line
    said = [_later(int(late.sum()))] if late.any() else []
    said += [*unclear, *again.statements, *again.later_than(moment), *laid.statements]
    groups = unrecorded_by_source(rows[in_line], judged.checks)
    of_groups = said_of_groups(rows, placement, found, settings)
    every = (*lines.statements, *places.statements, *of_groups, *groups, *judged.statements, *said)
    return _tabulated(journey, title=title, procedure=procedure, settings=settings, said=every)


def _later(many: int) -> str:
    who = f"{many} joints carry" if many > 1 else "1 joint carries"
    return f"{who} a time later than the as-of time, which leaves none out: check the clock, and as_of."


def _procedure(settings: Settings) -> Procedure:
    procedure = procedures.load(settings.window.procedure, settings.folder)
    unknown = sorted(set(unknown_requirements(procedure, settings)) - beside_the_procedure(settings))
    if unknown:
        known = ", ".join(w.check for w in procedure.window)
        do = f"{procedure.name} has {known}; or give it a window in [window.limits]"
        raise SettingsError([Problem("route.toml: window.required", f"{name!r} has no window", do) for name in unknown])
    return procedure


def _title(settings: Settings, designs: Designs, procedure: Procedure, moment: object) -> Title:
    route = settings.route
    unit = "m" if route.units == "metric" else f"{route.foot} ft"
    length = f"{route.station_length_m / route.metres_per_unit:g} {unit}"
    kinds = sorted({design.source.length for design in designs.lines})
    words = {name: getattr(route, name) for name in ("name", "revision", "owner", "contractor", "contract")}
    return Title(
        **words,
        as_of=moment,  # type: ignore[arg-type]
        crs=designs.frame.label,
        base_crs=designs.frame.base.label,
        length_unit=route.length_unit,
        station_length=length,
        length_kind=", ".join(kinds),
        procedure=procedure.title,
    )


def _tabulated(
    journey: Journey, *, title: Title, procedure: Procedure, settings: Settings, said: tuple[str, ...]
) -> AsBuilt:
    joints = joints_table(journey)
    album = read_photos(joints, settings)
    journey = replace(journey, photos=album.files)
    undecided = {"joints": joints, "gaps": gaps_table(journey, settings), "records": records_table(journey)}
    undecided |= {"findings": findings_table(journey), "window_checks": checks_table(journey, joints)}
    decided = decide(undecided, journey.sides.decisions, title.as_of)
    done = {**undecided, **decided.frames}
    counts, said = count(journey, done), (*said, *decided.statements)
    designs, around, tiles = journey.designs, journey.sides.around, settings.map.background
    shift, way = reach_wgs84([d.line.xy for d in designs.lines], of=designs.frame, moment=title.as_of)
    title = replace(title, wgs84=way)
    notes = (*designs.notes, *journey.readings.notes, *journey.sides.notes, *decided.notes, *album.notes)
    notes = (*notes, *unread(settings.folder, input_files(settings, journey)))
    ties, of_ties = ties_table(joints, journey, settings)
    notes = (*notes, *of_ties, *([] if shift else [way]), *([tiles.say()] if tiles else []))
    frames = {
        **done,
        "positions": positions_table(journey),
        "pipes": pipes_table(journey, done["joints"], done["gaps"]),
        "strings": strings_table(journey, settings),
        "test_sections": sections_table(journey),
        "chainage_marks": marks_table(designs, settings),
        "alignment": alignment_table(designs),
        "alignment_vertices": vertices_table(designs),
        "ties": ties,
        "runs": runs_table(journey, settings),
    }
    frames["completeness"] = completeness_table(journey, frames, settings)
    frames["accuracy"] = accuracy_table(journey)
    how = {"title": title, "counts": counts, "procedure": procedure, "settings": settings, "said": (*said, *notes)}
    frames["build_info"] = info_table(journey, **how)  # type: ignore[arg-type]
    stationing = {design.name: design.stationing for design in designs.lines}
    made = AsBuilt(title, designs.frame.crs.to_wkt(), frames, counts, said, notes, around.layers, tiles, shift)
    form, of_decisions = settings.report.form(settings.route.units), (*decided.statements, *decided.notes)
    made = replace(made, exports=settings.export.exports(settings.folder), stationing=stationing)
    made = replace(made, schedule=schedule_of(journey, settings))
    return replace(made, photos=album.photos, form=form, of_decisions=of_decisions)


def publish(as_built: AsBuilt, folder: Path, *, step: Step = lambda _: None) -> None:
    """Write the whole hand-over into an empty folder."""
    for name, write in (
        (webmap.NAME, webmap.write_map),
        (geopackage.NAME, geopackage.write_geopackage),
        (joint_log.WORKBOOK_NAME, joint_log.write_workbook),
        (joint_log.CSV_NAME, log_csv.write_csv),
        (log_csv.METADATA_NAME, log_csv.write_metadata),
        *([(gpx.NAME, gpx.write_gpx)] if as_built.wgs84 else []),
        (report.NAME, report.write_report),
        *([] if as_built.is_coarse else [(sheets.NAME, sheets.write_sheets)]),
        *([(exports.NAME, exports.write_exports)] if as_built.exports.any else []),
        (readme.NAME, readme.write_readme),
    ):
        step(f"writing {name}")
        write(as_built, folder / name)
    checksums.write_checksums(folder)
