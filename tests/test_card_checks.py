"""How the card shows checks that have a word and no number, in a browser. All data is invented."""

import dataclasses

import pytest
from playwright.sync_api import sync_playwright

from asbuilt import tables
from asbuilt.publish import webmap
from tests.test_webmap import ARGUMENTS, DESK, _made, chromium_or_stop, find, invented

CHECKS = (  # check, verdict, required, cause
    ("operator", "in window", True, "Odd B, listed from 2025-04-21 to 2026-04-20"),
    ("machine", "out of window", True, "calibration of E9 ended on 2026-04-22, the joint was made on 2026-04-23"),
    ("visual", "in window", True, "recorded 'tidy', a word that passes"),
    ("end_state", "in window", True, "end state 'ok'"),
    ("actual_time", "not recorded", True, ""),
    ("fitting_code", "not recorded", False, ""),
)


@pytest.fixture(scope="module")
def shown(tmp_path_factory):
    """Return the texts of the table of checks, cell by cell, and of the note below it."""
    made = invented()
    joints = made.tables["joints"].copy()
    joints.loc[30, ["operator", "machine", "visual"]] = ["Odd B", "E9", "tidy"]
    name, verdict, required, cause = (list(column) for column in zip(*CHECKS, strict=True))
    of = {"check": name, "verdict": verdict, "required": required, "cause": cause, "source": ["invented"] * 6}
    checks = _made(tables.WINDOW_CHECKS, 6, joint_id=[joints["joint_id"][30]] * 6, **of)
    path = tmp_path_factory.mktemp("card") / "map.html"
    webmap.write_map(dataclasses.replace(made, tables={**made.tables, "joints": joints, "window_checks": checks}), path)
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium_or_stop(), args=ARGUMENTS)
        page = browser.new_context(**DESK).new_page()
        page.goto(path.as_uri())
        page.wait_for_function("window.asbuilt !== undefined")
        find(page, "J0031")
        page.wait_for_selector("#card table.checks")
        cells = "rows => rows.map(row => Array.from(row.children, cell => cell.textContent))"
        rows = page.locator("#card table.checks tbody tr").evaluate_all(cells)
        text = page.locator("#card").evaluate("card => card.textContent")
        browser.close()
    return rows, text


def test_what_was_recorded_in_words_stands_in_its_column_with_what_it_is_held_against(shown):
    rows, _ = shown
    assert [row for row in rows if len(row) > 1] == [
        ["Operator", "Odd B", "what the list allows", "in window"],
        ["Machine", "E9", "the listed dates", "out of window"],
        ["Visual", "tidy", "words that pass", "in window"],
        ["End state", "end state 'ok'", "words that pass", "in window"],
        ["Actual time", "not recorded", "none", "not recorded"],
    ]


def test_a_cause_is_said_once(shown):
    rows, text = shown
    assert [row[0] for row in rows if len(row) == 1] == [CHECKS[k][3] for k in range(3)]
    assert text.count("end state 'ok'") == 1


def test_a_missing_code_that_nobody_needs_is_named_in_the_note(shown):
    assert "Not recorded and not required: fitting code." in shown[1]
