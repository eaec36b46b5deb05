"""The house: who may import whom, how long a module and a function may be, what is called what."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent / "stability"
MODULES = sorted(path for path in ROOT.rglob("*.py") if "migrations/versions" not in path.as_posix())
NAMES = [path.relative_to(ROOT).as_posix() for path in MODULES]

PURE = {"errors", "units"}
INNER = {"ageing", "bench", "chemistry", "planning", "alerts", "statements"}
SERVED = PURE | {"clock", "settings", "records", "senders", "services"} | INNER | {"board", "reports"}
# room → the rooms of ours that it may import besides itself (DEVELOPERS.md, "The house")
MAY_IMPORT = {
    "errors": set(),
    "units": {"errors"},
    "clock": set(),
    **{room: set(PURE) for room in INNER},
    "settings": {"errors"},
    "records": {"errors"},
    "senders": {"errors"},
    "board": set(PURE),
    "reports": {*PURE, "board"},
    "services": SERVED - {"clock"},
    # the wiring opens the database and hands it on; it asks it nothing but who is sitting there
    "app": {"errors", "clock", "settings", "services", "records"},
    "daemon": {"errors", "clock", "settings", "services", "app"},
    "cli": {*PURE, "app", "clock", "settings", "services", "board", "reports", "daemon", "demo"},
    "demo": {*PURE, "services", "clock", "settings"},
    "__main__": {"cli"},
    "__init__": set(),
}
EXCEPTIONS = {"bench/swaps.py": {"ageing"}}
# outside packages that only these rooms may import
ONLY_IN = {
    "numpy": {"ageing", "services", "board", "reports", "demo"},
    "scipy": {"ageing"},
    "sqlalchemy": {"records", "services"},
    "sqlmodel": {"records", "services"},
    "alembic": {"records"},
    "rich": {"board", "reports", "cli"},
    "click": {"cli"},
    "cryptography": {"statements"},
    "matplotlib": {"reports"},
    "apscheduler": {"daemon"},
    "pydantic": {"settings"},
    "pydantic_settings": {"settings"},
    "smtplib": {"senders"},
    "openpyxl": {"services"},
    "typst": {"reports"},
    "segno": {"reports"},
    "jinja2": {"reports"},
}
FORBIDDEN_WORDS = {"utils", "util", "helpers", "helper", "manager", "common", "misc"}
LONGEST_MODULE, LONGEST_FUNCTION, MOST_POSITIONAL, DEEPEST = 300, 50, 5, 3
BLOCKS = (ast.If, ast.For, ast.While, ast.With, ast.Try, ast.Match)


@cache
def tree_of(name: str) -> ast.Module:
    return ast.parse((ROOT / name).read_text("utf-8"))


def room_of(name: str) -> str:
    return name.split("/", maxsplit=1)[0].removesuffix(".py")


def imports_of(name: str) -> Iterator[str]:
    """Yield every module that is imported anywhere, the ones for types alone too."""
    for node in ast.walk(tree_of(name)):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{name}: imports are absolute"
            base = node.module or ""
            yield base
            # `from stability import ageing` names the room in the alias
            yield from (f"{base}.{alias.name}" for alias in node.names if base == "stability")


def functions_of(name: str) -> Iterator[ast.FunctionDef | ast.AsyncFunctionDef]:
    for node in ast.walk(tree_of(name)):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            yield node


@pytest.mark.parametrize("name", NAMES)
def test_imports_point_inwards(name: str) -> None:
    room = room_of(name)
    allowed = MAY_IMPORT[room] | {room, "__init__"} | EXCEPTIONS.get(name, set())
    ours = {i.split(".")[1] for i in imports_of(name) if i.startswith("stability.")}
    ours -= {"__version__"}
    assert ours <= allowed, f"{name} imports {sorted(ours - allowed)}"


@pytest.mark.parametrize("name", NAMES)
def test_outside_packages_stay_in_their_rooms(name: str) -> None:
    room = room_of(name)
    outside = {i.split(".")[0] for i in imports_of(name)}
    strayed = {package for package, rooms in ONLY_IN.items() if package in outside and room not in rooms}
    assert not strayed, f"{name} imports {sorted(strayed)}"


def test_of_scipy_only_the_special_functions_are_loaded() -> None:
    # scipy.stats and scipy.optimize cost a start three times as much
    used = {i for name in NAMES for i in imports_of(name) if i.split(".")[0] == "scipy"}
    assert all(i == "scipy" or i.startswith("scipy.special") for i in used), used


def test_the_clock_is_read_in_one_place_only() -> None:
    readers = []
    for name in NAMES:
        for node in ast.walk(tree_of(name)):
            if isinstance(node, ast.Attribute) and node.attr in ("now", "utcnow", "today"):
                owner = node.value
                if isinstance(owner, ast.Name) and owner.id in ("datetime", "date"):
                    readers.append(name)
    assert set(readers) <= {"clock.py"}


@pytest.mark.parametrize("name", NAMES)
def test_a_module_has_a_docstring_an_all_and_a_bearable_length(name: str) -> None:
    text = (ROOT / name).read_text("utf-8")
    assert text.count("\n") <= LONGEST_MODULE, f"{name}: {text.count(chr(10))} lines"
    if not text.strip():
        return
    assert ast.get_docstring(tree_of(name)), f"{name} has no docstring"
    defines = any(
        isinstance(n, ast.FunctionDef | ast.ClassDef) and not n.name.startswith("_")
        for n in tree_of(name).body
    )
    named = any(
        isinstance(n, ast.Assign) and any(isinstance(t, ast.Name) and t.id == "__all__" for t in n.targets)
        for n in tree_of(name).body
    )
    assert named or not defines, f"{name} has no __all__"


@pytest.mark.parametrize("name", NAMES)
def test_all_names_what_is_there(name: str) -> None:
    body = tree_of(name).body
    public = next(
        (
            ast.literal_eval(n.value)
            for n in body
            if isinstance(n, ast.Assign)
            and any(isinstance(t, ast.Name) and t.id == "__all__" for t in n.targets)
        ),
        None,
    )
    if public is None:
        return
    there = {
        bound for node in ast.walk(tree_of(name)) if isinstance(node, ast.stmt) for bound in _bound(node)
    }
    assert set(public) <= there, f"{name}: __all__ names {sorted(set(public) - there)}"


def _bound(node: ast.stmt) -> Iterator[str]:
    if isinstance(node, ast.FunctionDef | ast.ClassDef):
        yield node.name
    elif isinstance(node, ast.Assign):
        for target in node.targets:
            yield from (n.id for n in ast.walk(target) if isinstance(n, ast.Name))
    elif isinstance(node, ast.AnnAssign) and isinstance(node.target, ast.Name):
        yield node.target.id
    elif isinstance(node, ast.Import | ast.ImportFrom):
        yield from (alias.asname or alias.name for alias in node.names)


@pytest.mark.parametrize("name", NAMES)
def test_functions_are_short_flat_and_take_few_arguments_by_place(name: str) -> None:
    faults = []
    for function in functions_of(name):
        lines = _lines_without_docstring(function)
        places = len(function.args.posonlyargs) + len(function.args.args)
        places -= bool(function.args.args and function.args.args[0].arg in ("self", "cls"))
        if lines > LONGEST_FUNCTION:
            faults.append(f"{function.name} has {lines} lines")
        if places > MOST_POSITIONAL and not _is_command(function):
            faults.append(f"{function.name} takes {places} arguments by place")
        if _depth(function) > DEEPEST:
            faults.append(f"{function.name} is nested {_depth(function)} deep")
    assert not faults, f"{name}: {'; '.join(faults)}"


def _lines_without_docstring(function: ast.FunctionDef | ast.AsyncFunctionDef) -> int:
    first = function.body[0]
    docstring = ast.get_docstring(function, clean=False) is not None
    told = (first.end_lineno or 0) - first.lineno + 1 if docstring else 0
    return (function.end_lineno or 0) - function.lineno + 1 - told


def _is_command(function: ast.FunctionDef | ast.AsyncFunctionDef) -> bool:
    # click hands every option over by its name
    return any("command" in ast.unparse(decorator) for decorator in function.decorator_list)


def _depth(node: ast.AST) -> int:
    deepest = 0
    for child in ast.iter_child_nodes(node):
        if isinstance(child, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef):
            continue  # judged on its own
        here = _depth(child)
        # `elif` is an If in the else branch of an If: no deeper than its elder
        same_level = isinstance(node, ast.If) and isinstance(child, ast.If) and [child] == node.orelse
        deepest = max(deepest, here + (isinstance(child, BLOCKS) and not same_level))
    return deepest


@pytest.mark.parametrize("name", NAMES)
def test_what_is_public_has_a_docstring(name: str) -> None:
    bare = [node.name for node in _public(tree_of(name).body) if ast.get_docstring(node) is None]
    assert not bare, f"{name}: {', '.join(bare)}"


def _public(body: list[ast.stmt]) -> Iterator[ast.FunctionDef | ast.ClassDef]:
    for node in body:
        if isinstance(node, ast.FunctionDef | ast.ClassDef) and not node.name.startswith("_"):
            yield node
            if isinstance(node, ast.ClassDef):
                yield from _public(node.body)


def test_no_module_is_called_a_drawer_for_odds_and_ends() -> None:
    words = {name: set(Path(name).with_suffix("").as_posix().replace("_", "/").split("/")) for name in NAMES}
    assert not [name for name, parts in words.items() if parts & FORBIDDEN_WORDS]


def test_nothing_that_is_printed_promises_that_something_is_free_of_danger() -> None:
    for name in NAMES:
        docstrings = {
            id(node.body[0].value)
            for node in ast.walk(tree_of(name))
            if isinstance(node, ast.Module | ast.ClassDef | ast.FunctionDef)
            and node.body
            and isinstance(node.body[0], ast.Expr)
        }
        for node in ast.walk(tree_of(name)):
            if isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in docstrings:
                words = node.value.casefold().replace("_", " ").split()
                assert "safe" not in [w.strip(".,;:!?") for w in words] or name == "records/engine.py", (
                    f"{name}: {node.value!r}"
                )
