"""Rules for the law's source that no run can show: integers only, attributes set in the constructor, small files."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

LAW = sorted((Path(__file__).parents[2] / "firmware" / "changeover").glob("*.py"))
TREES = {path.name: ast.parse(path.read_text()) for path in LAW}
CLASSES = {node.name: node for tree in TREES.values() for node in ast.walk(tree) if isinstance(node, ast.ClassDef)}


@pytest.mark.parametrize("name", TREES)
def test_law_knows_integers_only(name: str) -> None:
    for node in ast.walk(TREES[name]):
        if isinstance(node, ast.Constant):
            assert not isinstance(node.value, float | complex), node.lineno
        if isinstance(node, ast.BinOp | ast.AugAssign):
            assert not isinstance(node.op, ast.Div), node.lineno
        if isinstance(node, ast.Name):
            assert node.id not in ("float", "round", "divmod", "pow"), node.lineno


def assigned(function: ast.FunctionDef) -> set[str]:
    """Attributes of self that this function assigns."""
    found = set()
    for node in ast.walk(function):
        targets = node.targets if isinstance(node, ast.Assign) else []
        if isinstance(node, ast.AugAssign | ast.AnnAssign):
            targets = [node.target]
        for target in targets:
            for part in ast.walk(target):
                if isinstance(part, ast.Attribute) and isinstance(part.value, ast.Name) and part.value.id == "self":
                    found.add(part.attr)
    return found


def constructed(name: str) -> set[str]:
    """Attributes that the constructors of this class and its bases assign."""
    node = CLASSES[name]
    bases = [base.id for base in node.bases if isinstance(base, ast.Name) and base.id in CLASSES]
    found = set().union(*(constructed(base) for base in bases))
    for item in node.body:
        if isinstance(item, ast.FunctionDef) and item.name == "__init__":
            found |= assigned(item)
    return found


@pytest.mark.parametrize("name", CLASSES)
def test_every_attribute_is_set_in_the_constructor(name: str) -> None:
    """A later one makes MicroPython's dictionary of the object grow: an allocation in the middle of a drive."""
    known = constructed(name)
    assert known
    for item in CLASSES[name].body:
        if isinstance(item, ast.FunctionDef):
            assert assigned(item) <= known, item.name


@pytest.mark.parametrize("path", LAW, ids=TREES)
def test_file_is_small_enough_to_read_at_once(path: Path) -> None:
    assert len(path.read_text().splitlines()) <= 155
