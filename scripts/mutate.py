"""Breaks the package on purpose and counts how often its tests notice: scripts/mutate.py ROOM... [options]

    uv pip install --target /tmp/coverage coverage      # in no lock: only this script uses it
    PYTHONPATH=/tmp/coverage .venv/bin/python scripts/mutate.py core structures assess --work /tmp/mutants

A mutant is the package with one small change: a comparison moved by its boundary, a constant changed, a
condition turned round, a statement left out (`CHANGES` below). Of all mutants of a room a sample is drawn by
a seed, each alike likely. A copy of the package and its tests is made first, so that nothing in the checkout
changes; the change is made to the module as it is imported, in a process of its own for each mutant.

Which tests run against a mutant is told by one run of all tests in process under coverage: those that ran
the changed line, the ones of the room first, then the quickest, up to a budget of seconds. A mutant that only
other tests would notice counts as survived, so that the score is rather too low than too high. Tests that
start processes, a browser or a cluster do not count, nor do those on real extracts.

Left alone: docstrings, prose (a text with spaces), type hints, decorators, imports, ``__all__``.
Mutants that no test can tell from the package stand with the reason in scripts/mutants_alike.toml.

Results are kept in --work, one JSON line for each mutant; a later run goes on from there.
"""

from __future__ import annotations

import argparse
import ast
import hashlib
import importlib.abc
import importlib.util
import itertools
import json
import math
import os
import random
import re
import resource
import shutil
import signal
import sys
import tempfile
import time
import tomllib
import traceback
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parent.parent
ALIKE = ROOT / "scripts" / "mutants_alike.toml"
#: Tests that run in one process and quickly enough; all others are left out, see above.
TESTS = (
    *("tests/core", "tests/structures", "tests/network", "tests/routing", "tests/assess", "tests/sources"),
    *("tests/outputs", "tests/metamorphic", "tests/test_sample_town.py"),
)
LEFT_OUT = (
    *("tests/outputs/test_sheet.py", "tests/outputs/test_page.py", "tests/outputs/test_screen_page.py"),
    *("tests/sources/test_download.py", "tests/sources/test_real_data.py", "tests/sources/test_cache.py"),
    *("tests/sources/test_records.py", "tests/sources/test_place_names.py"),
)
#: The same for all tests, loaded once before the processes part.
HEAVY = (
    *("pytest", "hypothesis", "hypothesis.strategies", "numpy", "numba", "shapely", "pyproj", "networkx"),
    *("scipy.sparse.csgraph", "osmium", "opening_hours", "requests", "jinja2", "jsonschema", "pyarrow"),
    *("pyarrow.parquet", "pandas", "geopandas", "pyogrio", "lxml.etree"),
)


# --- the changes --------------------------------------------------------------------------------------

