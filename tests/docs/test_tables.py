"""The pages that people read say what the law does."""

import importlib.util
import re
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]


def _tables():
    spec = importlib.util.spec_from_file_location("tables", ROOT / "tools" / "tables.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.mark.parametrize("name", ["interlocks.md", "settings.md", "faults.md"])
def test_page_is_the_one_that_the_law_makes(name: str) -> None:
    assert (ROOT / "docs" / name).read_text(encoding="utf-8") == _tables().PAGES[name](), "run: python tools/tables.py"


@pytest.mark.parametrize("name", ["README.md", "DEVELOPERS.md"])
def test_files_named_in_the_guides_exist(name: str) -> None:
    text = (ROOT / name).read_text(encoding="utf-8")
    named = set(re.findall(r"`((?:firmware|host_sim|tools|tests|docs|hardware_notes)/[\w./]*)`", text))
    named |= {target for target in re.findall(r"\]\(([^)]+)\)", text) if "://" not in target}
    assert named
    missing = sorted(path for path in named if not (ROOT / path).exists())
    assert not missing
