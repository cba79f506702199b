"""The architecture, as a table that the tests hold the code to, and the size of its pieces."""

import ast
import functools
import graphlib
import inspect
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parents[1] / "src" / "stakeline"

FOUNDATIONS = "constants errors time tables compiling threads"
SCIENCE = "earth satellites signals positioning station motion lakes inference"
EDGES = "formats campaign report"

MAY_IMPORT = {
    # Foundations: each knows only what stands before it.
    "constants": "",
    "errors": "",
    "time": "constants errors",
    "tables": "constants errors time",
    "compiling": "",  # the one door to the compiler
    "threads": "",
    # Science: arrays and records in, arrays and records out.
    "earth": FOUNDATIONS,
    "signals": FOUNDATIONS,
    "inference": FOUNDATIONS,
    "station": f"{FOUNDATIONS} earth",
    "satellites": f"{FOUNDATIONS} earth",
    "positioning": f"{FOUNDATIONS} earth satellites signals",
    "motion": f"{FOUNDATIONS} earth inference",
    "lakes": f"{FOUNDATIONS} earth motion",
    "simulate": f"{FOUNDATIONS} {SCIENCE}",
    # Edges: files, folders, figures. They know the records, not the science.
    "formats": FOUNDATIONS,
    "campaign": FOUNDATIONS,
    "report": FOUNDATIONS,
    # Assembly, and the two faces that a person sees.
    "workflows": f"{FOUNDATIONS} {SCIENCE} simulate {EDGES}",
    "web": f"{FOUNDATIONS} workflows",
    "cli": f"{FOUNDATIONS} workflows web",  # one command starts the pages
    "__main__": "cli",
    "verbs": f"{FOUNDATIONS} campaign workflows",  # what 'import stakeline' offers
    "__init__": "verbs",
}

KNOWS_THE_VERSION = {*EDGES.split(), "workflows", "cli", "web"}

NOT_FOR_SCIENCE = (
    "matplotlib pyarrow pandas xarray sqlite3 pydantic tomllib json csv gzip zipfile io pathlib os "
    "sys shutil tempfile socket urllib http requests subprocess multiprocessing concurrent click "
    "rich flask logging warnings time datetime random"
)
READS_OR_WRITES = (
    "open print input read_text read_bytes write_text write_bytes loadtxt savetxt genfromtxt "
    "fromfile tofile memmap default_rng seed"
)
MAY_READ = {
    "earth/climate.py": "the harmonics of the climate are packaged as a table beside the code",
}

LONGEST_MODULE = 400
LONGER_MODULES: dict[str, str] = {}
LONGEST_FUNCTION = 60
LONGER_FUNCTIONS: dict[str, str] = {
    "signals/_kernels.py:epoch_differences": "one robust adjustment an epoch; its steps share "
    "eight work arrays, and one kernel compiles once",
}


@functools.cache
def calls():
    """Return (path, layer, node) of every call."""
    return [
        (below, layer, node)
        for below, layer, tree in modules()
        for node in ast.walk(tree)
        if isinstance(node, ast.Call)
    ]


@functools.cache
def modules():
    """Return (path below the package, layer, syntax tree) of every module."""
    found = []
    for path in sorted(PACKAGE.rglob("*.py")):
        below = path.relative_to(PACKAGE)
        tree = ast.parse(path.read_text(encoding="utf-8"))
        found.append((below.as_posix(), below.with_suffix("").parts[0], tree))
    return found


def imported_names(below, node):
    """Return the dotted names that one statement imports; none where it is no import."""
    here = ("stakeline", *Path(below).with_suffix("").parts)
    if isinstance(node, ast.Import):
        return [alias.name for alias in node.names]
    if isinstance(node, ast.ImportFrom):
        base = ".".join(here[: len(here) - node.level]) if node.level else ""
        source = ".".join(filter(None, (base, node.module)))
        return [f"{source}.{alias.name}" for alias in node.names]
    return []


def statements(node, function=""):
    """Yield (statement, name of the function it stands in) of all below `node`."""
    for child in ast.iter_child_nodes(node):
        if not isinstance(child, ast.stmt | ast.excepthandler | ast.match_case):
            continue  # an expression: no import stands in one
        yield child, function
        inside = isinstance(child, ast.FunctionDef | ast.AsyncFunctionDef)
        yield from statements(child, child.name if inside else function)


@functools.cache
def placed_imports():
    """Return (path, layer, dotted name, function or "") of every import."""
    return [
        (below, layer, name, function)
        for below, layer, tree in modules()
        for node, function in statements(tree)
        for name in imported_names(below, node)
    ]


def imports():
    """Yield (path, layer, dotted name) of every import, those inside functions too."""
    return (found[:3] for found in placed_imports())


def functions(tree, prefix=""):
    """Yield (qualified name, node) of functions and methods, nested ones too."""
    for node in ast.iter_child_nodes(tree):
        if not isinstance(node, ast.stmt | ast.excepthandler | ast.match_case):
            continue
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef):
            name = f"{prefix}{node.name}"
            if not isinstance(node, ast.ClassDef):
                yield name, node
            yield from functions(node, f"{name}.")
        else:
            yield from functions(node, prefix)


def body_lines(node):
    """Return the number of lines of a function's body without its docstring."""
    body = node.body[1:] if ast.get_docstring(node) else node.body
    return body[-1].end_lineno - body[0].lineno + 1 if body else 0


def complain(wrong):
    assert not wrong, "\n" + "\n".join(wrong)


def test_the_table_has_no_circle():
    graph = {layer: allowed.split() for layer, allowed in MAY_IMPORT.items()}
    tuple(graphlib.TopologicalSorter(graph).static_order())  # raises CycleError


