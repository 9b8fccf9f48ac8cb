"""Published figures beside the tests.

Rows of `reference/*.csv` carry `source` and `seen`. `seen` rows stood in a page, datasheet or package that was read, or
follow from such figures; they get tight asserts. `memory` rows are recalled and not verified; they get wide bands only.
"""

import csv
from collections.abc import Callable
from pathlib import Path

import pytest

REFERENCE = Path(__file__).parent / "reference"
Rows = list[dict[str, str]]


@pytest.fixture(scope="session")
def reference() -> Callable[..., Rows]:
    """Rows of one table whose named columns contain the given text; at least one, so that no check runs on nothing."""

    def rows(table: str, **contains: str) -> Rows:
        with open(REFERENCE / f"{table}.csv", newline="", encoding="utf-8") as file:
            found = [row for row in csv.DictReader(file) if all(text in row[key] for key, text in contains.items())]
        assert found, f"no row in {table}.csv with {contains}"
        return found

    return rows
