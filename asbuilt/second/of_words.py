"""Checks of what is said to people: counts, what is outstanding, revision and frame, in every file alike.

The sentences are made anew from the tables, by the same room that made them, and looked for in each file.
"""

from collections.abc import Iterator, Mapping

import pandas as pd

from asbuilt import tables
from asbuilt.as_built import AsBuilt, Counts
from asbuilt.crs import frame
from asbuilt.judge.completeness import uncovered_m
from asbuilt.look import IN_ORDER, NO_WINDOW, WORST_FIRST
from asbuilt.outcome import DUPLICATE, SET_ASIDE, SUPERSEDED, TRIAL
from asbuilt.outstanding import counted
from asbuilt.publish import gpx, joint_log, readme, report, sheets, webmap
from asbuilt.quantities import LengthUnit
from asbuilt.second.check import Seen
from asbuilt.second.handed_over import HandedOver
from asbuilt.second.papers import bare, section
from asbuilt.sentence import decisions, outstanding, several, summary


def counts_of(out: HandedOver) -> Counts:
    """Return the counts, made anew from the tables of the GeoPackage."""
    joints, gaps, lines = (out.table(name) for name in ("joints", "gaps", "alignment"))
    fates = out.table("records")["outcome"].value_counts()
    line = joints[joints["in_line"].fillna(False).astype(bool)]
    real = gaps[gaps["kind"] != "not yet recorded"]
    still_open, closed = counted({name: out.table(name) for name in ("joints", "gaps", "records", "findings")})
    ends = lines[["line", "start_chainage_m", "end_chainage_m"]].itertuples(index=False)
    length = float((lines["end_chainage_m"] - lines["start_chainage_m"]).sum())
    bare_m = sum(uncovered_m(gaps[gaps["line"] == name], low, high) for name, low, high in ends)
    many = {"duplicates": DUPLICATE, "superseded": SUPERSEDED, "trials": TRIAL, "set_aside": SET_ASIDE}
    return Counts(
        **{name: int(fates.get(word, 0)) for name, word in many.items()},
        rows=len(out.table("records")),
        joints=len(line),
        unplaced=int((line["placed_by"] == "unplaced").sum()),
        fusion=_by_verdict(line["fusion_verdict"]),
        position=_by_verdict(line["position_verdict"]),
        gaps=len(real),
        missing_records=int(real["missing_records"].sum()),
        outstanding=still_open,
        closed=closed,
        length_m=length,
        covered_m=length - bare_m if line["chainage_m"].notna().any() else 0.0,
    )


def _by_verdict(verdicts: pd.Series) -> dict[str, int]:
    counts = verdicts.value_counts()
    return {word: int(counts.get(word, 0)) for word in WORST_FIRST}


def _as_built(out: HandedOver) -> AsBuilt:
    """Return as much of the record as its sentences are made from."""
    frames = {
        table.name: out.table(table.name)
        for table in (tables.JOINTS, tables.GAPS, tables.RECORDS, tables.FINDINGS, tables.DECISIONS)
    }
    return AsBuilt(out.title, "", frames, counts_of(out), (), ())


def counts_add_up(out: HandedOver) -> Seen:
    """Look whether the counts in build_info are those of the tables, and rows are joints and all the rest."""
    counts, told = counts_of(out), out.info("count")
    faults = [
        f"build_info says {name} {told.get(name, 'nothing')}, the tables {value}"
        for name, value in _flat(counts)
        if not _same(told.get(name, ""), value)
    ]
    parts = counts.joints + counts.duplicates + counts.superseded + counts.trials + counts.set_aside
    if parts != counts.rows:
        faults.append(
            f"{several(counts.rows, 'source row')}, and {parts:,} joints, duplicates, superseded, trials and set aside"
        )
    return Seen(
        f"{several(counts.rows, 'source row')}, {several(counts.joints, 'joint')}, {several(counts.gaps, 'gap')}",
        tuple(faults),
    )


def _flat(counts: Counts) -> Iterator[tuple[str, float]]:
    for name in Counts.__dataclass_fields__:
        value = getattr(counts, name)
        if isinstance(value, Mapping):
            yield from ((f"{name}: {word}", many) for word, many in value.items())
        else:
            yield name, value


def _same(told: str, value: float) -> bool:
    try:
        return abs(float(told) - value) <= (0.0011 if isinstance(value, float) else 0)
    except ValueError:
        return False


def counts_are_said_alike(out: HandedOver) -> Seen:
    """Look for the counts, as sentences made anew from the tables, in README.txt, map, workbook and report."""
    of = _as_built(out)
    sentences, files = dict.fromkeys((readme.NAME, webmap.NAME, joint_log.WORKBOOK_NAME), summary(of)), _said(out)
    if report.NAME in out.names:
        sentences[report.NAME] = _of_first_page(of.counts, of.title.length_unit)
    faults = [
        f"{name} does not say: {text}"
        for name in sentences
        for text in sentences[name]
        if bare(text) not in files[name]
    ]
    return Seen(f"{sum(map(len, sentences.values()))} sentences in {', '.join(sentences)}", tuple(faults))


