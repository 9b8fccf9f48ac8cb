"""The committed outcome of the mutants is that of these sources; and the runner itself, on a project of four lines."""

from __future__ import annotations

import json
import re
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from mutants import BUILD, FOLDER, RESULTS, Plan, open_files, read_plan, read_results
from mutations import by_hand, mutants_of

ROOT = Path(__file__).parents[2]


@pytest.fixture(scope="module")
def plan() -> Plan:
    return read_plan(ROOT)


def test_outcome_is_that_of_the_sources_as_they_are(plan: Plan) -> None:
    rows = read_results(ROOT)
    assert open_files(plan, rows) == [], "run: make mutants"
    assert sorted(rows) == plan.every_file()
    for file, row in rows.items():
        counts = {column: int(row[column]) for column in ("mutants", "killed", "listed", "survived")}
        assert counts["killed"] + counts["listed"] == counts["mutants"], file
        assert counts["listed"] == len(plan.listed.get(file, {})), file


def test_every_mutant_that_may_live_has_its_reason(plan: Plan) -> None:
    reasons = [reason for names in plan.listed.values() for reason in names.values()]
    assert all(len(reason) > 20 for reason in reasons)


def test_every_group_has_a_mutant_that_must_die_and_one_that_cannot(plan: Plan) -> None:
    for group in plan.groups:
        fates = {made.expect for made in plan.planted if made.file in plan.files(group)}
        assert fates == ({"killed", "survived"} if group.generated else set())


def test_mutants_by_hand_stand_in_their_files_and_name_tests_that_exist(plan: Plan) -> None:
    assert plan.handmade
    for made in [*plan.handmade, *plan.planted]:
        plan.made(made)
        for test in made.tests:
            file, _, name = test.partition("::")
            assert f"def {name}(" in (ROOT / file).read_text(encoding="utf-8"), test


# which mutants there are


def test_tables_lose_and_gain_one_in_every_number_bit_condition_and_name() -> None:
    """mutmut leaves module-level code alone; these are ours."""
    code = 'LOW, HIGH = 0, 1\nROWS = (("oil", 1 << 3, "oil < limit", 500, LOW),)\n'
    changed = {mutant.text.splitlines()[1] for mutant in mutants_of(code) if mutant.line == 2}
    for part in (
        '("XXoil", 1 << 3, "oil < limit", 500, LOW)', '("oil", 2 << 3, "oil < limit", 500, LOW)',
        '("oil", 1 >> 3, "oil < limit", 500, LOW)', '("oil", 1 << 4, "oil < limit", 500, LOW)',
        '("oil", 1 << 3, "oil <= limit", 500, LOW)', '("oil", 1 << 3, "oil > limit", 500, LOW)',
        '("oil", 1 << 3, "oil < limit", 501, LOW)', '("oil", 1 << 3, "oil < limit", 499, LOW)',
        '("oil", 1 << 3, "oil < limit", 500, HIGH)',
    ):  # fmt: skip
        assert f"ROWS = ({part},)" in changed
    assert not any("XX" in mutant.text for mutant in mutants_of(code, prose=True))


def test_names_of_mutants_do_not_move_with_what_stands_above_and_are_each_their_own() -> None:
    code = "def full(level):\n    if level > 9:\n        return True\n    return level > 9\n"
    names = [mutant.name for mutant in mutants_of(code)]
    assert "full: if level > 9: -> if level >= 9:" in names
    assert len(set(names)) == len(names)
    assert [mutant.name for mutant in mutants_of("import os\n\n\n" + code)] == names


def test_mutant_by_hand_whose_place_is_gone_or_not_the_only_one_is_refused() -> None:
    for before in ("level < 9", "level"):
        with pytest.raises(ValueError, match="wanted once"):
            by_hand("def full(level):\n    return level > 9\n", before, "0")


# the runner


TANK = "FULL = 9\n\n\ndef full(level, spare=0):\n    return level + spare > FULL\n"
TEST = "from tank import full\n\n\ndef test_full():\n    assert full(9, {})\n    assert not full({})\n"
SHARP, BLUNT = TEST.format(1, 9), TEST.format(3, 7)


class Toy:
    """A project of one source and one test, with a planted mutant that must die and one that cannot."""

    def __init__(self, root: Path) -> None:
        self.root = root
        self.write("pyproject.toml", '[tool.pytest.ini_options]\npythonpath = ["lib"]\n')
        self.write("lib/tank.py", TANK)
        self.write("tests/test_tank.py", SHARP)
        self.plant("> FULL", "== -1")

    def write(self, name: str, text: str) -> None:
        path = self.root / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8")

    def plant(self, before: str, after: str) -> None:
        planted = "[[planted]]\nfile = 'lib/tank.py'\nwhy = ''\nbefore = '{}'\nafter = '{}'\nexpect = '{}'\n"
        self.write(
            f"{FOLDER}/mutants.toml",
            "[[group]]\nname = 'toy'\nfiles = ['lib/*.py']\ntests = ['tests']\n"
            + planted.format(before, after, "killed")
            + planted.format("def full", "def  full", "survived"),
        )

    def lists(self, *names: str) -> None:
        entry = "[[listed]]\nfile = 'lib/tank.py'\nreason = 'a reason'\nmutants = "
        self.write(f"{FOLDER}/listed.toml", entry + json.dumps(names))

    @property
    def command(self) -> list[str]:
        return [sys.executable, str(ROOT / "tools" / "mutants.py"), "--jobs", "1"]

    def run(self, *options: str) -> tuple[int, str]:
        done = subprocess.run([*self.command, *options], cwd=self.root, capture_output=True, text=True, timeout=120)
        return done.returncode, done.stdout + done.stderr

    def diary(self) -> list[dict[str, str]]:
        """Every verdict that was ever reached on the source as it is."""
        path = self.root / BUILD / "lib.tank.py.jsonl"
        return [json.loads(line) for line in path.read_text().splitlines()[1:]] if path.exists() else []


