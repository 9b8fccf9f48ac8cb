"""Another version of the law, from a folder or from git, put where a process can load it in place of ours."""

from __future__ import annotations

import io
import shutil
import subprocess
import zipfile
from pathlib import Path

import changeover
from host_sim.errors import InputError

_PACKAGE = "firmware/changeover"


def fetch(word: str, into: Path) -> Path:
    """A folder below `into` that holds the package `changeover` of this folder or git revision, and nothing else. Raises InputError."""
    folder = Path(word)
    if folder.is_dir():
        for place in (folder / "changeover", folder / _PACKAGE, folder):
            if (place / "law.py").is_file():
                shutil.copytree(place, into / "changeover", ignore=shutil.ignore_patterns("__pycache__", "*.so"))
                return into
        raise InputError("--firmware", word, f"a folder with changeover/law.py or {_PACKAGE}/law.py in it")
    tree = _tree()
    if tree is None:
        raise InputError("--firmware", word, "a folder; or a revision, run within the project's git tree")
    name = _git(tree, "rev-parse", "--verify", "--quiet", "--end-of-options", word + "^{commit}")
    if not name:
        raise InputError("--firmware", word, f"a folder, or a revision that git knows in {tree}")
    archive = _git(tree, "archive", "--format=zip", name.decode().strip(), _PACKAGE)
    if not archive:
        raise InputError("--firmware", word, f"a revision with {_PACKAGE} in it")
    with zipfile.ZipFile(io.BytesIO(archive)) as packed:
        packed.extractall(into)
    return into / "firmware"


def _tree() -> Path | None:
    """The git tree that holds the law: that of the working folder, else of the program itself."""
    for place in (Path.cwd(), Path(changeover.__file__).parent):
        top = _git(place, "rev-parse", "--show-toplevel")
        if top and (tree := Path(top.decode().strip())).joinpath(_PACKAGE).is_dir():
            return tree
    return None


def _git(place: Path, *words: str) -> bytes | None:
    try:
        done = subprocess.run(["git", "-C", str(place), *words], capture_output=True, check=False)
    except OSError:
        return None
    return done.stdout if done.returncode == 0 else None
