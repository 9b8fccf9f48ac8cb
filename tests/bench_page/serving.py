"""The command as people run it, and Chromium in front of it."""

from __future__ import annotations

import os
import shutil
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from tests.report.conftest import FLAGS

ROOT = Path(__file__).parents[2]


@contextmanager
def serving(records: Path, *arguments: str) -> Iterator[tuple[subprocess.Popen[str], str]]:
    """`secondtank bench` with these arguments: its process, and the page's address."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    command = [
        sys.executable,
        "-c",
        "from secondtank.cli import main; main()",
        "bench",
        "--no-show",
        "--records",
        str(records),
    ]
    environment = {**os.environ, "PYTHONPATH": os.pathsep.join(map(str, (ROOT, ROOT / "firmware", ROOT / "tools")))}
    environment.pop("PYTEST_CURRENT_TEST", None)
    address = f"http://127.0.0.1:{port}/"
    with subprocess.Popen(
        [*command, "--page-port", str(port), *arguments],
        env=environment,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
    ) as process:
        try:
            _wait(process, address)
            yield process, address
        finally:
            process.terminate()
            process.wait(timeout=20)


def _wait(process: subprocess.Popen[str], address: str) -> None:
    end_s = time.monotonic() + 60.0
    while True:
        try:
            urllib.request.urlopen(address, timeout=5.0).close()
            return
        except OSError:
            if process.poll() is not None or time.monotonic() > end_s:
                said = process.stdout.read() if process.poll() is not None and process.stdout else ""
                raise AssertionError(f"no page at {address}: {said}") from None
            time.sleep(0.2)


def chromium(profile: Path) -> Any:
    """A session, the console kept. Whoever calls has seen that both commands are there."""
    from selenium import webdriver

    options = webdriver.ChromeOptions()
    options.binary_location = shutil.which("chromium") or ""
    for flag in (*FLAGS, f"--user-data-dir={profile}"):
        options.add_argument(flag)
    options.set_capability("goog:loggingPrefs", {"browser": "ALL"})
    return webdriver.Chrome(options=options, service=webdriver.ChromeService(shutil.which("chromedriver")))
