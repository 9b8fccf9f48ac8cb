"""The environment script, on stand-ins for Python: which it picks, what it says if none will do, what it skips."""

import os
import shutil
import subprocess
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
BROKEN_SHIM = "#!/bin/sh\nexit 127\n"

# Answers what the script asks of an interpreter; as `-m venv` it makes an interpreter that logs its arguments.
STAND_IN = """#!/bin/sh
case "$*" in
*'print('*) echo {version} ;;
*'sys.exit('*) exit {too_old} ;;
*ensurepip*) exit {no_venv} ;;
'-m venv .venv')
    mkdir -p .venv/bin
    printf '#!/bin/sh\\necho "$@" >>pip.log\\n' >.venv/bin/python
    chmod +x .venv/bin/python
    echo {version} >picked ;;
*) exit 99 ;;
esac
"""


@pytest.fixture
def tree(tmp_path: Path) -> Path:
    """A folder with a space in its name, holding just what the script reads, and `path/` to be the whole of PATH."""
    tree = tmp_path / "a tree"
    lists = ("run.txt", "test.txt", "bench.txt", "node.txt", "stubs.txt", "package.json", "package-lock.json")
    for name in ("tools/environment.sh", *(f"requirements/{name}" for name in lists)):
        (tree / name).parent.mkdir(parents=True, exist_ok=True)
        shutil.copy(ROOT / name, tree / name)
    for name in ("pyproject.toml", "firmware/changeover/__init__.py"):
        (tree / name).parent.mkdir(parents=True, exist_ok=True)
        (tree / name).write_text("1", "utf-8")
    (tree / "path").mkdir()
    for tool in ("sh", "cat", "cksum", "date", "dirname", "rm", "mkdir", "chmod", "cp"):
        (tree / "path" / tool).symlink_to(shutil.which(tool) or tool)
    put(tree, "node", "#!/bin/sh\n")
    put(tree, "npm", '#!/bin/sh\n[ "$1" != ci ] || echo "$@" >>npm.log\n')
    return tree


def stand_in(tree: Path, name: str, version: str, *, too_old: bool = False, no_venv: bool = False) -> None:
    put(tree, name, STAND_IN.format(version=version, too_old=int(too_old), no_venv=int(no_venv)))


def put(tree: Path, name: str, script: str) -> None:
    path = tree / "path" / name
    path.parent.mkdir(exist_ok=True)
    path.write_text(script, "utf-8")
    path.chmod(0o755)


def run(tree: Path, wanted: str = "run", **environment: str) -> subprocess.CompletedProcess[str]:
    path = os.pathsep.join([str(tree / "path"), str(tree / "path/later")])
    command = [tree / "tools/environment.sh", wanted]
    return subprocess.run(command, env={"PATH": path} | environment, capture_output=True, text=True, timeout=60)


def asked(tree: Path) -> list[str]:
    """The installs since the last look, by what was installed."""
    log = tree / "pip.log"
    lines = log.read_text("utf-8").splitlines() if log.exists() else []
    log.unlink(missing_ok=True)
    return [line.rpartition(" ")[2] for line in lines if "pip install" in line]


def test_picks_the_newest_python_that_runs_and_has_venv(tree: Path) -> None:
    put(tree, "python3.14", BROKEN_SHIM)
    stand_in(tree, "python3.13", "3.13", no_venv=True)
    put(tree, "python3.12", BROKEN_SHIM)
    stand_in(tree, "later/python3.12", "3.12")
    stand_in(tree, "python3.11", "3.11")
    done = run(tree)
    assert done.returncode == 0, done.stderr
    assert (tree / "picked").read_text("utf-8") == "3.12\n"


def test_plain_python3_will_do_and_a_named_one_comes_first(tree: Path) -> None:
    stand_in(tree, "python3", "3.11")
    stand_in(tree, "other", "3.13")
    assert run(tree, PYTHON=str(tree / "path/other")).returncode == 0
    assert (tree / "picked").read_text("utf-8") == "3.13\n"
    assert run(tree).stderr == ""
    assert run(tree, PYTHON=str(tree / "path/python3")).returncode == 0
    assert (tree / "picked").read_text("utf-8") == "3.11\n"
    shutil.rmtree(tree / ".venv")
    (tree / "picked").unlink()
    assert run(tree).returncode == 0
    assert (tree / "picked").read_text("utf-8") == "3.11\n"


