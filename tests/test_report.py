"""The report: its pages read back, its figures added up, and the file itself held to what an archive asks for."""

import os
import re
import shutil
import subprocess
from dataclasses import replace
from datetime import date
from pathlib import Path

import pikepdf
import pypdf
import pytest

from asbuilt import build, settings
from asbuilt.cautions import CAUTIONS, IN_SHORT
from asbuilt.progress.chart import described
from asbuilt.progress.figures import assumptions, figures
from asbuilt.progress.said import day_table, left_tables, plan_tables, stage_table
from asbuilt.publish.report import write_report
from asbuilt.publish.report_data import report_data
from asbuilt.publish.typeset import typeset
from tests.conftest import SALTREACH
from tests.making import E0, N0, csv_of, make_route
from tests.pdf_pages import archive_faults, number, pages_of, size_of, text_of

# ---- what it answers -------------------------------------------------------------------------------------------------


def test_the_first_page_answers_the_five_questions(report, saltreach):
    page, counts = pages_of(report[0])[0], saltreach.counts
    asked = ("Is it complete, end to end?", "What is outstanding?", "Who decided what?", "How sure are the positions?")
    for question in (*asked, "In which datum?"):
        assert question in page
    assert f"Not end to end: {counts.gaps} gaps with {counts.missing_records} missing records." in page
    assert f"{counts.joints} joints recorded" in page
    assert saltreach.title.crs in page
    assert "no survey has tested these positions" in page
    assert "The decision is the responsible engineer’s." in page.replace("'", "’")


def test_what_is_outstanding_adds_up(report, saltreach):
    rows = [[number(cell) for cell in row[1:]] for row in report[1]["answer"]["outstanding"]]
    assert [sum(column) for column in zip(*rows[:-1], strict=True)] == rows[-1]
    assert all(every == closed + still for every, closed, still in rows)
    assert rows[-1][2] == saltreach.counts.outstanding
    assert rows[-1][1] == saltreach.counts.closed


def test_source_rows_and_verdicts_add_up(report, saltreach):
    rows = [number(many) for _, many in report[1]["rows"]]
    assert sum(rows[:-1]) == rows[-1] == saltreach.counts.rows
    verdicts = [[number(cell) for cell in row[1:]] for row in report[1]["verdicts"]]
    assert [sum(column) for column in zip(*verdicts[:-1], strict=True)] == verdicts[-1] == [saltreach.counts.joints] * 2


def test_every_joint_of_a_line_is_in_the_ledger_once(report, saltreach):
    rows = report[1]["ledger"][0]["rows"]
    listed = [name for row in rows if row["kind"] in ("joint", "joints") for name in row["id"].split(", ")]
    in_reaches = sum(int(row["says"].split()[0]) for row in rows if row["kind"] == "reach")
    assert len(listed) == len(set(listed))
    assert len(listed) + in_reaches == saltreach.counts.joints
    assert (rows[0]["station"], rows[-1]["station"]) == ("0+000.00", "4+417.91")


def test_every_open_item_has_a_line_to_sign_and_no_other(report, saltreach):
    rows = [row for line in report[1]["ledger"] for row in line["rows"]] + report[1]["elsewhere"]
    still_open = [row["id"] for row in rows if row.get("open")]
    assert len(still_open) == len(set(still_open)) == saltreach.counts.outstanding
    pages = " ".join(pages_of(report[0])[1:4])
    assert len(re.findall(r"decision name date(?! station)", pages)) >= 1
    said = text_of(report[0])
    assert [name for name in still_open if name not in said] == []


def test_decisions_stand_beside_their_items_with_name_and_date(report, saltreach):
    said = text_of(report[0])
    for row in saltreach.tables["decisions"].to_dict("records"):
        assert row["decision"] in said
        assert row["name"] in said
        assert row["date"] in said
        assert row["state"] in said
    assert len(saltreach.tables["decisions"]) >= 1


def test_the_ledger_goes_by_chainage(report, saltreach):
    stations = [row["station"] for row in report[1]["ledger"][0]["rows"]]
    stated = saltreach.stationing["main"]
    at = [stated.chainages_m(1000 * int(s.split("+")[0]) + float(s.split("+")[1])) for s in stations]
    # between the two sides of the chainage equation a label has no chainage, or one: all of the sample have one
    assert [len(places) for places in at] == [1] * len(at)
    assert [places[0] for places in at] == sorted(places[0] for places in at)


