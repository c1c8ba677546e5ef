"""What each folder and room gives, and that giving it costs nothing beforehand."""

import ast
import importlib
import inspect
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
FOLDERS = ("analysis", "cli", "drivers", "records", "reports", "sim", "sweeps")
PACKAGES = sorted(
    ".".join(("halfpower", *face.parent.relative_to(ROOT).parts))
    for folder in FOLDERS
    for face in (ROOT / folder).rglob("__init__.py")
)
STUBS = sorted(stub for one in FOLDERS for stub in (ROOT / one).rglob("__init__.pyi"))
HEAVY = (
    *("numpy", "scipy", "pyvisa", "pyvisa_sim", "pydantic", "sqlalchemy"),
    *("alembic", "matplotlib", "jinja2", "rich", "schemdraw", "pyarrow"),
)


def face_of(stub: Path) -> str:
    """Name the package that a stub describes."""
    return ".".join(("halfpower", *stub.parent.relative_to(ROOT).parts))


@pytest.mark.parametrize("stub", STUBS, ids=face_of)
def test_a_face_gives_what_it_says_and_all_of_it_is_documented(stub: Path) -> None:
    """Each name of a stub is there, public, and says what it is for."""
    face = importlib.import_module(face_of(stub))
    said = [
        alias.asname
        for node in ast.parse(stub.read_text("utf-8")).body
        if isinstance(node, ast.ImportFrom)
        for alias in node.names
    ]
    assert sorted(said) == sorted(face.__all__)
    assert len(set(said)) == len(said)
    for name in said:
        given = getattr(face, name)
        assert not name.startswith("_")
        if inspect.isclass(given) or inspect.isfunction(given):
            assert (given.__doc__ or "").strip(), f"{name} has no docstring"


@pytest.mark.parametrize("folder", FOLDERS)
def test_a_folders_face_says_what_to_use(folder: str) -> None:
    """Whoever imports a folder finds its job and its names."""
    face = importlib.import_module(f"halfpower.{folder}")
    assert face.__doc__
    assert face.__all__


def test_faces_import_nothing_heavy() -> None:
    """All of them, the command too, leave numpy, VISA and the database unimported."""
    program = (
        "import sys, importlib, halfpower.cli.app; "
        f"[importlib.import_module(p) for p in {PACKAGES!r}]; "
        f"print(*(one for one in {HEAVY!r} if one in sys.modules))"
    )
    command = [sys.executable, "-c", program]
    done = subprocess.run(command, check=True, capture_output=True, text=True)  # noqa: S603  ours
    assert done.stdout.split() == []


def test_the_wheel_has_every_package() -> None:
    """`pyproject.toml` names each folder that has a face; setuptools takes no other."""
    settings = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))
    assert settings["tool"]["setuptools"]["packages"] == PACKAGES


@pytest.mark.parametrize("stub", STUBS, ids=face_of)
def test_no_name_of_a_face_is_a_modules(stub: Path) -> None:
    """Importing the module would put it in the name's place."""
    modules = {one.stem for one in stub.parent.glob("*.py")}
    modules |= {one.parent.name for one in stub.parent.glob("*/__init__.py")}
    assert not modules & set(importlib.import_module(face_of(stub)).__all__)