@pytest.fixture
def toy(tmp_path: Path) -> Toy:
    return Toy(tmp_path)


def test_survivor_fails_until_listed_a_listed_one_that_dies_fails_too_and_an_old_outcome_is_open(toy: Toy) -> None:
    toy.write("tests/test_tank.py", BLUNT)
    status, said = toy.run()
    assert status == 1
    lives = re.findall(r"^lib/tank.py: survived: (.*)$", said, re.MULTILINE)
    assert sorted(lives) == [
        "full: def full(level, spare=0): -> def full(level, spare=1):",
        "full: return level + spare > FULL -> return level + spare >= FULL",
        "table: FULL = 9 -> FULL = 10",
        "table: FULL = 9 -> FULL = 8",
    ]
    row = read_results(toy.root)["lib/tank.py"]
    assert (row["killed"], row["survived"]) == ("1", "4")

    toy.lists(*lives)
    status, said = toy.run()
    assert status == 0, said
    assert len(toy.diary()) == int(row["mutants"]) + len(lives), "only what lived is tried again"
    assert open_files(read_plan(toy.root), read_results(toy.root)) == []

    toy.write("lib/tank.py", TANK + "# changed\n")
    assert open_files(read_plan(toy.root), read_results(toy.root)) == ["lib/tank.py"]
    toy.write("tests/test_tank.py", SHARP)
    toy.lists(lives[0], "full: no such line -> at all")
    status, said = toy.run()
    assert status == 1
    assert f"lib/tank.py: listed, and died: {lives[0]}" in said
    assert "lib/tank.py: listed, and no mutant of it: full: no such line -> at all" in said


def test_interrupted_run_loses_nothing(toy: Toy) -> None:
    run = subprocess.Popen(toy.command, cwd=toy.root, stdout=subprocess.PIPE, text=True)
    deadline = time.monotonic() + 60
    while len(toy.diary()) < 2 and time.monotonic() < deadline:
        time.sleep(0.02)
    run.send_signal(signal.SIGINT)
    said, _ = run.communicate(timeout=60)
    assert run.returncode == 130, said
    assert len(toy.diary()) >= 2
    assert not (toy.root / RESULTS).exists()
    status, said = toy.run()
    assert status == 0, said
    names = [verdict["name"] for verdict in toy.diary()]
    assert len(names) == len(set(names)) == int(read_results(toy.root)["lib/tank.py"]["mutants"])


def test_run_that_would_prove_nothing_is_refused(toy: Toy) -> None:
    """A planted mutant lives; the tests fail as they are; no test loads the file."""
    for test, told in (
        (BLUNT, "found survived, wanted killed"),
        (TEST.format(0, 0), "the tests fail as they are: tests/test_tank.py::test_full"),
        ("def test_nothing():\n    pass\n", "no test of toy loads lib/tank.py"),
    ):
        toy.plant("> FULL", ">= FULL")
        toy.write("tests/test_tank.py", test)
        status, said = toy.run()
        assert (status, said.splitlines()[-1].endswith(told)) == (2, True), said


def test_mutant_that_hangs_dies(toy: Toy) -> None:
    toy.write("lib/tank.py", "def full(level):\n    while level > 9:\n        level = 8\n    return level\n")
    toy.write("tests/test_tank.py", "from tank import full\n\n\ndef test_full():\n    assert full(10) == 8\n")
    toy.plant("level = 8", "level = 7")
    toy.write(f"{FOLDER}/by_hand.toml", "[[mutant]]\nfile = 'lib/tank.py'\nbefore = '= 8'\nafter = '= 10'\nwhy = ''\n")
    toy.run()
    assert [verdict["verdict"] for verdict in toy.diary() if verdict["by"] == "(hangs)"] == ["killed"]


def test_bad_input_is_one_clear_line(toy: Toy) -> None:
    assert toy.run("--only", "lib/no.py") == (
        2,
        "mutants: --only: found lib/no.py; wanted a file of tests/mutants/mutants.toml\n",
    )
    toy.write(f"{FOLDER}/by_hand.toml", "[[mutant]]\nfile = 'lib/tank.py'\nbefore = '> EMPTY'\nafter = '0'\nwhy = ''\n")
    status, said = toy.run()
    assert status == 2
    assert said.splitlines()[-1].endswith("lib/tank.py: '> EMPTY' stands 0 times in the file; wanted once")
