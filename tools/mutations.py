"""Which mutants a source file has: mutmut's for the code in functions, our own for the tables beside them.

mutmut changes functions only; half of what the law knows stands in tables at module level, as numbers, bits, names and
conditions in words. Both are plain texts here: one changed place in a whole file, to be tried by `mutants.py`.
"""

from __future__ import annotations

import ast
import re
from collections import Counter
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass

import libcst as cst
from libcst.metadata import CodeRange, MetadataWrapper, PositionProvider, WhitespaceInclusivePositionProvider
from mutmut.mutation import mutators
from mutmut.mutation.file_mutation import MutationVisitor, deep_replace
from mutmut.mutation.pragma_handling import IgnoredCode

Operator = Callable[..., Iterable[cst.CSTNode]]
Operators = list[tuple[type, Operator]]

# A condition written out in a table: each of these changed alone.
_WORDS = (
    (" < ", " <= "),
    (" > ", " >= "),
    (" < ", " > "),
    (" > ", " < "),
    (" and ", " or "),
    (" or ", " and "),
    ("not ", ""),
)


@dataclass(frozen=True)
class Mutant:
    """One changed place. `name` says which, by the lines before and after, so that it outlives edits elsewhere."""

    name: str
    line: int
    text: str


def mutants_of(code: str, prose: bool = False) -> list[Mutant]:
    """All mutants of this source, in the order of its lines; `prose`: its tables hold sentences, whose words stand."""
    wrapper = MetadataWrapper(cst.parse_module(code))
    positions = wrapper.resolve(PositionProvider)
    extents = wrapper.resolve(WhitespaceInclusivePositionProvider)
    whole = ast.dump(ast.parse(code))
    scopes = _scopes(code)
    neighbours, defined = _neighbours(code)
    found: list[tuple[int, str, str]] = []
    for operators, in_function in ((_code_operators(), True), (_table_operators(neighbours, prose), False)):
        visitor = MutationVisitor(operators, IgnoredCode(set(), set(), set()))
        module = wrapper.visit(visitor)
        for mutation in visitor.mutations:
            if (mutation.contained_by_top_level_function is not None) is not in_function:
                continue
            line = positions[mutation.original_node].start.line
            if isinstance(mutation.original_node, cst.Name) and line in defined:
                continue
            old, new = mutation.original_node, mutation.mutated_node
            text = _spliced(code, extents.get(old), old, new) or _replaced(module, old, new)
            if _is_another(text, whole):
                found.append((line, _name(code, text, scopes.get(line, "table")), text))
    seen: set[str] = set()
    counts: Counter[str] = Counter()
    mutants = []
    for line, name, text in sorted(found, key=lambda mutant: mutant[0]):
        if text not in seen:
            seen.add(text)
            counts[name] += 1
            mutants.append(Mutant(name if counts[name] == 1 else f"{name} #{counts[name]}", line, text))
    return mutants


def by_hand(code: str, before: str, after: str) -> Mutant:
    """The mutant that has `after` where `before` stands. Raises ValueError unless it stands there exactly once."""
    if code.count(before) != 1:
        raise ValueError(f"{before!r} stands {code.count(before)} times in the file; wanted once")
    line = code[: code.index(before)].count("\n") + 1
    text = code.replace(before, after)
    return Mutant(_name(code, text, _scopes(code).get(line, "table")), line, text)


def _spliced(code: str, extent: CodeRange | None, old: cst.CSTNode, new: cst.CSTNode) -> str:
    """The file with one node's text exchanged; empty where a node's text depends on what is around it."""
    if extent is None:
        return ""
    lines = code.splitlines(keepends=True)
    start = sum(map(len, lines[: extent.start.line - 1])) + extent.start.column
    end = sum(map(len, lines[: extent.end.line - 1])) + extent.end.column
    blank = cst.Module([])
    return code[:start] + blank.code_for_node(new) + code[end:] if code[start:end] == blank.code_for_node(old) else ""


def _replaced(module: cst.Module, old: cst.CSTNode, new: cst.CSTNode) -> str:
    changed = deep_replace(module, old, new)
    assert isinstance(changed, cst.Module)
    return changed.code