def _of_first_page(counts: Counts, unit: LengthUnit) -> list[str]:
    """Return what the first page of the report has to say; rows of its tables as their cells stand."""
    length, covered = (f"{x / unit.metres:,.1f} {unit.name}" for x in (counts.length_m, counts.covered_m))
    gaps = f"{several(counts.gaps, 'gap')} with {several(counts.missing_records, 'missing record')}"
    verdicts = [f"{word} {counts.fusion[word]:,} {counts.position[word]:,}" for word in IN_ORDER if word != NO_WINDOW]
    return [
        f"{several(counts.joints, 'joint')} recorded; {covered} of {length} lie between recorded joints.",
        *([gaps] if counts.gaps and counts.joints else []),
        f"together {counts.outstanding + counts.closed:,} {counts.closed:,} {counts.outstanding:,}",
        *verdicts,
        f"source rows {counts.rows:,}",
    ]


def _said(out: HandedOver) -> dict[str, str]:
    """Return all that each file says to people, without white space."""
    about = out.workbook.get("About", pd.DataFrame())
    cells = "".join(str(cell) for cell in [*about.columns, *about.to_numpy(object).ravel()])
    said = {readme.NAME: bare(out.text), webmap.NAME: bare(out.page.said), joint_log.WORKBOOK_NAME: bare(cells)}
    return said | ({report.NAME: out.pdf(report.NAME)} if report.NAME in out.names else {})


def outstanding_is_listed(out: HandedOver) -> Seen:
    """Look whether README.txt lists what is outstanding and what was decided, as the tables have it."""
    of = _as_built(out)
    faults = [*_listed(out, "OUTSTANDING", outstanding(of)), *_listed(out, "DECISIONS", decisions(of))]
    decided = several(len(out.table("decisions")), "decision")
    return Seen(f"{several(of.counts.outstanding, 'thing')} outstanding, {decided}", tuple(faults))


def _listed(out: HandedOver, heading: str, ours: list[str]) -> Iterator[str]:
    told, spoken = section(out.text, heading), {bare(text): text for text in ours}
    there = set(told)
    yield from (f"{readme.NAME} does not list: {text}" for said, text in spoken.items() if said not in there)
    for said in told:
        if said not in spoken:
            yield f"{readme.NAME} lists under {heading} what the tables do not have: {said[:100]}"
    if len(told) != len(ours):
        yield f"{readme.NAME} lists {len(told):,} things under {heading}, the tables have {len(ours):,}"


def heads_agree(out: HandedOver) -> Seen:
    """Look whether revision, as-of time and frame are the same in all files."""
    title = out.title
    head = bare(f"{title.name}, revision {title.revision}")
    said = (*_of_page(out), *_of_text(out, head), *_of_workbook(out), *_of_waypoints(out, head), *_of_layers(out))
    at = f"revision {title.revision}, as of {title.as_of.isoformat(' ', 'minutes')}, {title.crs}"
    return Seen(at, (*said, *_of_papers(out)))


def _of_page(out: HandedOver) -> Iterator[str]:
    told = out.page.document["title"]
    for name in ("name", "revision", "crs", "base_crs", "station_length", "wgs84"):
        value, ours = told.get(name) if isinstance(told, Mapping) else None, getattr(out.title, name)
        if value != ours:
            yield f"{webmap.NAME} says {name} {value!r}, build_info {ours!r}"


def _of_text(out: HandedOver, head: str) -> Iterator[str]:
    said = bare(out.text)
    if head not in said:
        yield f"{readme.NAME} is not of {out.title.name}, revision {out.title.revision}"
    if bare(f"All results are in {out.title.crs}.") not in said:
        yield f"{readme.NAME} is not in {out.title.crs}"


def _of_papers(out: HandedOver) -> Iterator[str]:
    """Both PDF files have the revision at the head of their pages."""
    for name in sorted({report.NAME, sheets.NAME} & out.names):
        if bare(f"evision {out.title.revision}") not in out.pdf(name):
            yield f"{name} does not say revision {out.title.revision}"


def _of_workbook(out: HandedOver) -> Iterator[str]:
    title, about = out.title, out.workbook.get("About", pd.DataFrame())
    cells = {str(cell) for cell in about.to_numpy(object).ravel()}
    for what, value in (
        ("revision", title.revision),
        ("as of", title.as_of.isoformat(" ", "minutes")),
        ("frame", title.crs),
    ):
        if value and value not in cells:
            yield f"{joint_log.WORKBOOK_NAME} has another {what} than {value}"


def _of_waypoints(out: HandedOver, head: str) -> Iterator[str]:
    if gpx.NAME in out.names:
        if bare(out.waypoints.title) != head:
            yield f"{gpx.NAME} is of {out.waypoints.title!r}"
        if pd.to_datetime(out.waypoints.time, utc=True, errors="coerce") != pd.Timestamp(out.title.as_of).floor("s"):
            yield f"{gpx.NAME} is as of {out.waypoints.time!r}"


def _of_layers(out: HandedOver) -> Iterator[str]:
    labels = {name: frame(text, where=name).label for name, text in out.layer_frames.items()}
    wrong = sorted(name for name, label in labels.items() if label != out.title.crs)
    if wrong:
        yield f"layer {wrong[0]} of the GeoPackage is in {labels[wrong[0]]}, build_info says {out.title.crs}"
