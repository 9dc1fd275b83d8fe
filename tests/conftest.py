import os
from pathlib import Path

import pytest
from click.testing import CliRunner

from asbuilt import build, cli, settings

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
