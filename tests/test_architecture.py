"""Who may import whom, and what the pure folders must not touch (see DEVELOPERS.md)."""

import ast
import sys
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parent.parent / "assistant"
MAY_IMPORT = {
    "cable": set(),
    "words": {"cable"},
    "hearing": {"cable", "words", "ports"},
    "dialogue": {"cable", "words"},
    "session": {"cable", "words", "dialogue", "ports", "errors", "texts"},
    "account": {"cable", "words", "dialogue", "session", "ports", "errors", "texts"},
    "handover": {"cable", "words", "dialogue", "account", "errors", "texts", "mending"},
    "crew": {"cable", "words", "dialogue", "session", "account", "ports", "errors", "texts", "mending"},
    "errors": set(),
    "mending": set(),
    "texts": set(),
    "ports": {"words"},
    "adapters": {"cable", "words", "hearing", "dialogue", "ports", "errors", "texts", "mending"},
    "app": {
        *("cable", "words", "hearing", "dialogue", "session", "account", "handover", "crew", "ports", "adapters"),
        *("errors", "texts", "mending"),
    },
}
"""Folder -> folders of ours that it may import, besides itself."""
PURE = (
    "cable",
    "words",
    "hearing",
    "dialogue",
    "session/quick.py",
    "session/record.py",
    "session/replay.py",
    "session/salvage.py",
    "session/snapshot.py",
    "account",
)
IMPURE_MODULES = {"os", "pathlib", "time", "threading", "socket", "uuid", "logging", "subprocess", "sys", "queue"}
IMPURE_CALLS = {"open", "print", "input"}
OUTSIDE_ALLOWED_IN_PURE = {"numpy", "immutables", "cattrs", "msgspec"}
OUTSIDE_INSIDE = ("adapters", "crew")
"""Folders whose outside libraries may be missing."""
LONGEST_FUNCTION = 60

FILES = sorted(PACKAGE.rglob("*.py"))


def place(path: Path) -> str:
    relative = path.relative_to(PACKAGE)
    return relative.parts[0] if len(relative.parts) > 1 else relative.stem


def imports(tree: ast.AST) -> list[str]:
    found = []
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            found += [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom) and node.module:
            found.append(node.module)
    return found


def is_pure(path: Path) -> bool:
    return any(path.is_relative_to(PACKAGE / pure) for pure in PURE)


def test_there_are_files_to_look_at() -> None:
    assert len(FILES) > 30
    assert {place(path) for path in FILES} >= set(MAY_IMPORT)


@pytest.mark.parametrize("path", FILES, ids=lambda path: str(path.relative_to(PACKAGE)))
def test_a_file_imports_only_what_its_folder_may(path: Path) -> None:
    here = place(path)
    if here not in MAY_IMPORT:
        return
    for name in imports(ast.parse(path.read_text())):
        if name.startswith("assistant."):
            there = name.split(".")[1]
            assert there == here or there in MAY_IMPORT[here], f"{path.name} imports {name}"


@pytest.mark.parametrize("path", [path for path in FILES if is_pure(path)], ids=lambda path: path.name)
def test_pure_files_touch_nothing_outside(path: Path) -> None:
    tree = ast.parse(path.read_text())
    roots = {name.split(".")[0] for name in imports(tree)}
    assert not roots & IMPURE_MODULES
    outside = {root for root in roots if root not in sys.stdlib_module_names} - {"assistant"}
    assert outside <= OUTSIDE_ALLOWED_IN_PURE
    for node in ast.walk(tree):
        if isinstance(node, ast.Call):
            name = node.func.id if isinstance(node.func, ast.Name) else getattr(node.func, "attr", "")
            assert name not in (IMPURE_CALLS if isinstance(node.func, ast.Name) else {"now", "today"}), name


@pytest.mark.parametrize("path", [path for path in FILES if place(path) in OUTSIDE_INSIDE], ids=lambda path: path.name)
def test_outside_libraries_are_imported_only_inside_functions(path: Path) -> None:
    """Without PortAudio `import sounddevice` raises OSError; the rest must work all the same."""
    tree = ast.parse(path.read_text())
    for node in tree.body:
        if isinstance(node, ast.Import | ast.ImportFrom):
            for name in imports(node):
                root = name.split(".")[0]
                assert root in {"assistant", "numpy"} or root in sys.stdlib_module_names, name


@pytest.mark.parametrize("path", FILES, ids=lambda path: str(path.relative_to(PACKAGE)))
def test_modules_say_what_they_are_and_functions_are_short(path: Path) -> None:
    tree = ast.parse(path.read_text())
    assert ast.get_docstring(tree), "a module says what it knows"
    for node in ast.walk(tree):
        if isinstance(node, ast.FunctionDef):
            length = (node.end_lineno or 0) - node.lineno + 1
            assert length <= LONGEST_FUNCTION, f"{node.name} has {length} lines"


def is_of_classes(pattern: ast.pattern) -> bool:
    match pattern:
        case ast.MatchClass(cls=ast.Name(id=name)):
            return name not in ("str", "int", "bool", "list", "dict", "tuple")
        case ast.MatchClass():
            return True
        case ast.MatchOr(patterns=patterns):
            return any(map(is_of_classes, patterns))
        case ast.MatchAs(pattern=inner) if inner is not None:
            return is_of_classes(inner)
        case _:
            return False


TOLD_ON = {("account/walk.py", "other"), ("dialogue/state.py", "work"), ("words/render.py", "_")}
"""The rest is handed to a function whose parameter mypy holds it against; any object is shown."""


@pytest.mark.parametrize("path", FILES, ids=lambda path: str(path.relative_to(PACKAGE)))
def test_every_match_over_classes_is_closed(path: Path) -> None:
    """So that mypy names every place that a new input, fact, effect, question or entry has not been put into."""
    for node in ast.walk(ast.parse(path.read_text())):
        for body in (getattr(node, "body", None), getattr(node, "orelse", None)):
            for place, statement in enumerate(body if isinstance(body, list) else []):
                if not isinstance(statement, ast.Match) or not any(is_of_classes(c.pattern) for c in statement.cases):
                    continue
                last = statement.cases[-1]
                behind = "".join(ast.unparse(one) for one in (last, *body[place + 1 : place + 2]))
                rest = last.pattern.name or "_" if isinstance(last.pattern, ast.MatchAs) else ""
                told_on = (str(path.relative_to(PACKAGE)), rest) in TOLD_ON
                assert "assert_never" in behind or told_on, f"{path.name}:{statement.lineno}"