def _is_another(text: str, whole: str) -> bool:
    try:
        return ast.dump(ast.parse(text)) != whole
    except SyntaxError:
        return False


def _name(code: str, text: str, scope: str) -> str:
    before, after = code.splitlines(), text.splitlines()
    while before and after and before[0] == after[0]:
        del before[0], after[0]
    while before and after and before[-1] == after[-1]:
        del before[-1], after[-1]
    old, new = (" ".join(line.strip() for line in lines) for lines in (before, after))
    return f"{scope}: {old} -> {new}"


def _scopes(code: str) -> dict[int, str]:
    """Line to the qualified name of the innermost function or class around it."""
    scopes: dict[int, str] = {}

    def walk(node: ast.AST, outer: str) -> None:
        for child in ast.iter_child_nodes(node):
            inner = outer
            if isinstance(child, ast.FunctionDef | ast.ClassDef):
                inner = f"{outer}.{child.name}" if outer else child.name
                scopes.update(dict.fromkeys(range(child.lineno, (child.end_lineno or child.lineno) + 1), inner))
            walk(child, inner)

    walk(ast.parse(code), "")
    return scopes


def _code_operators() -> Operators:
    """mutmut's own, but no literal becomes None: None stands in for 0 and False, and their other values are tried."""

    def assignment(node: cst.Assign | cst.AnnAssign) -> Iterator[cst.CSTNode]:
        value = node.value.expression if isinstance(node.value, cst.UnaryOperation) else node.value
        literal = isinstance(value, cst.BaseNumber) or (
            isinstance(value, cst.Name) and value.value in ("True", "False")
        )
        if not literal:
            yield from mutators.operator_assignment(node)

    return [
        (node, assignment if operator is mutators.operator_assignment else operator)
        for node, operator in mutators.mutation_operators
    ]


def _table_operators(neighbours: dict[str, str], prose: bool) -> Operators:
    """Each number one up and one down, each bit and operator changed, each condition in words, each name its neighbour."""

    def number_down(node: cst.Integer | cst.Float) -> Iterator[cst.CSTNode]:
        value = node.evaluated_value
        yield cst.parse_expression(f"({value - 1!r})") if value < 1 else node.with_changes(value=repr(value - 1))

    def name(node: cst.Name) -> Iterator[cst.CSTNode]:
        if node.value in neighbours:
            yield node.with_changes(value=neighbours[node.value])

    def text(node: cst.SimpleString) -> Iterator[cst.CSTNode]:
        if node.quote in ('"""', "'''"):
            return
        yield node.with_changes(value=f"{node.prefix}{node.quote}XX{node.raw_value}{node.quote}")
        for old, new in _WORDS:
            for match in re.finditer(re.escape(old), node.raw_value):
                start, end = match.span()
                changed = node.raw_value[:start] + new + node.raw_value[end:]
                yield node.with_changes(value=f"{node.prefix}{node.quote}{changed}{node.quote}")

    operators: Operators = [
        (cst.BaseNumber, mutators.operator_number),
        (cst.Integer, number_down),
        (cst.Float, number_down),
        (cst.Name, mutators.operator_name),
        (cst.Name, name),
        (cst.CSTNode, mutators.operator_swap_op),
        (cst.UnaryOperation, mutators.operator_remove_unary_ops),
    ]
    return operators if prose else [*operators, (cst.SimpleString, text)]


def _neighbours(code: str) -> tuple[dict[str, str], set[int]]:
    """Constants that are defined together (`A, B, C = range(3)`): each one's next; and the lines that name them first."""
    neighbours: dict[str, str] = {}
    lines: set[int] = set()
    for node in ast.parse(code).body:
        if isinstance(node, ast.Assign) and isinstance(node.targets[0], ast.Tuple):
            names = [element.id for element in node.targets[0].elts if isinstance(element, ast.Name)]
            neighbours.update(zip(names, names[1:] + names[:1], strict=True))
            lines.update(element.lineno for element in node.targets[0].elts)
    return neighbours, lines
