"""Tables that nothing reads are named, and those that are read are not."""

import shutil

from asbuilt import build, settings
from tests.conftest import SALTREACH
from tests.making import RECORDS, make_route


def notes_of(route):
    return [note for note in build.build(settings.load(route)).notes if "not read" in note]


def test_a_table_that_nothing_reads_is_named_with_what_would(tmp_path):
    route = make_route(tmp_path)
    assert notes_of(route) == []
    (route / "decisions_2.csv").write_text("joint_id,decision,name,date\n", encoding="utf-8")
    (route / "records/b.csv").write_text(RECORDS, encoding="utf-8")
    (route / "records/~$b.xlsx").write_bytes(b"")
    (route / "records/notes.txt").write_text("no table", encoding="utf-8")
    assert notes_of(route) == [
        'decisions_2.csv: not read, nothing in route.toml names it; in [decisions] files = ["decisions.csv",'
        ' "decisions_2.csv"] would',
        "records/b.csv: not read, nothing in route.toml names it",
    ]


def test_the_sample_route_is_read_whole_but_for_what_is_laid_beside_it(saltreach, tmp_path):
    assert not [note for note in saltreach.notes if "not read, nothing" in note]
    shutil.copytree(SALTREACH, tmp_path / "route", ignore=shutil.ignore_patterns("truth", "making"))
    (tmp_path / "route/records/crew_d.CSV").write_text("Joint\nD1\n", encoding="utf-8")
    assert notes_of(tmp_path / "route") == ["records/crew_d.CSV: not read, nothing in route.toml names it"]
