"""The page left open: `python -m tests.bench_page.hour SECONDS` prints memory and CPU of server and browser, a line a minute.

Chromium shows the page of a board in the server's process, on bench input, rows five times a second; each five minutes a fault is
broken and healed by its key.
"""

from __future__ import annotations

import os
import signal
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

from tests.bench_page.serving import chromium, serving

_EACH_S = 60.0
_FAULT_EACH = 5


def measure(seconds: float, each_s: float = _EACH_S) -> list[dict[str, float]]:
    """A sample after each so many seconds: server's resident MB and CPU share of one core, browser's heap MB and elements."""
    from selenium.webdriver import ActionChains
    from selenium.webdriver.common.by import By

    samples = []
    with tempfile.TemporaryDirectory() as folder, serving(Path(folder) / "records", "--virtual") as (process, address):
        browser = chromium(Path(folder) / "profile")
        try:
            browser.get(address)
            _until(lambda: "connected" in _head(browser))
            _to_oil(browser)
            before_s, cpu_before_s = time.monotonic(), _cpu_s(process.pid)
            began_s = before_s
            while time.monotonic() < began_s + seconds:
                time.sleep(each_s)
                now_s, cpu_s = time.monotonic(), _cpu_s(process.pid)
                samples.append(_sample(browser, process.pid, (cpu_s - cpu_before_s) / (now_s - before_s)))
                samples[-1]["minute"] = round((now_s - began_s) / 60.0, 2)
                print(samples[-1], _head(browser).split("\n")[2], flush=True)
                if "BENCH INPUT" not in _head(browser):
                    print("ended:", browser.find_element(By.CSS_SELECTOR, ".events").text.split("\n")[1], flush=True)
                    _to_oil(browser)
                before_s, cpu_before_s = now_s, cpu_s
                if len(samples) % _FAULT_EACH == 0:
                    for _ in range(2):
                        ActionChains(browser).send_keys("1").perform()
                        time.sleep(2.0)
        finally:
            browser.quit()
    return samples


def _head(browser: Any) -> str:
    return browser.find_element("tag name", "header").text


def _to_oil(browser: Any) -> None:
    from selenium.webdriver import ActionChains

    ActionChains(browser).send_keys("i").perform()
    _until(lambda: "BENCH INPUT" in _head(browser))
    next(each for each in browser.find_elements("tag name", "button") if each.text == "Warm, READY").click()


def _until(ready: Any, within_s: float = 30.0) -> None:
    end_s = time.monotonic() + within_s
    while not ready():
        assert time.monotonic() < end_s, "it does not come"
        time.sleep(0.2)


def _cpu_s(pid: int) -> float:
    fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def _sample(browser: Any, pid: int, cpu: float) -> dict[str, float]:
    resident = next(line for line in Path(f"/proc/{pid}/status").read_text().splitlines() if line.startswith("VmRSS"))
    browser.execute_cdp_cmd("HeapProfiler.collectGarbage", {})
    heap, elements = browser.execute_script(
        "return [performance.memory.usedJSHeapSize, document.querySelectorAll('*').length]"
    )
    return {
        "server_mb": round(int(resident.split()[1]) / 1024, 1),
        "server_cpu": round(cpu, 3),
        "heap_mb": round(heap / 1e6, 1),
        "elements": elements,
    }


if __name__ == "__main__":
    signal.signal(signal.SIGTERM, lambda *_: sys.exit())  # browser and server go, too
    measure(float(sys.argv[1]))
