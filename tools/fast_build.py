"""Compiles the law and the hot files of the simulated car with mypyc into build/fast. Plain Python stays the default.

    python tools/fast_build.py
    PYTHONPATH=build/fast .venv/bin/secondtank drive winter_commute

build/fast holds the packages `changeover` and `host_sim` byte for byte, and beside the files that matter what the
compiler made of them, which Python prefers. Same seed, same bytes as plain. Does nothing when it is up to date.
"""

from __future__ import annotations

import ast
import hashlib
import os
import shutil
import sys
import sysconfig
from importlib.metadata import version
from importlib.util import find_spec
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
OUT = ROOT / "build" / "fast"
PACKAGES = (ROOT / "firmware" / "changeover", ROOT / "host_sim")
# mypyc lets the modules of one group wait for each other; constants that a module takes from another by `module.NAME`
# while it is loaded must therefore stand in a group of their own.
TABLES = (
    "changeover/reasons.py", "changeover/row_names.py", "changeover/rows.py", "changeover/sensing.py",
    "changeover/settings.py", "host_sim/errors.py", "host_sim/ntc.py", "host_sim/pressure.py",
)  # fmt: skip
HOT = (
    "car", "drive", "faults", "filter_model", "fluids", "fuel_path", "hazards", "ideal", "loop", "run_on", "signals",
    "supply", "thermal", "truth", "valves", "virtual_board",
)  # fmt: skip
_NUMBERS = (ast.Constant, ast.UnaryOp, ast.BinOp)


def lacking() -> str | None:
    """What this machine lacks for the build, or None."""
    for package in ("mypyc", "setuptools"):
        if find_spec(package) is None:
            return f"{package} is not installed: `make fast` installs it"
    compiler = (os.environ.get("CC") or sysconfig.get_config_var("CC") or "cc").split()[0]
    if shutil.which(compiler) is None:
        return f"there is no C compiler ({compiler})"
    header = Path(sysconfig.get_path("include"), "Python.h")
    return None if header.exists() else f"Python's headers are not installed ({header})"


def key() -> str:
    """What a build is made from: the sources, this file, Python and mypyc."""
    digest = hashlib.sha256(f"{sys.version} {version('mypy')}".encode())
    for path in (Path(__file__), *(path for package in PACKAGES for path in sorted(package.rglob("*.*")))):
        if path.is_file() and path.suffix != ".pyc":
            digest.update(f"{path.relative_to(ROOT)}".encode() + b"\0" + path.read_bytes() + b"\0")
    return digest.hexdigest()


def up_to_date() -> bool:
    """Is there a build, and is it of the present sources?"""
    made_from = OUT / "key"
    return made_from.exists() and find_spec("mypyc") is not None and made_from.read_text("utf-8") == key()


def build() -> None:
    """Make build/fast anew, whole or not at all. Leaves the working directory inside; exits where mypy objects."""
    made_from = key()
    part = OUT.with_name("fast.part")
    shutil.rmtree(part, ignore_errors=True)
    for package in PACKAGES:
        shutil.copytree(package, part / package.name, ignore=shutil.ignore_patterns("__pycache__"))
    os.chdir(part)
    law = [str(path) for path in sorted(Path("changeover").glob("*.py")) if path.name != "__init__.py"]
    hot = [name for name in (*law, *(f"host_sim/{name}.py" for name in HOT)) if name not in TABLES]
    plain = {Path(name): Path(name).read_bytes() for name in (*hot, *TABLES)}
    for path, source in plain.items():
        path.write_text(for_compiler(source.decode()), "utf-8")
    _compile(hot)
    for path, source in plain.items():
        path.write_bytes(source)
    for folder in ("c", "build", ".mypy_cache"):
        shutil.rmtree(folder, ignore_errors=True)
    Path("key").write_text(made_from, "utf-8")
    shutil.rmtree(OUT, ignore_errors=True)
    part.rename(OUT)


def _compile(hot: list[str]) -> None:
    from mypyc.build import mypycify
    from setuptools import setup

    groups = [(list(TABLES), "secondtank_tables"), (hot, "secondtank_hot")]
    options = ["--explicit-package-bases", "--follow-imports=silent", "--ignore-missing-imports"]
    extensions = mypycify([*options, *hot, *TABLES], opt_level="1", debug_level="0", separate=groups, target_dir="c")
    if os.name == "posix":
        for extension in extensions:
            # a fused multiply-add rounds once where Python rounds twice
            extension.extra_compile_args.append("-ffp-contract=off")
    words = ["--quiet", "build_ext", "--inplace", "--parallel", str(os.cpu_count() or 1)]
    setup(name="fast", packages=[], py_modules=[], ext_modules=extensions, script_args=words)  # pyright: ignore[reportArgumentType]


def for_compiler(source: str) -> str:
    """The source line for line, with two words that mypyc needs and MicroPython lacks.

    Module constants become `Final`: else each use is a look-up by name, which costs half of the gain. Classes may be
    copied, for forks; mypyc's own word for that, `serializable`, skips `__init__`, the one for
    subclasses does not.
    """
    lines = source.split("\n")
    head = 0
    for node in ast.parse(source).body:
        first, last = node.lineno - 1, node.end_lineno or 0
        if isinstance(node, ast.Expr) or (isinstance(node, ast.ImportFrom) and node.module == "__future__"):
            head = last
        elif isinstance(node, ast.ClassDef):
            above = min((decorator.lineno for decorator in node.decorator_list), default=node.lineno) - 2
            lines[above] += "@mypyc_attr(allow_interpreted_subclasses=True)"  # a blank line until now
        elif isinstance(node, ast.Assign) and len(node.targets) == 1:
            target = node.targets[0]
            if isinstance(target, ast.Name) and target.id.isupper() and isinstance(node.value, _NUMBERS):
                lines[first] = lines[first].replace(f"{target.id} = ", f"{target.id}: Final = ", 1)
            elif isinstance(target, ast.Tuple) and (values := _values(node.value)):
                pairs = zip(target.elts, values, strict=True)
                declared = "; ".join(f"{ast.unparse(name)}: Final = {value}" for name, value in pairs)
                lines[first:last] = [declared] + [""] * (last - first - 1)
    lines[head - 1] += "; from typing import Final; from mypy_extensions import mypyc_attr"
    return "\n".join(lines)


def _values(node: ast.expr) -> list[str]:
    """The single values of `range(...)` or of a tuple as source; empty for anything else."""
    if isinstance(node, ast.Tuple):
        return [ast.unparse(value) for value in node.elts]
    if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "range":
        return [str(value) for value in range(*map(ast.literal_eval, node.args))]
    return []


def main() -> None:
    """Build unless build/fast is up to date."""
    reason = lacking()
    if reason is not None:
        sys.exit(f"fast build: {reason}; plain Python does the same, only slower")
    if not up_to_date():
        build()


if __name__ == "__main__":
    main()
