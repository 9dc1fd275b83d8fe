"""README.md against the code: its commands, its tables, and what it says the sample route gives."""

import re

from tests.conftest import ROOT
from tests.readme_parts import PARTS, README, rewritten

TEXT = README.read_text(encoding="utf-8")


def test_the_made_parts_are_as_the_code_has_them():
    assert rewritten(TEXT) == TEXT, "python -m tests.readme_parts writes them anew"
    assert {name for name in PARTS if f"<!-- made: {name} -->" in TEXT} == set(PARTS)


def test_ci_runs_the_test_command_of_the_readme():
    commands = re.findall(r"^python3 -m venv .*$", TEXT, re.MULTILINE)
    assert len(commands) == 2
    assert commands[1] in (ROOT / ".ci/run").read_text(encoding="utf-8").splitlines()


def test_every_file_the_readme_points_to_is_there():
    links = re.findall(r"\]\((?!https?:|#)([^)#]+)\)|<img src=\"([^\"]+)\"", TEXT)
    absent = [path for pair in links for path in pair if path and not (ROOT / path).exists()]
    assert absent == []
    assert links


def test_the_job_comes_first():
    first = TEXT.split("\n\n")[1]
    for word in ("GNSS", "alignment", "chainage", "gap", "window", "map", "GeoPackage"):
        assert word in first
