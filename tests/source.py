"""The project's own files, as the tests of its shape read them."""

import ast
import shutil
import subprocess
from dataclasses import dataclass
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent


@dataclass(frozen=True)
class Import:
    """One imported module; *inside* a function or at the top."""

    target: str
    line: int
    inside: bool


@dataclass(frozen=True)
class Module:
    """A module of the package, parsed."""

    path: Path
    name: str
    tree: ast.Module

    @property
    def room(self) -> str:
        """The first name below `monitor`; "monitor" for the package itself."""
        return (self.name + ".").split(".")[1] or "monitor"

    def at(self, line: int) -> str:
        """Where, as an editor finds it."""
        return f"{self.path.relative_to(ROOT)}:{line}"

    def imports(self) -> list[Import]:
        """All imports, each ``from x import y`` as x.y."""
        found: list[Import] = []
        functions = {
            id(child)
            for node in ast.walk(self.tree)
            if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.Lambda)
            for child in ast.walk(node)
        }
        for node in ast.walk(self.tree):
            inside = id(node) in functions
            if isinstance(node, ast.Import):
                found += [Import(a.name, node.lineno, inside) for a in node.names]
            elif isinstance(node, ast.ImportFrom):
                found += [
                    Import(f"{node.module}.{a.name}", node.lineno, inside)
                    for a in node.names
                ]
        return found

    def calls(self) -> list[tuple[str, int]]:
        """Every call and its line: ``f``, ``.f`` of anything, ``x.f`` of a name."""
        found = []
        for node in ast.walk(self.tree):
            if not isinstance(node, ast.Call):
                continue
            if isinstance(node.func, ast.Name):
                found.append((node.func.id, node.lineno))
            elif isinstance(node.func, ast.Attribute):
                found.append((f".{node.func.attr}", node.lineno))
                if isinstance(node.func.value, ast.Name):
                    found.append((ast.unparse(node.func), node.lineno))
        return found


def parsed(path: Path) -> Module:
    """One module of the package."""
    parts = list(path.relative_to(ROOT).with_suffix("").parts)
    name = ".".join(parts[:-1] if parts[-1] == "__init__" else parts)
    return Module(path, name, ast.parse(path.read_text(encoding="utf-8")))


def package() -> list[Module]:
    """Every module of the package."""
    return [parsed(path) for path in sorted((ROOT / "monitor").rglob("*.py"))]


def kept_files() -> list[Path]:
    """What git keeps or would keep; skips where this is no clone."""
    if not shutil.which("git") or not (ROOT / ".git").exists():
        pytest.skip("no clone: git knows which files are kept")
    listed = subprocess.run(
        ["git", "ls-files", "-z", "--cached", "--others", "--exclude-standard"],
        cwd=ROOT,
        check=True,
        capture_output=True,
        text=True,
    ).stdout
    paths = [ROOT / name for name in listed.split("\0") if name]
    return [path for path in paths if path.is_file()]
