"""Work for the processes of a test: it must be importable there."""

from __future__ import annotations

import os
from functools import partial
from pathlib import Path


def square(number: int) -> int:
    return number * number


def dies(folder: Path, at: int, times: int, number: int) -> int:
    """The square; but at one number the process is gone, the first so many times."""
    if number == at:
        for turn in range(times):
            seen = folder / f"{turn}"
            if not seen.exists():
                seen.touch()
                os._exit(9)
    return number * number


def dying(folder: Path, at: int, times: int) -> partial[int]:
    return partial(dies, folder, at, times)


def fails(number: int) -> int:
    if number == 2:
        raise ZeroDivisionError("planted")
    return number