_COMPARED: dict[type[ast.cmpop], type[ast.cmpop]] = {
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
_BINARY: dict[type[ast.operator], type[ast.operator]] = {
    ast.Add: ast.Sub,
    ast.Sub: ast.Add,
    ast.Mult: ast.Div,
    ast.Div: ast.Mult,
    ast.FloorDiv: ast.Div,
    ast.Mod: ast.Div,
    ast.Pow: ast.Mult,
    ast.BitAnd: ast.BitOr,
    ast.BitOr: ast.BitAnd,
}
_SWAPPED = {
    a: b
    for pair in (
        ("min", "max"),
        ("any", "all"),
        ("floor", "ceil"),
        ("minimum", "maximum"),
        ("argmin", "argmax"),
        ("startswith", "endswith"),
        ("upper", "lower"),
        ("lstrip", "rstrip"),
        ("fullmatch", "match"),
    )
    for a, b in (pair, pair[::-1])
} | {"sorted": "list", "strip": "lstrip", "match": "search", "search": "match"}
CHANGES = (
    "comparison boundary, and/or, not, arithmetic, constant, swapped call, returned value, condition, filter"
)

Edit = Callable[[ast.AST], None]


def _set(field: str, value: Callable[[Any], Any]) -> Edit:
    def edit(node: ast.AST) -> None:
        setattr(node, field, value(getattr(node, field)))

    return edit


def _at(field: str, index: int, value: Callable[[Any], Any]) -> Edit:
    def edit(node: ast.AST) -> None:
        items = getattr(node, field)
        items[index] = value(items[index])

    return edit


def _text(node: ast.AST) -> bool:
    return isinstance(node, ast.JoinedStr) or (isinstance(node, ast.Constant) and isinstance(node.value, str))


def _edits(node: ast.AST) -> Iterator[tuple[str, Edit]]:
    """All changes of one node, each with its name."""
    if isinstance(node, ast.Compare):
        for i, op in enumerate(node.ops):
            if type(op) in _COMPARED:
                yield f"comparison {i}", _at("ops", i, lambda op: _COMPARED[type(op)]())
    elif isinstance(node, ast.BoolOp):
        yield "and/or", _set("op", lambda op: ast.Or() if isinstance(op, ast.And) else ast.And())
    elif isinstance(node, ast.BinOp):
        if type(node.op) in _BINARY and not (_text(node.left) or _text(node.right)):
            yield "arithmetic", _set("op", lambda op: _BINARY[type(op)]())
    elif isinstance(node, ast.AugAssign):
        if type(node.op) in _BINARY:
            yield "arithmetic", _set("op", lambda op: _BINARY[type(op)]())
    elif isinstance(node, ast.Constant):
        value = node.value
        if isinstance(value, bool):
            yield "constant", _set("value", lambda v: not v)
        elif isinstance(value, (int, float)):
            yield "constant", _set("value", lambda v: v + 1)
        elif isinstance(value, str) and not (" " in value.strip() and re.search("[a-z]{2}", value)):
            yield "constant", _set("value", lambda v: f"XX{v}XX")
    elif isinstance(node, ast.Call):
        func = node.func
        if isinstance(func, ast.Name) and func.id in _SWAPPED and not (func.id == "sorted" and node.keywords):
            yield "swapped call", _set("func", lambda f: ast.Name(_SWAPPED[f.id], f.ctx))
        elif isinstance(func, ast.Attribute) and func.attr in _SWAPPED:
            yield "swapped call", _set("func", lambda f: ast.Attribute(f.value, _SWAPPED[f.attr], f.ctx))
    elif isinstance(node, ast.Return) and not isinstance(node.value, ast.Constant | None):
        yield "returned value", _set("value", lambda _: ast.Constant(None))
    if isinstance(node, (ast.If, ast.IfExp, ast.While)):
        plain = isinstance(node.test, ast.Compare) and len(node.test.ops) == 1
        eq = plain and not isinstance(node.test.ops[0], (ast.Lt, ast.LtE, ast.Gt, ast.GtE))  # type: ignore[attr-defined]
        negated = isinstance(node.test, ast.UnaryOp) and isinstance(node.test.op, ast.Not)
        if not (eq or negated):
            yield "condition", _set("test", lambda test: ast.UnaryOp(ast.Not(), test))
    if isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.Not):
        yield "not", _set("op", lambda _: _Asserted())
    elif isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.USub):
        yield "arithmetic", _set("op", lambda _: ast.UAdd())
    if isinstance(node, ast.comprehension):
        for i in range(len(node.ifs)):
            yield f"filter {i}", _at("ifs", i, lambda _: ast.Constant(True))
    for field in ("body", "orelse", "finalbody"):
        for i, statement in enumerate(block if isinstance(block := getattr(node, field, None), list) else ()):
            if isinstance(statement, ast.Raise | ast.AugAssign) or (
                isinstance(statement, ast.Expr) and isinstance(statement.value, ast.Call)
            ):
                yield f"left out {field} {i}", _at(field, i, lambda _: ast.Pass())
            elif isinstance(statement, ast.Continue | ast.Break):
                other = ast.Break if isinstance(statement, ast.Continue) else ast.Continue
                yield f"loop {field} {i}", _at(field, i, lambda _, other=other: other())


class _Asserted(ast.Not):
    """Stands for a `not` that is taken away, until the tree is mended."""


class _Mend(ast.NodeTransformer):
    def visit_UnaryOp(self, node: ast.UnaryOp) -> ast.AST:
        self.generic_visit(node)
        return node.operand if isinstance(node.op, _Asserted) else node


