"""Records of checks: kept whole, asked for again when what they depend on changes; the checks are those of the hardware notes."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from host_sim.catalogue import CATALOGUE
from host_sim.errors import InputError
from host_sim.profile import load_profile
from secondtank.bench.check_list import BY_ID, CHECKS, GROUPS
from secondtank.bench.check_rules import RULES
from secondtank.bench.page import KEYS
from secondtank.bench.records import Book
from secondtank.bench.stand import NOT_HERE

NOTES = Path(__file__).parents[2] / "hardware_notes"
FULL = load_profile("full_guard")
BOARD = ("changeover 0.1.0",)


def numbers(text: str) -> set[str]:
    """The numbers of a text that carry a unit or stand alone; names like R11 or K1 are none."""
    return set(re.findall(r"(?<![A-Za-z\d.])\d+(?:\.\d+)?", text))


def test_rules_are_those_of_the_hardware_notes_with_their_numbers() -> None:
    rows = re.findall(
        r"^\| R(\d+) (.*?) \| (.*?) \| (.*?) \|$", (NOTES / "fail_to_diesel.md").read_text(encoding="utf-8"), re.M
    )
    assert [int(number) for number, *_ in rows] == list(range(1, len(RULES) + 1))
    for (number, _, _, check), rule in zip(rows, RULES, strict=True):
        told = numbers(f"{rule.title} {rule.do} {rule.must}")
        missing = numbers(check) - told
        assert not missing, f"R{number}: {check}"


def test_order_is_that_of_the_gates() -> None:
    # gate 1 of commissioning.md, and the bench order of the field: sensor plausible, emergency, outputs, inputs, then the rest
    kinds = list(dict.fromkeys(check.kind for check in CHECKS))
    assert kinds == ["plausible", "emergency", "output", "input", "unplugged", "told"]
    assert {kind for kind, _ in GROUPS} == set(kinds)
    assert len(BY_ID) == len(CHECKS)
    gates = (NOTES / "commissioning.md").read_text(encoding="utf-8")
    assert "each lamp alone, for 2 s at most" in gates
    assert all("2 s at most" in check.must for check in CHECKS if check.kind == "output")
    assert "not trusted within 1 s" in gates
    assert all(check.must == "not trusted within 1 s" for check in CHECKS if check.kind == "unplugged")


def test_result_outlives_the_program_and_is_asked_for_again_when_its_settings_or_the_program_change(
    tmp_path: Path,
) -> None:
    check = BY_ID["plausible-0"]
    book = Book(tmp_path, "aaaa")
    assert book.state(check, FULL) == "open"
    book.add(check.id, True, "20.10 degC beside 20 degC", FULL, BOARD, "mercury")
    again = Book(tmp_path, "aaaa")
    assert again.state(check, FULL) == "passed"
    assert again.latest[check.id].note == "mercury"
    assert again.state(check, FULL | {"oil_trim_cdegc": 20}) == "passed"
    changed = FULL | {"coolant_trim_cdegc": 20}
    assert again.state(check, changed) == "again"
    assert again.again(check, changed) == "changed since: coolant_trim_cdegc"
    again.firmware = "bbbb"
    assert again.again(check, FULL) == "the program changed: aaaa, now bbbb"
    book.add("rule-1", False, "seen by a person", FULL, BOARD)
    again = Book(tmp_path, "bbbb")
    assert again.state(BY_ID["rule-1"], FULL) == "failed"  # copper does not ask which program runs
    assert again.state(BY_ID["plausible-9"], FULL) == "not fitted"


def test_page_to_print_says_settings_program_and_what_is_open(tmp_path: Path) -> None:
    book = Book(tmp_path, "aaaa")
    book.add("rule-2", True, "seen by a person", FULL, BOARD, "<b>lamp</b> & meter")
    book.print(FULL)
    page = (tmp_path / "record.html").read_text(encoding="utf-8")
    assert "&lt;b&gt;lamp&lt;/b&gt; &amp; meter" in page
    assert "oil_entry_cdegc=7300" in page
    assert "aaaa" in page
    assert page.count("<td>open</td>") == sum(check.applies(FULL) for check in CHECKS) - 1
    data = json.loads(next(tmp_path.glob("*.json")).read_text(encoding="utf-8"))
    assert data["results"][0]["settings_hash"] == book.latest["rule-2"].settings_hash


@pytest.mark.parametrize(
    "text", ["", "[]", '{"form": 1, "results": [{"check": "x"}]}', '{"form": 9, "results": []}', "\x00"]
)
def test_damaged_record_is_named(tmp_path: Path, text: str) -> None:
    (tmp_path / "2026-01-01_000000.json").write_text(text, encoding="utf-8")
    with pytest.raises(InputError, match=r"2026-01-01_000000\.json"):
        Book(tmp_path, "aaaa")


def test_page_of_the_docs_counts_right_and_names_the_keys_that_there_are() -> None:
    text = (NOTES.parent / "docs" / "bench.md").read_text(encoding="utf-8")
    assert f"The catalogue's {len(CATALOGUE)} [faults]" in text
    assert f"other {sum(entry.kind in NOT_HERE for entry in CATALOGUE)}, inside the board" in text
    for key, _ in KEYS:
        assert all(word in text for word in key.split() if word not in ("...", "9")), key
    for picture in re.findall(r"\]\((bench/.*?\.png)\)", text):
        assert (NOTES.parent / "docs" / picture).stat().st_size > 10_000
