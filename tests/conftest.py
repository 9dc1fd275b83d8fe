import os
from pathlib import Path

import pytest
from click.testing import CliRunner
from playwright.sync_api import sync_playwright

from asbuilt import build, cli, settings
from asbuilt.publish.report import write_report
from asbuilt.publish.report_data import report_data
from tests.map_pages import ARGUMENTS, Opener, chromium_or_stop

ROOT = Path(__file__).parents[1]
SALTREACH = ROOT / "sample_routes" / "saltreach"

os.environ.setdefault("TZ", "America/St_Johns")  # no output may depend on the clock of the machine


@pytest.fixture(scope="session")
def saltreach():
    """The sample route as built."""
    return build.build(settings.load(SALTREACH))


@pytest.fixture(scope="session")
def handover(tmp_path_factory):
    """The sample route handed over by the command, as a user would."""
    out = tmp_path_factory.mktemp("outputs") / "saltreach"
    result = CliRunner().invoke(cli.main, ["build", str(SALTREACH), "-o", str(out)])
    assert result.exit_code == 0, result.output
    return out


@pytest.fixture(scope="session")
def report(saltreach, tmp_path_factory):
    """The report of the sample route, and its data."""
    path = tmp_path_factory.mktemp("report") / "handover.pdf"
    write_report(saltreach, path)
    return path, report_data(saltreach)


@pytest.fixture(scope="session")
def browser():
    """Chromium, started once."""
    path = chromium_or_stop()
    with sync_playwright() as playwright:
        started = playwright.chromium.launch(executable_path=path, args=ARGUMENTS)
        yield started
        started.close()


@pytest.fixture
def opened(browser, tmp_path):
    """A function that opens the map of a record; when the test ends, nothing must have been asked for."""
    opener = Opener(browser, tmp_path)
    yield opener
    opener.close()


@pytest.fixture(scope="module")
def opener(browser, tmp_path_factory):
    """As `opened`, for the pages that the tests of a module share."""
    opener = Opener(browser, tmp_path_factory.mktemp("maps"))
    yield opener
    opener.close()