def _left_alone(tree: ast.Module) -> set[int]:
    """Ids of the nodes that are never changed."""
    alone: set[int] = set()

    def leave(node: ast.AST | None) -> None:
        if node is not None:
            alone.update(id(n) for n in ast.walk(node))

    for node in ast.walk(tree):
        if isinstance(node, ast.Module | ast.FunctionDef | ast.ClassDef):
            first = node.body[0]
            if isinstance(first, ast.Expr) and isinstance(first.value, ast.Constant):
                leave(first)
        if isinstance(node, ast.FunctionDef | ast.ClassDef):
            for decorator in node.decorator_list:
                leave(decorator)
        if isinstance(node, ast.FunctionDef):
            leave(node.returns)
        elif isinstance(node, ast.arg | ast.AnnAssign):
            leave(node.annotation)
        elif (isinstance(node, ast.Assign) and ast.unparse(node.targets[0]) == "__all__") or (
            isinstance(node, ast.If) and ast.unparse(node.test) == "TYPE_CHECKING"
        ):
            leave(node)
        elif isinstance(node, ast.Assign) and isinstance(node.value, ast.BinOp | ast.Subscript):
            # A type alias: X = A | B, X = npt.NDArray[...], Callable[...].
            name = ast.unparse(node.targets[0])
            if name[:1].isupper() and not name.isupper():
                leave(node)
        elif isinstance(node, ast.JoinedStr):
            for part in node.values:
                if isinstance(part, ast.Constant):
                    leave(part)
                elif isinstance(part, ast.FormattedValue) and part.format_spec is not None:
                    leave(part.format_spec)
    return alone


@dataclass(frozen=True)
class Mutant:
    """One change; `node` and `around` count the nodes of the module as `ast.walk` meets them.

    `at_import` tells that it stands outside of functions: it runs once, whichever test comes first.
    """

    path: str
    node: int
    name: str
    line: int
    last: int
    around: int
    at_import: bool

    @property
    def key(self) -> str:
        """The same from run to run, while the module stays as it is."""
        return f"{self.path}:{self.line}:{self.node}:{self.name}"


def mutants(path: str, source: str) -> list[Mutant]:
    """All mutants of a module."""
    tree = ast.parse(source)
    alone = _left_alone(tree)
    numbers = {id(node): number for number, node in enumerate(ast.walk(tree))}
    parent = {id(child): node for node in ast.walk(tree) for child in ast.iter_child_nodes(node)}
    found = []
    for number, node in enumerate(ast.walk(tree)):
        if id(node) in alone:
            continue
        for name, _ in _edits(node):
            at: ast.AST = node
            if name.startswith(("left out", "loop")):
                field, i = name.split()[-2:]
                at = getattr(node, field)[int(i)]
            if id(at) in alone:
                continue
            if isinstance(node, ast.Constant) and isinstance(parent[id(node)], ast.Expr):
                continue
            around = at
            while not hasattr(around, "lineno") or (isinstance(around, ast.expr) and _short(around)):
                around = parent[id(around)]
            found.append(
                Mutant(
                    path=path,
                    node=number,
                    name=name,
                    line=getattr(at, "lineno", around.lineno),  # type: ignore[attr-defined]
                    last=getattr(at, "end_lineno", around.end_lineno),  # type: ignore[attr-defined]
                    around=numbers[id(around)],
                    at_import=not _within_function(at, parent),
                )
            )
    return found


def texts(mutant: Mutant, source: str) -> tuple[str, str]:
    """The expression or statement about the change, before and after it."""
    tree = ast.parse(source)
    around = list(ast.walk(tree))[mutant.around]
    return _first_line(around), _first_line(_same(tree, around)(_changed(source, mutant.node, mutant.name)))


def _within_function(node: ast.AST, parent: dict[int, ast.AST]) -> bool:
    child = node
    while id(child) in parent:
        above = parent[id(child)]
        if isinstance(above, ast.FunctionDef) and child in above.body:
            return True
        child = above
    return False


def _short(node: ast.expr) -> bool:
    return len(ast.unparse(node)) < 25


def _first_line(node: ast.AST) -> str:
    text = ast.unparse(_Mend().visit(node)) if not isinstance(node, ast.Module) else ""
    return text if len(text) < 200 else text[:200] + " ..."


