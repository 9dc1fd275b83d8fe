"""The front door: exit statuses, words on the right stream, and refusals by name."""

import json
import subprocess
import sys

import pytest
from click.testing import CliRunner

from asbuilt import build, cli
from tests.conftest import SALTREACH
from tests.making import make_route


def run(*words):
    return CliRunner().invoke(cli.main, [str(w) for w in words])


def test_a_build_says_what_it_did_in_sentences_that_add_up(tmp_path):
    result = run("build", SALTREACH, "-o", tmp_path / "out")
    assert result.exit_code == 0
    assert "365 source rows = 358 joints + 1 duplicate + 1 superseded + 3 trials + 2 set aside" in result.stdout
    assert result.stderr == ""


def test_check_writes_nothing_and_lists_each_row_with_a_reason():
    before = sorted(SALTREACH.rglob("*"))
    result = run("check", SALTREACH)
    assert result.exit_code == 0
    assert "records/crew_a.csv row 78 (joint): Column Latitude: '-42,858O7915' is not a number." in result.stdout
    assert "Nothing was written." in result.stdout
    assert sorted(SALTREACH.rglob("*")) == before


def test_json_is_one_document_on_stdout(saltreach):
    result = run("check", SALTREACH, "--json")
    found = json.loads(result.stdout)
    assert found["counts"]["joints"] == saltreach.counts.joints
    assert found["title"]["as_of"] == "2026-03-20T23:59:59+11:00"


@pytest.mark.parametrize("command", [("check",), ("build", "-o", "{out}")])
def test_strict_ends_with_three_where_something_is_outstanding(tmp_path, command):
    words = [w.format(out=tmp_path / "out") for w in command]
    assert run(*words, SALTREACH, "--strict").exit_code == 3


@pytest.mark.parametrize("name", ["init", "portfolio"])
def test_what_is_not_built_is_refused_by_name_and_absent_from_help(name):
    result = run(name, "x")
    assert result.exit_code == 2
    assert f"asbuilt {name} is not built yet" in result.stderr
    assert name not in run("--help").stdout.split()


@pytest.mark.parametrize(
    "words", [("bild", "x"), ("build", "x"), ("check", "nowhere"), ("build", "x", "-o", "y", "--fast")]
)
def test_a_wrong_call_ends_with_two(words, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    result = run(*words)
    assert result.exit_code == 2
    assert result.stdout == ""
    assert result.stderr
    assert list(tmp_path.iterdir()) == []


def test_every_problem_is_a_line_on_stderr(tmp_path):
    (tmp_path / "route.toml").write_text("[route]\nnam = 'x'\n", encoding="utf-8")
    result = run("build", tmp_path, "-o", tmp_path.parent / "never")
    assert result.exit_code == 2
    assert "asbuilt: route.toml: route.nam: this key is not known; the nearest known is 'name'" in result.stderr
    assert "nothing was written" in result.stderr.splitlines()[-1]
    assert not (tmp_path.parent / "never").exists()


def test_a_fault_of_ours_ends_with_one_and_writes_nothing(tmp_path, monkeypatch):
    def fails(*_, **__):
        raise ZeroDivisionError

    monkeypatch.setattr(build, "publish", fails)
    result = run("build", SALTREACH, "-o", tmp_path / "out")
    assert result.exit_code == 1
    assert list(tmp_path.iterdir()) == []


def test_a_link_stays_a_link_and_what_it_leads_to_is_replaced(tmp_path):
    (tmp_path / "there").mkdir()
    (tmp_path / "link").symlink_to(tmp_path / "there")
    route = make_route(tmp_path / "route")
    for _ in range(3):
        assert run("build", route, "-o", tmp_path / "link").exit_code == 0
    assert (tmp_path / "link").is_symlink()
    assert (tmp_path / "there" / "asbuilt.gpkg").is_file()
    assert sorted(p.name for p in tmp_path.iterdir()) == ["link", "route", "there"]


def test_the_module_is_the_command():
    run_ = subprocess.run([sys.executable, "-m", "asbuilt", "--version"], capture_output=True, text=True, check=True)
    assert run_.stdout.startswith("asbuilt, version")
