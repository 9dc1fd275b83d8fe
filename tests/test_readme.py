"""README.md and the two pages that it leads to, against the code: commands, tables, what the sample route gives."""

import re

import pytest

from tests.conftest import ROOT
from tests.readme_parts import PAGES, PARTS, README, rewritten

TEXT = README.read_text(encoding="utf-8")
EACH = pytest.mark.parametrize("page", PAGES, ids=lambda page: page.parent.name)


@EACH
def test_the_made_parts_are_as_the_code_has_them(page):
    text = page.read_text(encoding="utf-8")
    assert rewritten(text) == text, "python -m tests.readme_parts writes them anew"


def test_each_made_part_stands_once():
    every = "".join(page.read_text(encoding="utf-8") for page in PAGES)
    assert {name: every.count(f"<!-- made: {name} -->") for name in PARTS} == dict.fromkeys(PARTS, 1)


def test_ci_runs_the_test_command_of_the_readme():
    commands = re.findall(r"^python3 -m venv .*$", TEXT, re.MULTILINE)
    assert len(commands) == 2
    assert commands[1] in (ROOT / ".ci/run").read_text(encoding="utf-8").splitlines()


def anchors(text):
    """The addresses within a page, as its headings give them."""
    headings = re.findall(r"^#+ (.*)$", text, re.MULTILINE)
    return {re.sub(r"[^\w -]", "", heading.lower()).replace(" ", "-") for heading in headings}


@EACH
def test_everything_that_a_page_points_to_is_there(page):
    text = page.read_text(encoding="utf-8")
    links = [a or b for a, b in re.findall(r"\]\((?!https?:)([^)]+)\)|<img src=\"([^\"]+)\"", text)]
    absent = []
    for link in links:
        path, _, anchor = link.partition("#")
        there = (page.parent / path).resolve() if path else page
        if not there.exists() or (anchor and anchor not in anchors(there.read_text(encoding="utf-8"))):
            absent.append(link)
    assert absent == []
    assert links


def test_the_job_comes_first():
    first = TEXT.split("\n\n")[1]
    for word in ("GNSS", "alignment", "chainage", "gap", "window", "map", "GeoPackage"):
        assert word in first