def test_limits_say_where_they_were_read(report):
    said = text_of(report[0])
    assert "from memory" in said
    assert "second-hand" in said
    assert "GOST R 55276-2012" in said


def test_source_files_stand_with_their_checksums(report, saltreach):
    said = text_of(report[0])
    info = saltreach.tables["build_info"]
    sums = info.loc[info["topic"] == "input", "value"].str.removeprefix("sha256 ")
    assert len(sums) > 5
    assert [digest for digest in sums if digest not in said] == []


def test_cautions_stand_on_every_page_and_once_in_full(report):
    pages = pages_of(report[0])
    short = re.sub(r"\s+", " ", IN_SHORT)
    assert all(short in page for page in pages)
    said = " ".join(pages)
    assert [caution for caution in CAUTIONS if re.sub(r"\s+", " ", caution) not in said] == []


def test_each_page_has_its_number_revision_and_time(report, saltreach):
    pages = pages_of(report[0])
    for i, page in enumerate(pages, start=1):
        assert f"page {i} of {len(pages)}" in page
        assert f"Revision {saltreach.title.revision}, as of 2026-03-20 23:59 (UTC+11:00)" in page


# ---- progress --------------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def midway(tmp_path_factory):
    """The report of the sample route on an evening in its midst, and its figures."""
    as_built = build.build(settings.load(SALTREACH), as_of_date=date(2026, 2, 25))
    path = tmp_path_factory.mktemp("midway") / "handover.pdf"
    write_report(as_built, path)
    return path, as_built, figures(as_built)


def chapter(path):
    """The pages of the chapter on progress, and their text from its heading on."""
    pages = pages_of(path)
    first = next(i for i, page in enumerate(pages) if " Progress stage " in page)
    last = next(i for i, page in enumerate(pages) if "What the figures assume" in page)
    return list(range(first, last + 1)), " ".join(pages[first : last + 1]).partition(" Progress stage ")[2]


def test_progress_has_the_tables_of_the_command(midway):
    said = chapter(midway[0])[1].replace("’", "'")
    told = midway[2]
    tables = [stage_table(told), *plan_tables(told), *left_tables(told), day_table(told, last=7)]
    assert len(tables) == 6
    for table in tables:
        assert table.title in said
        for row in table.rows:
            assert " ".join(row) in said, row
        for note in table.notes:
            assert note.replace("'", "'") in said
    for text in (*told.stages["says"], *assumptions(told)):
        assert text.replace("’", "'") in said


def test_the_chart_in_the_report_is_drawn_of_lines_with_words_that_can_be_read(midway):
    """No letter below 7 points (a usual least size in print: common practice, no source); no picture of dots."""
    pages, said = chapter(midway[0])
    for word in ("as of", "crew_a", "Length covered (m)", "tie-in planned", "planned, in its crew's colour", "0+500"):
        assert word in said.replace("’", "'"), word
    with pikepdf.open(midway[0]) as pdf:
        page = pdf.pages[pages[0]]
        assert all(x.get("/Subtype") != "/Image" for x in page.get("/Resources", {}).get("/XObject", {}).values())
        figures_told = [o for o in pdf.objects if isinstance(o, pikepdf.Dictionary) and o.get("/S") == "/Figure"]
    alts = [str(f.get("/Alt", "")) for f in figures_told]
    assert described(midway[2]) in alts
    heights = heights_of(midway[0], pages[0])
    assert len(heights) > 200
    assert min(heights) >= 7.0


def heights_of(path, page):
    """The height of the letters of each piece of text of a page, points; in a drawing each letter is a piece."""
    found = []

    def seen(text, cm, tm, _font, size):
        found.extend([abs(size * cm[3] * tm[3])] if text.strip() else [])

    pypdf.PdfReader(path).pages[page].extract_text(visitor_text=seen)
    return found


def test_a_report_with_progress_is_an_archive_file_and_the_same_each_time(midway, tmp_path):
    assert archive_faults(midway[0]) == []
    write_report(midway[1], tmp_path / "again.pdf")
    assert (tmp_path / "again.pdf").read_bytes() == midway[0].read_bytes()


def test_crews_of_any_name_come_out_in_table_and_chart(midway, tmp_path):
    files = sorted(midway[1].schedule.crew_of)
    names = dict(zip(files, ["מכונה", '山 <b>&"#panic()"', "Ж \u202ecrew"], strict=True))
    write_report(replace(midway[1], schedule=replace(midway[1].schedule, crew_of=names)), tmp_path / "odd.pdf")
    said = chapter(tmp_path / "odd.pdf")[1]
    assert said.count('[U+5C71] <b>&"#panic()"') >= 3  # the line, the key, the days
    assert said.count("Ж [U+202E]crew") >= 3
    assert archive_faults(tmp_path / "odd.pdf") == []