def _same(tree: ast.AST, wanted: ast.AST) -> Callable[[ast.AST], ast.AST]:
    """How to come to the same place of a copy of the tree."""

    def path_to(node: ast.AST) -> list[tuple[str, int | None]] | None:
        if node is wanted:
            return []
        for field, value in ast.iter_fields(node):
            for i, child in enumerate(value) if isinstance(value, list) else ((None, value),):
                if isinstance(child, ast.AST) and (rest := path_to(child)) is not None:
                    return [(field, i), *rest]
        return None

    steps = path_to(tree) or []

    def walk(node: Any) -> Any:
        for field, i in steps:
            node = getattr(node, field) if i is None else getattr(node, field)[i]
        return node

    return walk


def _changed(source: str, number: int, name: str) -> ast.Module:
    tree = ast.parse(source)
    for count, node in enumerate(ast.walk(tree)):
        if count == number:
            dict(_edits(node))[name](node)
            break
    return tree


def changed_code(source: str, number: int, name: str, filename: str) -> Any:
    """The module with one change, compiled."""
    tree = ast.fix_missing_locations(_Mend().visit(_changed(source, number, name)))
    return compile(tree, filename, "exec")


# --- one mutant in a process --------------------------------------------------------------------------


class _Changed(importlib.abc.MetaPathFinder, importlib.abc.Loader):
    """Gives the changed code for one module."""

    def __init__(self, module: str, path: Path, code: Any) -> None:
        self.module, self.path, self.code = module, path, code

    def find_spec(self, name: str, *_: object) -> importlib.machinery.ModuleSpec | None:
        if name != self.module:
            return None
        return importlib.util.spec_from_file_location(name, self.path, loader=self)

    def create_module(self, spec: importlib.machinery.ModuleSpec) -> None:  # noqa: ARG002
        return None

    def exec_module(self, module: Any) -> None:
        exec(self.code, module.__dict__)


def _load(folder: Path) -> dict[str, set[str]]:
    """Load the package of the copy, and tell which of its modules import which."""
    sys.path.insert(0, str(folder))
    imports: dict[str, set[str]] = {}
    for path in sorted((folder / "clearance").rglob("*.py")):
        name = ".".join(path.relative_to(folder).with_suffix("").parts)
        if name.startswith(("clearance.cli", "clearance.web")) or path.stem == "__init__":
            continue
        imports[name] = set()
        for node in ast.walk(ast.parse(path.read_text())):
            if isinstance(node, ast.ImportFrom) and node.module and node.module.startswith("clearance."):
                imports[name] |= {node.module, *(f"{node.module}.{alias.name}" for alias in node.names)}
        found = importlib.import_module(name)
        assert str(found.__file__).startswith(str(folder)), f"{name} is not that of the copy"
    return imports


def _forget(module: str, imports: dict[str, set[str]]) -> None:
    """Let a module, and all that import it, be loaded anew."""
    stale, more = {module}, {module}
    while more:
        more = {name for name, used in imports.items() if used & more} - stale
        # A package that hands on names is loaded anew with any part of it.
        more |= {f"clearance.{part}" for part in ("workflow",) if any(f".{part}." in n for n in more)} - stale
        stale |= more
    for name in stale:
        sys.modules.pop(name, None)


def _settings() -> None:
    """Examples as in every run, but a failing one is not made smaller."""
    from hypothesis import HealthCheck, Phase, settings

    settings.register_profile(
        "mutants",
        derandomize=True,
        deadline=None,
        database=None,
        phases=(Phase.explicit, Phase.generate),
        suppress_health_check=list(HealthCheck),
    )
    os.environ["HYPOTHESIS_PROFILE"] = "mutants"
    # Plugins that no test here asks for take longer to load than most tests to run.
    os.environ["PYTEST_DISABLE_PLUGIN_AUTOLOAD"] = "1"


#: hypothesis is loaded before pytest can rewrite its assertions.
_EARLY = ("-W", "ignore:Module already imported:pytest.PytestAssertRewriteWarning")


def _run_tests(arguments: list[str], plugins: list[object] | None = None) -> int:
    import pytest

    return int(pytest.main(["-q", "-p", "no:cacheprovider", *_EARLY, *arguments], plugins=plugins or []))


