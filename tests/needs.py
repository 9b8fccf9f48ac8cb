"""What a platform may lack: its tests are skipped with the reason, but fail under CI=true, where it must be there."""

import os
import shutil
import sys
from pathlib import Path
from typing import NoReturn, TypeVar

import pytest

T = TypeVar("T")


def _lacking(what: str) -> NoReturn:
    if os.environ.get("CI") == "true":
        pytest.fail(f"CI=true and {what} is missing", pytrace=False)
    pytest.skip(f"{what} is missing on this machine")


def require(found: T | None, what: str) -> T:
    """`found` itself; where it is None the test is skipped, or fails under CI=true. `what` names what is missing."""
    return _lacking(what) if found is None else found


def command(name: str) -> Path | None:
    """The command `name` of the environment that runs the tests, else of PATH; None where neither has it."""
    beside = shutil.which(name, path=str(Path(sys.executable).parent))
    found = beside or shutil.which(name)
    return Path(found) if found else None
