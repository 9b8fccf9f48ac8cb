"""The hardware notes say what firmware and computations say; nothing in them leads nowhere."""

import re
import xml.etree.ElementTree as ET
from pathlib import Path

import pytest

from changeover import messages
from drawings import pages, roadside, schematic, wiring
from host_sim import ntc
from host_sim.hazards import NAMES
from pins import PINS

FOLDER = pages.FOLDER
PAGES = sorted(FOLDER.glob("*.md"))

# The two edges of the board, USB plug on top, left and right, as a hobbyist drew them for programmers: public, without pin numbers.
LEFT = [
    "0", "1", "GND", "2", "3", "4", "5", "GND", "6", "7", "8", "9", "GND", "10", "11", "12", "13", "GND", "14", "15",
]  # fmt: skip
RIGHT = [
    "VBUS", "VSYS", "GND", "3V3_EN", "3V3(OUT)", "ADC_VREF", "28", "GND", "27", "26", "RUN", "22", "GND", "21", "20", "19", "18",
    "GND", "17", "16",
]  # fmt: skip


def words(name: str) -> str:
    return (FOLDER / name).read_text(encoding="utf-8")


def rows(text: str) -> list[list[str]]:
    """Cells of every table row."""
    return [
        [cell.strip() for cell in line.strip("|").split("|")] for line in text.splitlines() if line.startswith("| ")
    ]


@pytest.mark.parametrize("path", PAGES, ids=lambda path: path.stem)
def test_tables_are_fresh(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    assert pages.renewed(text) == text, "run: python tools/tables.py"


def test_a_stale_table_is_noticed() -> None:
    text = words("wiring.md")
    assert (
        pages.renewed(text.replace("| 19 | GP14 |", "| 18 | GP14 |"))
        == text
        != text.replace("| 19 | GP14 |", "| 18 | GP14 |")
    )


def test_every_table_is_shown_once() -> None:
    assert sorted(name for path in PAGES for name in pages.named(path.read_text(encoding="utf-8"))) == sorted(
        pages.TABLES
    )


def test_overview_is_the_one_that_is_drawn() -> None:
    drawn = schematic.draw()
    assert schematic.PICTURE.read_text(encoding="utf-8") == drawn, "run in tools/: python -m drawings.schematic"
    shown = "".join(ET.fromstring(drawn).itertext())
    for name in ("supply_valve", "return_valve", "filter_heater", "power_hold", "run_on"):
        assert f"GP{next(row[0] for row in PINS if row[1] == name)}" in shown


def test_every_pin_stands_on_the_wiring_page_where_the_board_has_it() -> None:
    numbers = {f"GP{label}": number for number, label in enumerate(LEFT, 1)}
    numbers |= {f"GP{label}": 40 - place for place, label in enumerate(RIGHT)}
    found = {row[2].strip("`"): row for row in rows(words("wiring.md")) if len(row) == 7}
    for gpio, name, *_, what in PINS:
        row = found[name]
        assert (int(row[0]), row[1], row[5]) == (numbers[f"GP{gpio}"], f"GP{gpio}", what)
    for place, label in enumerate(RIGHT):
        if not label.isdigit():
            assert wiring.HEADER[39 - place] in (label, "AGND" if label == "GND" else label)


def anchors(text: str) -> set[str]:
    return {
        re.sub(r"[^\w -]", "", head).lower().replace(" ", "-") for head in re.findall(r"^#+ (.+)$", text, re.MULTILINE)
    }


@pytest.mark.parametrize("path", PAGES, ids=lambda path: path.stem)
def test_links_lead_somewhere(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    for target in re.findall(r"\]\(([^)]+)\)", text):
        name, _, place = target.partition("#")
        file = (path.parent / name).resolve() if name else path
        assert file.is_file(), target
        assert not place or place in anchors(file.read_text(encoding="utf-8")), target
    for name in re.findall(r"`((?:firmware|host_sim|tools|tests|docs)/[\w./]+)`", text):
        assert (FOLDER.parent / name).exists(), name


def test_index_names_every_page_and_says_first_whom_it_is_for() -> None:
    index = words("README.md")
    assert {path.name for path in PAGES} - {"README.md"} == set(
        re.findall(r"\]\((\w+\.md)\)", index.split("## Before")[0])
    )
    assert "common rail" in index.split("\n\n")[1]


@pytest.mark.parametrize("name", ["parts", "wiring", "supply", "outputs", "sensors", "cables", "fuel_side"])
def test_page_of_the_work_begins_with_its_caution(name: str) -> None:
    assert "**Caution" in words(f"{name}.md").split("## ")[0]


def test_every_hazard_has_a_rule_and_every_rule_a_hazard_and_a_check() -> None:
    text = words("fail_to_diesel.md")
    rules = [row for row in rows(text) if re.match(r"R\d+ ", row[0])]
    assert [int(row[0].split()[0][1:]) for row in rules] == list(range(1, len(rules) + 1))
    answered: set[str] = set()
    for _, hazards, check in rules:
        assert len(check) > 20
        answered |= set(hazards.split(", "))
    assert answered == set(NAMES)
    assert "; ".join(f"{name} {what}" for name, what in NAMES.items()) in text


def test_steps_of_the_converter_lie_where_the_page_says() -> None:
    text = words("sensors.md")
    lie = ntc.adc_step_temperatures()
    assert ", ".join(f"{t_c:.1f}" for t_c in lie[:2]) in text.replace("\n", " ")
    assert " and ".join(f"{t_c:.1f}" for t_c in lie[2:]) in text
    # the reasons against the two other common values
    assert round(min(ntc.adc_step_temperatures(pullup_ohm=10_000.0), key=lambda t_c: abs(t_c - 76.0))) == 76
    other = ntc.adc_step_temperatures(pullup_ohm=4700.0)
    assert min(abs(t_c) for t_c in other) < 1.0
    assert min(abs(t_c - 100.0) for t_c in other) < 1.5


def test_card_tells_what_to_do_for_every_grave_message() -> None:
    card = words("roadside_card.md")
    for message, (head, _) in messages.ENGLISH.items():
        if messages.severity(message) == messages.GRAVE:
            assert f"| **{head}** | " in card
    # the rates of IEC 60073, normal and slow (secondary sources)
    assert 1.4 <= roadside.blinks_a_second("red") <= 2.8
    assert 0.4 <= roadside.blinks_a_second("amber") <= 0.8
    assert 0.4 <= roadside.blinks_a_second("green") <= 0.8