def try_mutant(
    mutant: Mutant | None,
    tests: list[str],
    *,
    folder: Path,
    cpu: float,
    log: Path,
    imports: dict[str, set[str]],
) -> str:
    """How the tests end: ``survived``, ``killed`` or ``timed out``. None runs the package as it is."""
    sys.stdout.flush()
    child = os.fork()
    if child == 0:
        code = 99
        try:
            os.setsid()
            resource.setrlimit(resource.RLIMIT_CPU, (math.ceil(cpu), math.ceil(cpu) + 5))
            resource.setrlimit(resource.RLIMIT_AS, (12 << 30, 12 << 30))
            out = os.open(log, os.O_WRONLY | os.O_CREAT | os.O_TRUNC)
            os.dup2(out, 1)
            os.dup2(out, 2)
            os.chdir(folder)
            if mutant is not None:
                path = folder / mutant.path
                module = mutant.path.removesuffix(".py").replace("/", ".")
                changed = changed_code(path.read_text(), mutant.node, mutant.name, str(path))
                _forget(module, imports)
                if "@njit" in path.read_text():
                    # What numba keeps on disk is known by its file, which here is not what runs.
                    import numba

                    numba.config.CACHE_DIR = str(log.parent / "compiled")
                    shutil.rmtree(numba.config.CACHE_DIR, ignore_errors=True)
                sys.meta_path.insert(0, _Changed(module, path, changed))
            chosen = Path(f"{log}.tests")
            chosen.write_text("\n".join(tests) + "\n")
            code = _run_tests(["-x", f"@{chosen}"])
        except BaseException:  # a process that breaks tells by its code
            code = 98
        finally:
            os._exit(code)
    until = time.monotonic() + cpu * 8 + 60
    while True:
        done, status = os.waitpid(child, os.WNOHANG)
        if done:
            break
        if time.monotonic() > until:
            os.killpg(child, signal.SIGKILL)
            os.waitpid(child, 0)
            return "timed out"
        time.sleep(0.02)
    if os.WIFSIGNALED(status):
        return "timed out" if os.WTERMSIG(status) in (signal.SIGXCPU, signal.SIGKILL) else "killed"
    code = os.WEXITSTATUS(status)
    if code in (98, 99):
        raise SystemExit(f"the harness itself failed on {mutant}; see {log}")
    return "survived" if code == 0 else "killed"


# --- which tests run a line ---------------------------------------------------------------------------


