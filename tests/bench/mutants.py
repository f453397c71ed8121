"""Which small changes of the program no test notices.

    nice python -m tests.bench.mutants assistant/hearing --tests tests/hearing [--seed N --most N]

Each mutant is one change in one place: a number, a comparison, and/or, a `not` left out, a name of a set left out.
It runs in a copy of the tree; the tests should fail. What survives is printed with its line, to be judged by hand:
either a test is missing, or the change makes no difference.
"""

import argparse
import ast
import copy
import random
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
COPIED = ("assistant", "tests", "pyproject.toml", "models_readme", "demo_sessions", "README.md", "DEVELOPERS.md")
WITHIN_S = 120.0
SWAPPED: dict[type[ast.cmpop], type[ast.cmpop]] = {
    ast.Lt: ast.LtE,
    ast.LtE: ast.Lt,
    ast.Gt: ast.GtE,
    ast.GtE: ast.Gt,
    ast.Eq: ast.NotEq,
    ast.NotEq: ast.Eq,
    ast.Is: ast.IsNot,
    ast.IsNot: ast.Is,
    ast.In: ast.NotIn,
    ast.NotIn: ast.In,
}
TURNED: dict[type[ast.operator], type[ast.operator]] = {ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Add}


@dataclass(frozen=True, slots=True)
class Mutant:
    """One change."""

    path: Path
    line: int
    about: str
    source: str


def changes(node: ast.AST) -> Iterator[tuple[str, ast.AST]]:
    """Give each change of one node: what it is, and the node in place of it."""
    match node:
        case ast.Constant(value=bool(value)):
            yield f"{value} -> {not value}", ast.Constant(not value)
        case ast.Constant(value=int(value) | float(value)):
            for other in (value * 10 + 1, value / 4 if isinstance(value, float) else value - 1):
                yield f"{value} -> {other}", ast.Constant(other)
        case ast.Compare(left, [operator], [right]) if type(operator) in SWAPPED:
            other = SWAPPED[type(operator)]
            yield f"{type(operator).__name__} -> {other.__name__}", ast.Compare(left, [other()], [right])
        case ast.BoolOp(operator, values):
            turned = ast.Or() if isinstance(operator, ast.And) else ast.And()
            yield f"{type(operator).__name__} -> {type(turned).__name__}", ast.BoolOp(turned, values)
        case ast.UnaryOp(ast.Not(), operand):
            yield "not left out", operand
        case ast.BinOp(left, operator, right) if type(operator) in TURNED:
            turned_to = TURNED[type(operator)]
            yield f"{type(operator).__name__} -> {turned_to.__name__}", ast.BinOp(left, turned_to(), right)
        case ast.Set(elts) if len(elts) > 1:
            for element in elts:
                rest = [other for other in elts if other is not element]
                yield f"without {ast.unparse(element)}", ast.Set(rest)
        case ast.Call(ast.Name("min" | "max" as name), arguments, keywords):
            other_name = ast.Name("max" if name == "min" else "min")
            yield f"{name} -> {other_name.id}", ast.Call(other_name, arguments, keywords)


class _Replaced(ast.NodeTransformer):
    def __init__(self, wanted: int, other: ast.AST) -> None:
        self._left, self._other = wanted, other

    def visit(self, node: ast.AST) -> ast.AST:
        self._left -= 1
        return self._other if self._left == -1 else self.generic_visit(node)


def nodes_in_order(node: ast.AST) -> Iterator[ast.AST]:
    """Give all nodes in the order in which a transformer visits them."""
    yield node
    for child in ast.iter_child_nodes(node):
        yield from nodes_in_order(child)


def mutants_of(path: Path) -> Iterator[Mutant]:
    """Give every mutant of a file."""
    tree = ast.parse(path.read_text())
    for number, node in enumerate(nodes_in_order(tree)):
        for about, other in changes(node):
            changed = _Replaced(number, other).visit(copy.deepcopy(tree))
            line = getattr(node, "lineno", 0)
            yield Mutant(path.relative_to(ROOT), line, about, ast.unparse(ast.fix_missing_locations(changed)))


def passes(tree: Path, tests: list[str]) -> bool:
    """Run the tests; those that hang do not pass."""
    command = [sys.executable, "-m", "pytest", "-x", "-q", "-p", "no:cacheprovider", "-p", "no:randomly", *tests]
    try:
        return subprocess.run(command, cwd=tree, capture_output=True, timeout=WITHIN_S, check=False).returncode == 0
    except subprocess.TimeoutExpired:
        return False


def survives(mutant: Mutant, tree: Path, tests: list[str]) -> bool:
    """Run the tests on a mutant."""
    file = tree / mutant.path
    whole = file.read_text()
    file.write_text(mutant.source)
    try:
        return passes(tree, tests)
    finally:
        file.write_text(whole)


def main() -> int:
    """Try all mutants, or some drawn by lot, and list the survivors."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("places", nargs="+", type=Path, help="files or folders of the program")
    parser.add_argument("--tests", nargs="+", required=True)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--most", type=int, default=0, help="so many, drawn by lot; 0 for all")
    options = parser.parse_args()
    files = [file for place in options.places for file in ([place] if place.is_file() else sorted(place.rglob("*.py")))]
    mutants = [mutant for file in files for mutant in mutants_of(file.resolve())]
    if options.most:
        mutants = random.Random(options.seed).sample(mutants, min(options.most, len(mutants)))
    alive = 0
    with tempfile.TemporaryDirectory() as folder:
        tree = Path(folder)
        for name in COPIED:
            source = ROOT / name
            (shutil.copytree if source.is_dir() else shutil.copy)(source, tree / name)  # type: ignore[operator]
        if not passes(tree, options.tests):
            print("the tests fail as it is: no mutant can be told from that")
            return 1
        for mutant in mutants:
            if survives(mutant, tree, options.tests):
                alive += 1
                print(f"{mutant.path}:{mutant.line}: {mutant.about}", flush=True)
    print(f"{len(mutants)} mutants, {alive} survive")
    return 0


if __name__ == "__main__":
    sys.exit(main())