def test_a_report_without_a_schedule_has_no_chapter_of_progress(saltreach, tmp_path):
    write_report(replace(saltreach, schedule=None), tmp_path / "bare.pdf")
    assert all("What the figures assume" not in page for page in pages_of(tmp_path / "bare.pdf"))


# ---- the file --------------------------------------------------------------------------------------------------------


def test_the_file_is_an_archive_file(report):
    assert archive_faults(report[0]) == []


def test_the_look_at_the_file_would_have_found_a_fault(report, tmp_path):
    broken = tmp_path / "broken.pdf"
    with pikepdf.open(report[0]) as pdf:
        del pdf.Root.OutputIntents
        del pdf.Root.MarkInfo
        pdf.save(broken)
    assert {"no output intent", "not marked as tagged"} <= set(archive_faults(broken))


_JARS = "preflight pdfbox2 fontbox2 xmpbox commons-logging commons-io javax.activation jaxb-api"
PREFLIGHT = [Path("/usr/share/java") / f"{name}.jar" for name in _JARS.split()]


@pytest.mark.skipif(
    not (shutil.which("java") and all(jar.exists() for jar in PREFLIGHT)),
    reason="Apache PDFBox Preflight (Debian: libpdfbox2-java libcommons-io-java libactivation-java libjaxb-api-java)",
)
def test_an_independent_checker_passes_the_same_pages(saltreach, tmp_path, monkeypatch):
    """Preflight knows part 1 of the standard alone: the same pages are made as PDF/A-1a for it.

    Its release 2.0 cannot follow a destination of the outline through a reference, which the format allows: they are
    written in place first.
    """
    monkeypatch.setattr("asbuilt.publish.typeset._STANDARDS", ["a-1a"])
    made, plain = tmp_path / "made.pdf", tmp_path / "plain.pdf"
    write_report(saltreach, made)
    with pikepdf.open(made) as pdf:
        for thing in pdf.objects:
            if isinstance(thing, pikepdf.Dictionary) and "/Dest" in thing:
                thing["/Dest"] = pikepdf.Array(list(thing["/Dest"]))
        pdf.save(plain)
    command = [
        "java",
        "-cp",
        os.pathsep.join(map(str, PREFLIGHT)),
        "org.apache.pdfbox.preflight.Validator_A1b",
        str(plain),
    ]
    run = subprocess.run(command, capture_output=True, text=True, check=False)
    assert "is a valid PDF/A-1b file" in run.stdout, run.stdout + run.stderr


def test_the_same_record_gives_the_same_bytes(report, saltreach, tmp_path, monkeypatch):
    monkeypatch.setenv("TZ", "Asia/Kathmandu")
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "1")
    write_report(saltreach, tmp_path / "again.pdf")
    assert (tmp_path / "again.pdf").read_bytes() == report[0].read_bytes()


def test_the_date_in_the_file_is_the_as_of(report):
    with pikepdf.open(report[0]) as pdf:
        assert str(pdf.docinfo["/CreationDate"]).startswith("D:20260320")


# ---- other records ---------------------------------------------------------------------------------------------------

ONE = csv_of(f"J1,2026-03-01 10:00,{E0 + 12},{N0},215")


@pytest.mark.parametrize(
    ("changes", "size"),
    [
        ({}, (210, 297)),
        ({"route.units": "us", "route.foot": "survey"}, (215.9, 279.4)),
        ({"report.paper": "Letter"}, (215.9, 279.4)),
        ({"route.units": "us", "route.foot": "survey", "report.paper": "A4"}, (210, 297)),
    ],
)
def test_paper_is_that_of_the_units_unless_the_route_says(tmp_path, changes, size):
    path = tmp_path / "report.pdf"
    write_report(build.build(settings.load(make_route(tmp_path, toml_changes=changes))), path)
    assert size_of(path) == pytest.approx(size, abs=0.1)
    assert ("ft" in pages_of(path)[0]) == ("route.units" in changes)


NASTY = 'O"Brien \\n #panic() $x$ *b* _i_ `r` <l> @a ~ // /* [c] {d}'