def test_says_which_one_package_to_install_when_venv_is_missing(tree: Path) -> None:
    stand_in(tree, "python3.12", "3.12", no_venv=True)
    stand_in(tree, "python3.11", "3.11", no_venv=True)
    done = run(tree)
    assert done.returncode == 1
    assert not (tree / ".venv").exists()
    assert "apt install python3.12-venv" in done.stderr or "Python 3.12's venv" in done.stderr
    assert "3.11" not in done.stderr


def test_says_what_it_found_when_every_python_is_too_old(tree: Path) -> None:
    stand_in(tree, "python3", "3.9", too_old=True)
    done = run(tree)
    assert done.returncode == 1
    assert "Python 3.11 or later is needed; found on PATH: 3.9." in done.stderr
    (tree / "path/python3").unlink()
    assert "found on PATH: none." in run(tree).stderr


def test_installs_once_and_again_only_when_a_list_changes(tree: Path) -> None:
    stand_in(tree, "python3.11", "3.11")
    run(tree)
    assert asked(tree) == ["requirements/run.txt", "."]
    again = run(tree)
    assert (asked(tree), again.stderr) == ([], "")
    run(tree, "test")
    assert asked(tree) == ["requirements/test.txt", "requirements/stubs.txt"]
    (tree / "requirements/run.txt").write_text("changed", "utf-8")
    run(tree, "test")
    assert asked(tree) == ["requirements/run.txt"]
    (tree / "pyproject.toml").write_text("changed", "utf-8")
    run(tree, "bench")
    assert asked(tree) == ["requirements/bench.txt", "."]


def test_a_moved_tree_and_a_dead_interpreter_are_made_anew(tree: Path) -> None:
    stand_in(tree, "python3.11", "3.11")
    run(tree)
    asked(tree)
    moved = tree.rename(tree.parent / "moved")
    assert "making .venv" in run(moved).stderr
    assert asked(moved) == ["requirements/run.txt", "."]
    put(moved, "../.venv/bin/python", BROKEN_SHIM)
    assert "making .venv" in run(moved).stderr


def test_npm_package_is_installed_once_and_again_when_its_lock_changes(tree: Path) -> None:
    stand_in(tree, "python3.11", "3.11")
    run(tree)
    assert not (tree / "npm.log").exists(), "nothing that the demo needs"
    for _ in range(2):
        run(tree, "test")
    assert (tree / "npm.log").read_text("utf-8").count("ci --prefix .venv/npm --ignore-scripts") == 1
    (tree / "requirements/package-lock.json").write_text("changed", "utf-8")
    run(tree, "test")
    assert (tree / "npm.log").read_text("utf-8").count("ci ") == 2
    assert (tree / ".venv/npm/package-lock.json").read_text("utf-8") == "changed"


@pytest.mark.parametrize("lacking", ["node", "npm"])
def test_node_comes_from_a_wheel_where_the_machine_lacks_it_or_its_npm(tree: Path, lacking: str) -> None:
    stand_in(tree, "python3.11", "3.11")
    put(tree, lacking, BROKEN_SHIM)
    assert run(tree, "test").returncode == 0
    assert "requirements/node.txt" in asked(tree)


def test_a_failed_npm_stops_nothing_and_is_tried_again(tree: Path) -> None:
    stand_in(tree, "python3.11", "3.11")
    put(tree, "npm", '#!/bin/sh\n[ "$1" != ci ]\n')
    for _ in range(2):
        done = run(tree, "test")
        assert done.returncode == 0
        assert "32-bit MicroPython could not be installed" in done.stderr


def test_a_failed_install_is_not_taken_for_done(tree: Path) -> None:
    stand_in(tree, "python3.11", "3.11")
    run(tree)
    (tree / "requirements/run.txt").write_text("changed", "utf-8")
    put(tree, "../.venv/bin/python", '#!/bin/sh\n[ "$1" = -c ]\n')
    assert run(tree).returncode != 0
    put(tree, "../.venv/bin/python", '#!/bin/sh\necho "$@" >>pip.log\n')
    asked(tree)
    run(tree)
    assert asked(tree) == ["requirements/run.txt"]
