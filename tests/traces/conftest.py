from __future__ import annotations

import os
from pathlib import Path

import pytest


@pytest.fixture
def logs() -> list[Path]:
    """The real logs, from the folder that SECONDTANK_TRACES names."""
    folder = os.environ.get("SECONDTANK_TRACES")
    if not folder:
        reason = "SECONDTANK_TRACES names no folder of real logs"
        if os.environ.get("CI") == "true":
            pytest.fail(reason)
        pytest.skip(reason)
    found = sorted(Path(folder).glob("*.csv"))
    assert found, f"no *.csv in {folder}"
    return found