def test_words_of_a_record_come_out_as_written(saltreach, tmp_path):
    """Markup of the typesetter, of the web and of shells is text here, and letters that run to the left stay whole."""
    joints = saltreach.tables["joints"].assign(operator=NASTY, machine="מכונה")
    nasty = replace(
        saltreach, tables={**saltreach.tables, "joints": joints}, title=replace(saltreach.title, owner="#strong[me]")
    )
    write_report(nasty, tmp_path / "nasty.pdf")
    said = text_of(tmp_path / "nasty.pdf")
    assert "#strong[me]" in said
    for word in NASTY.split():
        assert word in said, word
    assert "מכונה" in said or "הנוכמ" in said  # in the order of letters or of the line, as readers of files differ
    assert archive_faults(tmp_path / "nasty.pdf") == []


def test_what_no_font_shows_is_written_by_its_number_and_said(saltreach, tmp_path):
    joints = saltreach.tables["joints"].assign(operator="山 \u202egnp\x07")
    write_report(replace(saltreach, tables={**saltreach.tables, "joints": joints}), tmp_path / "odd.pdf")
    said = text_of(tmp_path / "odd.pdf")
    assert "[U+5C71] [U+202E]gnp[U+0007]" in said
    assert "These characters have no shape in the fonts of this report" in said
    assert "U+5C71. The joint log" in said


def test_a_route_without_a_joint_has_a_report(tmp_path):
    folder = make_route(tmp_path, records=csv_of(",2026-03-01 10:00,,,"))
    write_report(build.build(settings.load(folder)), tmp_path / "empty.pdf")
    page = pages_of(tmp_path / "empty.pdf")[0]
    assert "no joint is recorded" in page
    assert "Records run from end to end" not in page


def test_a_line_without_a_gap_is_said_to_run_from_end_to_end(tmp_path):
    line = f"easting,northing\n{E0},{N0}\n{E0 + 24},{N0}\n"
    write_report(build.build(settings.load(make_route(tmp_path, records=ONE, line=line))), tmp_path / "whole.pdf")
    page = pages_of(tmp_path / "whole.pdf")[0]
    assert "Records run from end to end without a gap." in page
    assert "Nobody yet: no decision was handed in." in page
    assert "accepts nothing and rejects nothing" in page


def test_a_line_that_is_being_built_is_not_said_to_be_whole(tmp_path):
    folder = make_route(tmp_path, records=ONE, toml_changes={"route.complete": False})
    write_report(build.build(settings.load(folder)), tmp_path / "open.pdf")
    assert "not yet recorded" in pages_of(tmp_path / "open.pdf")[0]


def test_a_long_ledger_repeats_its_heading_on_each_page(tmp_path):
    records = [f"J{i},2026-03-{1 + i // 12:02d} {7 + i % 12:02d}:00,{E0 + 12 * i},{N0},{250 + i}" for i in range(1, 80)]
    folder = make_route(tmp_path, records=csv_of(*records), toml_changes={"route.as_of": date(2026, 4, 1)})
    as_built = build.build(settings.load(folder))
    write_report(as_built, tmp_path / "long.pdf")
    pages = [page for page in pages_of(tmp_path / "long.pdf") if re.search(r"\bJ\d+ fusion out of window", page)]
    assert len(pages) > 3
    assert all("why it stands out" in page for page in pages)
    assert all(f"J{i} " in " ".join(pages) for i in range(1, 80))


def test_neighbours_that_say_the_same_are_one_row(tmp_path):
    """79 joints of which none has its temperature: one row names all of them, with one place to sign."""
    records = [f"J{i},2026-03-{1 + i // 12:02d} {7 + i % 12:02d}:00,{E0 + 12 * i},{N0}," for i in range(1, 80)]
    folder = make_route(tmp_path, records=csv_of(*records), toml_changes={"route.as_of": date(2026, 4, 1)})
    as_built = build.build(settings.load(folder))
    rows = [row for row in report_data(as_built)["ledger"][0]["rows"] if row["kind"] in ("joint", "joints")]
    assert [row["n"] for row in rows] == [79]
    assert rows[0]["id"].split(", ") == [f"J{i}" for i in range(1, 80)]
    write_report(as_built, tmp_path / "same.pdf")
    said = text_of(tmp_path / "same.pdf")
    assert "79 joints: J1, J2," in said
    assert "on all 79, or on each by a list" in said


def test_a_fault_in_a_template_is_no_missing_letter(saltreach):
    with pytest.raises(RuntimeError, match="head"):
        typeset("report.typ", {"paper": "a4"}, moment=saltreach.title.as_of)
