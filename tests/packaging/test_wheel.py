"""The wheel: installed somewhere else it gives the command, and carries the firmware byte for byte."""

import os
import subprocess
import sys
import sysconfig
import tomllib
import venv
from pathlib import Path
from zipfile import ZipFile

import pytest

from changeover import VERSION
from tests.needs import command, require

ROOT = Path(__file__).resolve().parents[2]


def files_below(folder: Path, pattern: str = "*") -> dict[str, bytes]:
    found = (path for path in folder.rglob(pattern) if path.is_file() and "__pycache__" not in path.parts)
    return {path.relative_to(folder).as_posix(): path.read_bytes() for path in found}


def run(*command: str | Path, cwd: Path) -> str:
    clean = {name: value for name, value in os.environ.items() if not name.startswith(("PYTHON", "COV_", "COVERAGE_"))}
    done = subprocess.run(command, cwd=cwd, env=clean, capture_output=True, text=True, timeout=300)
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("wheel")
    run(sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", folder, cwd=ROOT)
    (built,) = folder.glob("*.whl")
    return built


@pytest.fixture(scope="module")
def installed(wheel: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A fresh environment with the wheel; the environment that runs the tests lends the dependencies: no network."""
    folder = tmp_path_factory.mktemp("installed")
    venv.create(folder, with_pip=False, symlinks=os.name != "nt")
    python = folder / "bin/python"
    pip = [sys.executable, "-m", "pip", "--python", python, "install", "-q", "--disable-pip-version-check"]
    run(*pip, "--no-deps", "--no-index", wheel, cwd=folder)
    where = run(python, "-c", "import sysconfig; print(sysconfig.get_path('purelib'))", cwd=folder).strip()
    # A folder named in a .pth file lends its packages; its own .pth files, the editable install's too, stay unread.
    lent = {sysconfig.get_path("purelib"), sysconfig.get_path("platlib")}
    (Path(where) / "lent.pth").write_text("\n".join(sorted(lent)), "utf-8")
    return folder


def test_command_runs_from_another_folder(installed: Path, tmp_path: Path) -> None:
    assert "Usage: secondtank" in run(installed / "bin/secondtank", "--help", cwd=tmp_path)
    assert run(installed / "bin/secondtank", "--version", cwd=tmp_path).strip() == VERSION


def test_board_runs_the_firmware_that_the_wheel_carries(installed: Path, tmp_path: Path) -> None:
    micropython = require(command("micropython"), "MicroPython's Unix port")
    (installed / "bin/micropython").symlink_to(micropython)
    said = run(
        installed / "bin/secondtank", "board", "winter_commute", "--speed", "0", "--minutes", "0.1", cwd=tmp_path
    )
    assert "PARKED" in said


def test_firmware_in_the_wheel_is_the_importable_law_byte_for_byte(installed: Path, tmp_path: Path) -> None:
    ask = "import changeover, secondtank; print(changeover.__file__); print(secondtank.__file__)"
    law, tools = (Path(line).parent for line in run(installed / "bin/python", "-c", ask, cwd=tmp_path).splitlines())
    assert installed in law.parents
    assert installed in tools.parents
    data = files_below(tools / "firmware/changeover", "*.py")
    assert data == files_below(law, "*.py")
    assert "__init__.py" in data


def test_wheel_carries_the_whole_tree_of_firmware_and_car_data(wheel: Path) -> None:
    with ZipFile(wheel) as archive:
        inside = {name: archive.read(name) for name in archive.namelist()}
    for folder, place in (
        ("firmware", "secondtank/firmware"),
        ("host_sim", "host_sim"),
        ("tools/secondtank", "secondtank"),
    ):
        wanted = files_below(ROOT / folder)
        assert wanted
        assert {name: inside.get(f"{place}/{name}") for name in wanted} == wanted
    assert not [name for name in inside if name.endswith(".pyc") or name.split("/")[0] == "tests"]


def test_metadata_names_the_version_of_the_law_and_the_run_time_packages_only(wheel: Path) -> None:
    with ZipFile(wheel) as archive:
        text = archive.read(f"secondtank-{VERSION}.dist-info/METADATA").decode()
    project = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
    asked = sorted(line.partition(": ")[2] for line in text.splitlines() if line.startswith("Requires-Dist: "))
    extras = [
        f"{text}; extra == '{name}'" for name, texts in project["optional-dependencies"].items() for text in texts
    ]
    assert asked == sorted(project["dependencies"] + extras)
