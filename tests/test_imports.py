"""The direction of imports, read from the source: what is pure stays pure.

Pure packages decide; they import neither the web, the database nor the network, and read no clock, chance or environment.
"""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

PACKAGE = Path(__file__).resolve().parent.parent / "intakebot"
PURE = (
    "definitions",
    "understanding",
    "conversation",
    "triage",
    "quoting",
    "packing",
    "assess.py",
    "sheets.py",
)
OUTSIDE = {
    "flask",
    "werkzeug",
    "sqlalchemy",
    "alembic",
    "requests",
    "urllib3",
    "http",
    "socket",
    "smtplib",
    "subprocess",
}
UPWARDS = {
    f"intakebot.{name}"
    for name in ("web", "records", "channels", "documents", "turns", "workshop", "cli", "settings", "server")
}
READS = {
    ("datetime", "now"), ("datetime", "today"), ("datetime", "utcnow"), ("date", "today"), ("time", "time"), ("time", "monotonic"),
    ("time", "perf_counter"), ("os", "environ"), ("os", "getenv"), ("random", "random"), ("random", "choice"), ("random", "randint"),
    ("random", "shuffle"), ("random", "sample"), ("uuid", "uuid4"), ("secrets", "token_bytes"), ("secrets", "token_urlsafe"), ("np.random", "rand"),
    ("np.random", "random"), ("np.random", "normal"), ("os", "urandom"),
}  # fmt: skip
ORDER = ("definitions", "understanding", "triage", "quoting", "packing", "conversation")
"""A pure package may import those before it, never those after."""


def sources(name: str) -> list[Path]:
    place = PACKAGE / name
    return [place] if place.suffix == ".py" else sorted(place.rglob("*.py"))


def imports(path: Path) -> Iterator[str]:
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom) and node.module:
            yield node.module


def reads(path: Path) -> Iterator[str]:
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Attribute) and (ast.unparse(node.value), node.attr) in READS:
            yield f"{path.name}:{node.lineno} {ast.unparse(node)}"


def command_line_only(path: Path) -> bool:
    """`python -m` entry points read arguments and files; they decide nothing."""
    return path.name in ("__main__.py", "evaluate.py")


@pytest.mark.parametrize("package", PURE)
def test_pure_package_imports_nothing_from_outside_or_above(package: str):
    wrong = [
        f"{path.name}: {module}"
        for path in sources(package)
        for module in imports(path)
        if module.split(".")[0] in OUTSIDE
        or any(module == up or module.startswith(up + ".") for up in UPWARDS)
    ]

    assert sources(package)
    assert wrong == []


@pytest.mark.parametrize("package", PURE)
def test_pure_package_reads_no_clock_chance_or_environment(package: str):
    assert [found for path in sources(package) if not command_line_only(path) for found in reads(path)] == []


def test_only_records_imports_the_database_and_only_web_imports_flask():
    for path in sorted(PACKAGE.rglob("*.py")):
        top = path.relative_to(PACKAGE).parts[0]
        roots = {module.split(".")[0] for module in imports(path)}
        assert top == "records" or not roots & {"sqlalchemy", "alembic"}, path
        assert top in ("web", "serving.py") or "flask" not in roots, path


@pytest.mark.parametrize("package", ORDER)
def test_pure_packages_import_only_those_before_them(package: str):
    later = {f"intakebot.{name}" for name in ORDER[ORDER.index(package) + 1 :]}
    wrong = [
        f"{path.name}: {module}"
        for path in sources(package)
        for module in imports(path)
        if not command_line_only(path)
        and any(module == name or module.startswith(name + ".") for name in later)
    ]

    assert wrong == []


def test_this_test_would_see_a_clock_and_a_database(tmp_path: Path):
    """The check can fail: a planted file is caught."""
    planted = tmp_path / "planted.py"
    planted.write_text(
        "import sqlalchemy\nfrom datetime import datetime\nx = datetime.now()\n", encoding="utf-8"
    )

    assert "sqlalchemy" in list(imports(planted))
    assert list(reads(planted)) == ["planted.py:3 datetime.now"]