def _digest(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()


def test_files(folder: Path) -> dict[str, str]:
    """The files of tests that count, each with a digest of what is in it."""
    found: dict[str, str] = {}
    for name in TESTS:
        at = folder / name
        for path in sorted(at.rglob("test_*.py")) if at.is_dir() else [at] if at.exists() else []:
            short = str(path.relative_to(folder))
            if short not in LEFT_OUT:
                found[short] = _digest(path)
    return found


def known_of(folder: Path, known_file: Path) -> dict[str, Any]:
    """Which test runs which line: as measured before, and anew for files of tests that have changed."""
    known: dict[str, Any] = {"lines": {}, "seconds": {}, "failed": [], "files": {}}
    if known_file.exists():
        known = json.loads(known_file.read_text())
    now = test_files(folder)
    stale = {name for name, digest in now.items() if known["files"].get(name) != digest}
    if stale:
        part = known_file.with_suffix(".part")
        child = os.fork()
        if child == 0:
            try:
                measure(folder, sorted(stale), part)
            except BaseException:
                traceback.print_exc()
            finally:
                os._exit(0)
        os.waitpid(child, 0)
        if not part.exists():
            raise SystemExit("which test runs which line could not be measured")
        fresh = json.loads(part.read_text())
        part.unlink()
        gone = stale | (known["files"].keys() - now.keys())

        def kept(test: str) -> bool:
            return test.partition("::")[0] not in gone

        lines: dict[str, dict[str, list[str]]] = {}
        for source in (known["lines"], fresh["lines"]):
            for path, tests_by_line in source.items():
                for line, tests in tests_by_line.items():
                    mine = tests if source is fresh["lines"] else [t for t in tests if kept(t)]
                    lines.setdefault(path, {}).setdefault(line, []).extend(mine)
        known = {
            "lines": lines,
            "seconds": {t: s for t, s in known["seconds"].items() if kept(t)} | fresh["seconds"],
            "failed": [t for t in known["failed"] if kept(t)] + fresh["failed"],
            "files": now,
        }
        known_file.write_text(json.dumps(known))
    return known


def measure(folder: Path, files: list[str], into: Path) -> None:
    """Run the tests once under coverage and note which ran which line, and its seconds of processor."""
    import pytest

    class Costs:
        def __init__(self) -> None:
            self.seconds: dict[str, float] = {}
            self.failed: list[str] = []

        @pytest.hookimpl(wrapper=True)
        def pytest_runtest_protocol(self, item: Any) -> Iterator[None]:
            began = time.process_time()
            result = yield
            self.seconds[item.nodeid] = time.process_time() - began
            return result

        def pytest_runtest_logreport(self, report: Any) -> None:
            if report.failed:
                self.failed.append(report.nodeid)

        def pytest_runtest_setup(self, item: Any) -> None:
            cover.switch_context(item.nodeid)

        def pytest_runtest_teardown(self) -> None:
            cover.switch_context("")

    os.chdir(folder)
    sys.path.insert(0, str(folder))
    import coverage

    costs = Costs()
    cover = coverage.Coverage(
        data_file=str(into.with_suffix(".coverage")), source=["clearance"], messages=False
    )
    cover.start()
    _run_tests(files, [costs])
    cover.stop()
    data = cover.get_data()
    lines = {
        str(Path(path).relative_to(folder)): {
            str(line): sorted(filter(None, tests)) for line, tests in data.contexts_by_lineno(path).items()
        }
        for path in data.measured_files()
    }
    into.write_text(json.dumps({"lines": lines, "seconds": costs.seconds, "failed": costs.failed}))


def chosen(mutant: Mutant, known: dict[str, Any], budget: float, most: int) -> list[str]:
    """The tests to run against a mutant, those most likely to notice first."""
    lines = known["lines"].get(mutant.path, {})
    found = {test for n in range(mutant.line, mutant.last + 1) for test in lines.get(str(n), ())}
    if mutant.at_import or not found:
        # Whatever runs anything of the module may tell.
        found = {test for tests in lines.values() for test in tests}
    found -= set(known["failed"])
    room, name = mutant.path.split("/")[1], Path(mutant.path).stem
    mirror = f"tests/{room}/test_{name}.py"
    # Tests without a context of their own may still look at a table of the module.
    found |= {t for t in known["seconds"] if t.startswith(f"{mirror}::")} - set(known["failed"])
    ranked = sorted(
        found,
        key=lambda t: (not t.startswith(mirror), not t.startswith(f"tests/{room}/"), known["seconds"][t], t),
    )
    tests, spent = [], 0.0
    for test in ranked:
        own = test.startswith(mirror)
        if (spent + known["seconds"][test] <= budget and (own or len(tests) < most)) or not tests:
            tests.append(test)
            spent += known["seconds"][test]
    return tests


# --- counting -----------------------------------------------------------------------------------------


def wilson(hits: int, of: int) -> tuple[float, float]:
    """The 95 % interval of a share (Wilson 1927, from memory)."""
    if of == 0:
        return 0.0, 1.0
    z, p = 1.959964, hits / of
    middle, half = p + z * z / (2 * of), z * math.sqrt(p * (1 - p) / of + z * z / (4 * of * of))
    return (middle - half) / (1 + z * z / of), (middle + half) / (1 + z * z / of)


def report(results: list[dict[str, Any]], population: Counter[str]) -> None:
    """Print the counts of each room and the mutants that lived."""
    alike = {
        (entry["path"], entry["before"], entry["after"])
        for entry in (tomllib.loads(ALIKE.read_text())["alike"] if ALIKE.exists() else ())
    }
    print("| room | mutants in all | tried | killed | timed out | survived | alike | raw score | adjusted |")
    print("|---|---|---|---|---|---|---|---|---|")
    for room in (*population, "all"):
        rows = [r for r in results if room in ("all", r["path"].split("/")[1])]
        count = Counter(r["outcome"] for r in rows)
        same = sum(r["outcome"] == "survived" and (r["path"], r["before"], r["after"]) in alike for r in rows)
        found = count["killed"] + count["timed out"]
        shares = []
        for of in (len(rows), len(rows) - same):
            low, high = wilson(found, of)
            shares.append(f"{found / max(of, 1):.1%} ({low:.1%} to {high:.1%})")
        total = sum(population.values()) if room == "all" else population[room]
        print(
            f"| {room} | {total} | {len(rows)} | {count['killed']} | {count['timed out']} "
            f"| {count['survived']} | {same} | {shares[0]} | {shares[1]} |"
        )
    for r in results:
        if r["outcome"] == "survived":
            mark = "alike " if (r["path"], r["before"], r["after"]) in alike else ""
            print(f"\n{mark}{r['path']}:{r['line']} {r['name']} ({r['tests']} tests)")
            print(f"  - {r['before']}\n  + {r['after']}")


def asked() -> argparse.Namespace:
    """The options of the command."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("rooms", nargs="+")
    parser.add_argument("--sample", type=int, default=150, help="mutants to try in each room")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--budget", type=float, default=10, help="processor seconds of tests for a mutant")
    parser.add_argument(
        "--work", type=Path, default=None, help="folder for results; a later run goes on there"
    )
    parser.add_argument(
        "--most", type=int, default=500, help="tests against one mutant, those of its module aside"
    )
    parser.add_argument("--again", action="store_true", help="try those that survived once more")
    parser.add_argument("--show", action="store_true", help="print what is known and try nothing")
    return parser.parse_args()


def copied(folder: Path) -> None:
    """Copy the package and its tests, once."""
    if folder.exists():
        return
    skip = shutil.ignore_patterns("__pycache__", ".hypothesis", "*.nbi", "*.nbc")
    for name in ("clearance", "tests", "data_samples", "scripts"):
        shutil.copytree(ROOT / name, folder / name, ignore=skip)
    for name in ("pyproject.toml", "README.md", "DEVELOPERS.md"):
        shutil.copy(ROOT / name, folder / name)


def drawn_from(folder: Path, rooms: list[str], seed: int, sample: int) -> tuple[list[Mutant], Counter[str]]:
    """The sample of all rooms, in turns, so that a run cut short has as much of each; how many there are."""
    by_room: list[list[Mutant]] = []
    population: Counter[str] = Counter()
    for room in rooms:
        all_of = [
            mutant
            for path in sorted((folder / "clearance" / room).glob("*.py"))
            for mutant in mutants(str(path.relative_to(folder)), path.read_text())
        ]
        population[room] = len(all_of)
        by_room.append(random.Random(f"{seed} {room}").sample(all_of, len(all_of))[:sample])
    return [m for group in itertools.zip_longest(*by_room) for m in group if m is not None], population


def main() -> None:
    """Draw the mutants, try those not tried yet, and report."""
    given = asked()
    work: Path = given.work or Path(tempfile.mkdtemp(prefix="mutants."))
    work.mkdir(parents=True, exist_ok=True)
    folder, known_file, results_file = work / "copy", work / "known.json", work / "results.jsonl"
    copied(folder)
    for name in HEAVY:
        __import__(name)
    _settings()
    known = known_of(folder, known_file)
    if known["failed"]:
        print(f"left out, as they fail without any change: {known['failed']}")
    drawn, population = drawn_from(folder, given.rooms, given.seed, given.sample)
    text = results_file.read_text() if results_file.exists() else ""
    by_key = {r["key"]: r for r in map(json.loads, text.splitlines())}
    left = [m for m in drawn if m.key not in by_key]
    if given.again:
        left += [m for m in drawn if by_key.get(m.key, {}).get("outcome") == "survived"]
    imports = {} if given.show else _load(folder)
    for count, mutant in enumerate([] if given.show else left, 1):
        tests = chosen(mutant, known, given.budget, given.most)
        began = time.monotonic()
        cpu = 25 + 2 * sum(known["seconds"][t] for t in tests)
        outcome = "survived"
        if tests:
            outcome = try_mutant(mutant, tests, folder=folder, cpu=cpu, log=work / "log", imports=imports)
        before, after = texts(mutant, (folder / mutant.path).read_text())
        row = {**vars(mutant), "before": before, "after": after, "key": mutant.key, "outcome": outcome}
        row |= {"tests": len(tests), "seconds": round(time.monotonic() - began, 1)}
        by_key[mutant.key] = row
        with results_file.open("a") as lines:
            lines.write(json.dumps(row) + "\n")
        print(f"{count}/{len(left)} {outcome} {row['seconds']} s {mutant.key}", file=sys.stderr, flush=True)
    report([by_key[m.key] for m in drawn if m.key in by_key], population)


if __name__ == "__main__":
    main()
