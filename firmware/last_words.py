"""What a life that failed had to say, kept in flash for the next one: a few lines, bounded."""

import io
import os
import sys

_NAME = "/last_words"
_MOST = 400


def keep(folder: str, error: BaseException) -> None:
    """The end of the traceback, which names the place. What flash refuses is lost."""
    text = io.StringIO()
    sys.print_exception(error, text)  # pyright: ignore[reportAttributeAccessIssue]
    try:
        with open(folder + _NAME, "w") as file:
            file.write(text.getvalue()[-_MOST:])
    except OSError:
        pass


def take(folder: str) -> str:
    """Read and forget them: one line, empty where there are none."""
    try:
        with open(folder + _NAME) as file:
            text = file.read(_MOST)
        os.remove(folder + _NAME)
    except (OSError, ValueError):
        return ""
    return " / ".join(line.strip() for line in text.split("\n") if line.strip())
