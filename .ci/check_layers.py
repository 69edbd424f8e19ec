"""House rules that a program can check; prints each breach and exits 1 if there is one.

1. Imports go one way: a module imports only packages of lower rank, or its own package.
2. Nothing inside imports the facade, `tracelens` itself.
3. Inside a package, modules import each other without a cycle.
4. No module is longer than 400 lines.
5. No table is walked row by row in Python, except on a line marked `# one pass: WHY`, or
   `# few rows: WHY` where the table is small whatever the size of the log.
"""

import ast
import graphlib
import re
import sys
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
PACKAGE = ROOT / "tracelens"
LONGEST = 400

RANKS: list[set[str]] = [
    {"errors", "units", "version", "compiled", "plain", "handed", "room", "sealed", "samples"},
    {"model", "numbers", "files"},
    {"spans"},
    {"log", "formats", "theory"},
    {"probe"},
    {"capture"},
    {"engine"},
    {"reconstruct"},
    {"measures"},
    {"findings"},
    {"analysis", "reading"},
    {"convert", "cutting", "explanation", "observed", "comparison", "verdicts", "exercises"},
    {"history", "replay"},
    {"drawing"},
    {"report"},
    {"batch", "testing"},
    {"pytest_plugin"},
    {"web"},
    {"cli"},
]
RANK = {name: rank for rank, names in enumerate(RANKS) for name in names}
FACES = {"__init__", "__main__"}  # tracelens/__init__.py and __main__.py may import anything

ROW_LOOP = re.compile(r"\.(iter_rows|iter_slices|rows)\(|\.map_elements\(|\.map_rows\(")
MARK = re.compile(r"#.*\b(one pass|few rows): \S")


def modules() -> Iterator[tuple[str, Path]]:
    """Dotted name without the leading `tracelens.`, and file, of every module."""
    for path in sorted(PACKAGE.rglob("*.py")):
        parts = path.relative_to(PACKAGE).with_suffix("").parts
        yield ".".join(parts[:-1] if parts[-1] == "__init__" and parts[:-1] else parts), path


def imports(tree: ast.AST) -> Iterator[tuple[int, str]]:
    """(line, dotted name below `tracelens`) of every import of the package, '' for the facade."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            names = [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom) and node.level == 0 and node.module:
            names = [f"{node.module}.{alias.name}" for alias in node.names]
        else:
            continue
        for name in names:
            head, _, rest = name.partition(".")
            if head == "tracelens":
                yield node.lineno, rest


def check_imports(name: str, path: Path, tree: ast.AST) -> Iterator[str]:
    own = name.split(".")[0]
    if own in FACES:
        return
    if own not in RANK:
        yield f"{path}:1: package {own!r} has no rank"
        return
    for line, target in imports(tree):
        other = target.split(".")[0]
        if other not in RANK:
            yield f"{path}:{line}: imports the facade or an unranked module: tracelens.{target}"
        elif other != own and RANK[other] >= RANK[own]:
            yield f"{path}:{line}: {own} imports {other}, which is not below it"


def check_cycles(trees: dict[str, tuple[Path, ast.Module]]) -> Iterator[str]:
    """Cycles among imports at load time (an import inside a function is none)."""
    graph: dict[str, set[str]] = {}
    for name, (_, tree) in trees.items():
        top = ast.Module([n for n in tree.body if not isinstance(n, ast.FunctionDef)], [])
        found = set()
        for _, target in imports(top):
            parent = target.rpartition(".")[0]
            module = target if target in trees else parent
            if module in trees and module != name:
                found.add(module)
        graph[name] = found
    try:
        graphlib.TopologicalSorter(graph).prepare()
    except graphlib.CycleError as error:
        yield f"{PACKAGE}: import cycle: {' → '.join(error.args[1])}"


def check_text(path: Path, text: str) -> Iterator[str]:
    lines = text.splitlines()
    if len(lines) > LONGEST:
        yield f"{path}:{LONGEST}: {len(lines)} lines, at most {LONGEST}"
    for number, line in enumerate(lines, 1):
        if ROW_LOOP.search(line) and not MARK.search(line):
            yield f"{path}:{number}: walks a table row by row: {line.strip()}"


def main() -> int:
    trees: dict[str, tuple[Path, ast.Module]] = {}
    breaches: list[str] = []
    for name, path in modules():
        text = path.read_text(encoding="utf-8")
        tree = ast.parse(text, str(path))
        trees[name] = (path, tree)
        breaches += check_imports(name, path, tree)
        breaches += check_text(path, text)
    breaches += check_cycles(trees)
    for breach in breaches:
        print(breach.replace(f"{ROOT}/", ""))
    print(f"house rules: {len(trees)} modules, {len(breaches)} breaches")
    return 1 if breaches else 0


if __name__ == "__main__":
    sys.exit(main())
