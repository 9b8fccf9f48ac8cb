"""The lock: every requirement pinned with hashes, no address anywhere, and it covers what pyproject.toml asks for."""

import json
import re
import tomllib
from collections.abc import Iterator
from importlib.metadata import PackageNotFoundError, metadata
from pathlib import Path

import pytest
from packaging.requirements import Requirement
from packaging.specifiers import SpecifierSet
from packaging.utils import canonicalize_name

ROOT = Path(__file__).resolve().parents[2]
LISTS = ("run", "test", "bench", "node", "stubs")
HASH = re.compile(r"--hash=sha256:[0-9a-f]{64}")
ADDRESS = re.compile(r"://|\s@\s|^\s*(-[efi]|--(editable|index-url|extra-index-url|find-links|trusted-host))\b", re.M)
PYTHONS = ("3.11", "3.12", "3.13", "3.14")


def locked(text: str) -> Iterator[tuple[Requirement, list[str]]]:
    """Each requirement of a compiled list with its options (hashes)."""
    code = re.sub(r"^\s*#.*$", "", text, flags=re.M).replace("\\\n", " ")
    for line in filter(None, map(str.strip, code.splitlines())):
        wanted, *options = re.split(r"\s+(?=--)", line)
        yield Requirement(wanted), options


def faults(text: str) -> list[str]:
    """What is wrong with a compiled list; empty when every line is pinned, hashed and free of addresses."""
    found = [f"an address: {hit.group().strip()}" for hit in ADDRESS.finditer(text)]
    if found:
        return found
    for requirement, options in locked(text):
        if not re.fullmatch(r"==[^*,]+", str(requirement.specifier)):
            found.append(f"not pinned: {requirement}")
        if not options or not all(HASH.fullmatch(option) for option in options):
            found.append(f"no hash, or one that is no SHA-256: {requirement}")
    return found


def versions(name: str) -> dict[str, str]:
    pairs = locked((ROOT / f"requirements/{name}.txt").read_text("utf-8"))
    return {canonicalize_name(requirement.name): str(requirement.specifier)[2:] for requirement, _ in pairs}


@pytest.fixture(scope="module")
def project() -> dict:
    return tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))


@pytest.mark.parametrize("name", LISTS)
def test_every_requirement_is_pinned_and_hashed_without_an_address(name: str) -> None:
    assert versions(name)
    assert faults((ROOT / f"requirements/{name}.txt").read_text("utf-8")) == []


@pytest.mark.parametrize(
    "planted",
    [
        "simpy==4.1.2\n",
        "simpy>=4.1 --hash=sha256:" + 64 * "0",
        "simpy==4.* --hash=sha256:" + 64 * "0",
        "simpy==4.1.2 --hash=md5:" + 32 * "0",
        "--find-links wheels\nsimpy==4.1.2 --hash=sha256:" + 64 * "0",
        "simpy @ file:///tmp/simpy.whl --hash=sha256:" + 64 * "0",
        "-e .\n",
    ],
)
def test_the_check_sees_a_planted_fault(planted: str) -> None:
    assert faults(planted)


def test_what_the_project_asks_for_is_in_the_lock(project: dict) -> None:
    run, test, bench, node, stubs = (versions(name) for name in LISTS)
    groups = project["dependency-groups"]
    wanted = [(text, run) for text in project["project"]["dependencies"] + project["build-system"]["requires"]]
    wanted += [(text, test) for text in groups["test"] + groups["fast"]] + [(text, bench) for text in groups["bench"]]
    wanted += [(text, node) for text in groups["node"]] + [(text, stubs) for text in groups["stubs"]]
    for text, lock in wanted:
        requirement = Requirement(text)
        assert lock[canonicalize_name(requirement.name)] in requirement.specifier, text


def test_npm_lock_pins_and_hashes_what_is_asked_for_without_an_address() -> None:
    text = (ROOT / "requirements/package-lock.json").read_text("utf-8")
    asked = json.loads((ROOT / "requirements/package.json").read_text("utf-8"))["dependencies"]
    packages = json.loads(text)["packages"]
    assert asked == packages.pop("")["dependencies"]
    assert {f"node_modules/{name}": version for name, version in asked.items()} == {
        place: package["version"] for place, package in packages.items()
    }
    assert all(package["integrity"].startswith("sha512-") for package in packages.values())
    assert "://" not in text


def test_the_lists_agree_and_the_run_time_list_holds_no_test_package(project: dict) -> None:
    run, test = versions("run"), versions("test")
    assert run.items() <= test.items()
    assert not run.keys() & {canonicalize_name(Requirement(text).name) for text in project["dependency-groups"]["test"]}


def test_every_installed_pin_admits_every_python_of_the_lock() -> None:
    looked_at = 0
    for name, version in (versions("run") | versions("test")).items():
        try:
            facts = metadata(name)
        except PackageNotFoundError:
            continue  # its marker leaves this platform out
        if facts["Version"] == version and "Requires-Python" in facts:
            looked_at += 1
            assert set(SpecifierSet(facts["Requires-Python"]).filter(PYTHONS)) == set(PYTHONS), name
    assert looked_at > 20