def test_the_modules_have_no_circle():
    graph = {}
    names = {below.removesuffix(".py").removesuffix("/__init__") for below, _, _ in modules()}
    for below, _, name in imports():
        target = name.removeprefix("stakeline.").replace(".", "/")
        if target not in names:
            target = target.rpartition("/")[0]
        source = below.removesuffix(".py").removesuffix("/__init__")
        if name.startswith("stakeline.") and target in names and target != source:
            graph.setdefault(source, set()).add(target)
    tuple(graphlib.TopologicalSorter(graph).static_order())


def test_every_module_has_a_row():
    found = {
        path.stem
        for path in PACKAGE.iterdir()
        if path.suffix == ".py" or (path.is_dir() and any(path.rglob("*.py")))
    }
    unplaced = sorted(found - set(MAY_IMPORT) - {"__init__"})
    assert not unplaced, f"give these a row in MAY_IMPORT: {unplaced}"


def test_imports_follow_the_table():
    wrong = []
    for below, layer, name in imports():
        package, _, rest = name.partition(".")
        target = rest.partition(".")[0]
        if package != "stakeline" or target == layer:
            continue
        if target == "__version__" and layer in KNOWS_THE_VERSION:
            continue
        if target not in MAY_IMPORT.get(layer, "").split():
            wrong.append(f"{below} imports {name}")
    complain(wrong)


def test_imports_inside_functions_only_in_the_command_line():
    complain(
        [
            f"{below}: {function} imports {name}"
            for below, layer, name, function in placed_imports()
            if function and layer != "cli"
        ]
    )


def test_one_door_to_the_compiler():
    complain(
        [
            f"{below} imports {name}: use 'from ..compiling import njit'"
            for below, _, name in imports()
            if name.partition(".")[0] == "numba" and below != "compiling.py"
        ]
    )


def test_science_neither_draws_nor_asks_the_machine():
    complain(
        [
            f"{below} imports {name}"
            for below, layer, name in imports()
            if layer in SCIENCE.split() and name.partition(".")[0] in NOT_FOR_SCIENCE.split()
        ]
    )


def test_science_neither_reads_nor_writes_nor_throws_dice():
    wrong = []
    for below, layer, node in calls():
        if layer not in SCIENCE.split() or below in MAY_READ:
            continue
        called = getattr(node.func, "attr", getattr(node.func, "id", ""))
        if called in READS_OR_WRITES.split():
            wrong.append(f"{below}:{node.lineno}: calls {called}")
    complain(wrong)


def test_only_the_command_line_prints():
    complain(
        [
            f"{below}:{node.lineno}"
            for below, layer, node in calls()
            if getattr(node.func, "id", "") == "print" and layer != "cli"
        ]
    )


def test_modules_are_short():
    wrong = []
    for path in sorted(PACKAGE.rglob("*.py")):
        below = path.relative_to(PACKAGE).as_posix()
        length = len(path.read_text(encoding="utf-8").splitlines())
        if length > LONGEST_MODULE and below not in LONGER_MODULES:
            wrong.append(f"{below} has {length} lines, more than {LONGEST_MODULE}: divide it")
    complain(wrong)


def test_functions_are_short():
    wrong = []
    for below, _, tree in modules():
        for name, node in functions(tree):
            length = body_lines(node)
            if length > LONGEST_FUNCTION and f"{below}:{name}" not in LONGER_FUNCTIONS:
                wrong.append(f"{below}:{name} has {length} lines, more than {LONGEST_FUNCTION}")
    complain(wrong)


def test_exceptions_are_still_needed():
    below = {name: tree for name, _, tree in modules()}
    gone = [name for name in (*LONGER_MODULES, *MAY_READ) if name not in below]
    long = {
        f"{name}:{function}"
        for name, tree in below.items()
        for function, node in functions(tree)
        if body_lines(node) > LONGEST_FUNCTION
    }
    gone += [name for name in LONGER_FUNCTIONS if name not in long]
    assert not gone, f"take these exceptions off the lists: {gone}"


def test_public_functions_have_a_docstring():
    wrong = []
    for below, _, tree in modules():
        for name, node in functions(tree):
            private = any(part.startswith("_") for part in name.split("."))
            nested = any(part.islower() for part in name.split(".")[:-1])
            if private or nested or ast.get_docstring(node):
                continue
            wrong.append(f"{below}:{node.lineno}: {name}")
    complain(wrong)


@pytest.mark.parametrize(
    ("source", "expected"),
    [
        ("from ..time import mjd", [("stakeline.time.mjd", "")]),
        ("from . import _kernels", [("stakeline.earth._kernels", "")]),
        ("def f():\n    import numpy.linalg", [("numpy.linalg", "f")]),
        ("try:\n    pass\nexcept OSError:\n    import csv", [("csv", "")]),
        ("match 1:\n    case 1:\n        import csv", [("csv", "")]),
        (
            "class A:\n    async def f(self):\n        if self:\n            import csv",
            [("csv", "f")],
        ),
    ],
)
def test_imports_are_seen(source, expected):
    found = [
        (name, function)
        for node, function in statements(ast.parse(source))
        for name in imported_names("earth/tides.py", node)
    ]
    assert found == expected


def test_body_length_leaves_the_docstring_aside():
    tree = ast.parse(
        inspect.cleandoc('''
        def short():
            """One.

            Two.
            """
            first = 1
            return first
    ''')
    )
    ((name, node),) = functions(tree)
    assert (name, body_lines(node)) == ("short", 2)
