"""Takes the picture of a report for the README: `python tools/picture.py [REPORT [PICTURE]]`.

Needs Chromium (or Chrome) on this machine; the report itself needs nothing but a browser.
"""

import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
BROWSERS = ("chromium", "chromium-browser", "google-chrome", "chrome")
SIZE = (1280, 1240)  # the verdict and the first panels
FLAGS = (
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--hide-scrollbars",
    "--virtual-time-budget=20000",  # the picture is taken only after the panels are drawn
)


def take(report: Path, picture: Path) -> None:
    """Writes a PNG of the report's first screen. Exits with one clear line where something is missing."""
    browser = next((path for name in BROWSERS if (path := shutil.which(name))), None)
    if browser is None:
        sys.exit(f"No browser for the picture: install Chromium (looked for {', '.join(BROWSERS)}).")
    if not report.is_file():
        sys.exit(f"{report}: no such report; `make demo` writes one.")
    picture.parent.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as profile:
        unfinished = Path(profile) / "picture.png"
        done = subprocess.run(
            [
                browser,
                *FLAGS,
                f"--user-data-dir={profile}",
                f"--window-size={SIZE[0]},{SIZE[1]}",
                f"--screenshot={unfinished}",
                report.resolve().as_uri(),
            ],
            capture_output=True,
            text=True,
            timeout=120,
            check=False,
        )
        if done.returncode or not unfinished.is_file():
            sys.exit(f"{browser} took no picture (status {done.returncode}): {done.stderr.strip()[-400:]}")
        shutil.copyfile(unfinished, picture)


if __name__ == "__main__":
    if len(sys.argv) > 3:
        sys.exit("usage: picture.py [REPORT [PICTURE]]")
    arguments = [Path(argument) for argument in sys.argv[1:]]
    defaults = [ROOT / "build" / "demo" / "report.html", ROOT / "docs" / "demo.png"]
    take(*(arguments + defaults[len(arguments) :]))
