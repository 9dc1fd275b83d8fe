"""Checks against values published outside the project. Each says where its value stands, and how well that is known.

The status is a mark, and `pytest -m from_memory` picks by it:

- `seen`: read at the place that is named.
- `second_hand`: read in a text that restates what it cites, or that may not be named.
- `computed`: follows from published values by arithmetic, or comes from a library or a formula that is named.
- `from_memory`: not seen in writing; what else speaks for it is said.
"""

from pathlib import Path

import pytest

STATUSES = {
    "seen": "read at the place that is named",
    "second_hand": "read in a text that restates what it cites",
    "computed": "follows from published values, or from a library or formula that is named",
    "from_memory": "not seen in writing",
}


def pytest_configure(config: pytest.Config) -> None:
    for status, says in STATUSES.items():
        config.addinivalue_line("markers", f"{status}(source): the published value was {says}")


@pytest.fixture(scope="session")
def shared_data() -> Path:
    """Return the folder of public test files beside the checkout; they are read where they lie, never copied."""
    folder = Path(__file__).resolve().parents[3] / "shared" / "data"
    if not folder.is_dir():
        pytest.skip("the folder of public test files is not beside this checkout")
    return folder
