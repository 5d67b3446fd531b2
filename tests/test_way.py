"""The lines of the design, held: who may import whom, and that only the faces and io touch the world outside.

``LINES`` is the layout of the design, low to high.  A failure names the file and line and says what to do.
"""

import ast
import subprocess
import sys
from collections.abc import Iterator
from functools import cache
from graphlib import CycleError, TopologicalSorter
from pathlib import Path
from typing import NamedTuple

import pytest

import reelmark
from reelmark.way import WAY

PACKAGE = Path(reelmark.__file__).parent
LINES: tuple[tuple[str, ...], ...] = (
    ("way", "errors", "units", "spans", "fields", "svg", "bins"),
    ("order", "plant", "works", "jobs", "frames", "facts", "records", "handling", "journal", "note"),
    ("measure",),
    ("stations",),
    ("plan", "trace", "ledger"),
    ("release", "life"),
    ("shop",),
    ("striking", "posting"),
    ("reading",),
    ("acts",),
    ("figures",),
    ("io",),
    ("pool",),
    ("desk", "planner", "seeing"),
    ("web", "cli", "demo", "__main__"),
)
LEVEL = {name: level for level, line in enumerate(LINES) for name in line}
NEIGHBOURS = {0, 1, 14}  # lines whose members may import one another, while no circle arises
NOT_ABOVE = {  # what a part does not import, although it stands on a line above
    "trace": {"stations", "measure"},
    "ledger": {"stations", "measure"},
    "io": {name for name, level in LEVEL.items() if level > 1},
}
FACES = {"io", "pool", "desk", "planner", "seeing", *LINES[-1]}
WORLD = {"sqlite3", "pysqlite3", "sqlalchemy", "socket", "pathlib", "os", "shutil", "tempfile", "subprocess", "time"}
WORLD |= {"random", "secrets", "urllib", "http", "asyncio"}
CALLS = {"open", "read_text", "read_bytes", "write_text", "write_bytes", "now", "utcnow", "today"}
HEAVY = {"numpy", "scipy", "pydantic", "cryptography", "sqlite3", "pysqlite3", "fastapi", "sqlalchemy"}


class Import(NamedTuple):
    """One import of one part of the package by another, at file:line."""

    importer: str
    imported: str
    place: str


def _modules() -> Iterator[tuple[str, Path]]:
    """(dotted name below reelmark, file) of every module that is not a test."""
    for file in sorted(PACKAGE.rglob("*.py")):
        steps = file.relative_to(PACKAGE).with_suffix("").parts
        if "tests" not in steps and steps != ("__init__",):
            yield ".".join(steps).removesuffix(".__init__"), file


@cache
def _tree(file: Path) -> ast.Module:
    return ast.parse(file.read_text(encoding="utf-8"), str(file))


def _place(file: Path, node: ast.AST) -> str:
    return f"{file.relative_to(PACKAGE.parent)}:{getattr(node, 'lineno', 1)}"


def _part(dotted: str) -> str:
    """The name the rules speak of: 'stations.film' for a station, else the first step."""
    steps = dotted.split(".")
    return ".".join(steps[:2]) if steps[0] == "stations" else steps[0]


def _named(node: ast.AST, package: list[str]) -> list[str]:
    """Absolute dotted names that an import statement brings in."""
    if isinstance(node, ast.Import):
        return [alias.name for alias in node.names]
    if not isinstance(node, ast.ImportFrom):
        return []
    start = package[: len(package) - node.level + 1] if node.level else []
    base = ".".join([*start, *([node.module] if node.module else [])])
    return [f"{base}.{alias.name}" for alias in node.names]


@cache
def _imports() -> tuple[Import, ...]:
    """Every import inside the package, of one part by another."""
    found = []
    for dotted, file in _modules():
        package = ["reelmark", *dotted.split(".")]
        package = package if file.name == "__init__.py" else package[:-1]
        for node in ast.walk(_tree(file)):
            for name in _named(node, package):
                root, _, rest = name.partition(".")
                if root == "reelmark" and rest and not rest.startswith("__") and _part(rest) != _part(dotted):
                    found.append(Import(_part(dotted), _part(rest), _place(file, node)))
    return tuple(found)


def _top(part: str) -> str:
    return part.split(".")[0]


def _fault(one: Import) -> str | None:
    """What is wrong with an import, and the cure; None when nothing is."""
    low, high = LEVEL.get(_top(one.importer)), LEVEL.get(_top(one.imported))
    if low is None or high is None:
        return None  # a part without a line is the next test's finding
    said = f"{one.place}: {one.importer} imports {one.imported}; "
    if high > low:
        return said + "that stands below it in the design; hand the value in as an argument, or move the code down"
    if high == low and low not in NEIGHBOURS:
        return said + "parts of one line do not know each other; move what both need to a line above"
    if _top(one.imported) in NOT_ABOVE.get(_top(one.importer), ()):
        return said + f"{one.importer} must not know it; take what it needs as facts, spans or arguments"
    return None


def test_every_module_has_a_line_in_the_design():
    lost = sorted({_top(dotted) for dotted, _ in _modules()} - LEVEL.keys())
    assert not lost, (
        f"{lost} stand on no line; put them in LINES here and in the design's layout, or into a part that does"
    )


def test_imports_go_up_the_lines_only():
    faults = list(filter(None, map(_fault, _imports())))
    assert not faults, "\n".join(faults)


def test_no_circle_of_imports():
    graph: dict[str, set[str]] = {}
    for one in _imports():
        graph.setdefault(one.importer, set()).add(one.imported)
    try:
        TopologicalSorter(graph).prepare()
    except CycleError as circle:
        pytest.fail(f"a circle of imports, {' <- '.join(circle.args[1])}; move what they share to a part of its own")


def _touches(file: Path) -> Iterator[str]:
    """Places where a file reaches for files, databases, sockets, the clock or chance."""
    for node in ast.walk(_tree(file)):
        for name in _named(node, []):
            if name.split(".")[0] in WORLD:
                yield f"{_place(file, node)}: imports {name}"
        if isinstance(node, ast.Call):
            called = ast.unparse(node.func)
            unseeded = called.endswith("default_rng") and not node.args
            if unseeded or called in CALLS or called.rpartition(".")[2] in CALLS:
                yield f"{_place(file, node)}: calls {called}"


def test_only_io_and_the_faces_touch_the_world():
    faults = [said for dotted, file in _modules() if _top(dotted) not in FACES for said in _touches(file)]
    cure = "files, databases, sockets, the clock and chance belong to io, web, cli, demo; take the value as an argument"
    assert not faults, "\n".join([*faults, cure])


def test_station_folders_are_those_of_the_way():
    folders = {one.name for one in (PACKAGE / "stations").glob("*/") if (one / "__init__.py").exists()}
    unknown = sorted(folders - {one.name for one in WAY} - {"tests"})
    assert not unknown, f"stations {unknown} are not on the way; add them to way.WAY in the order of the material"


def test_help_loads_nothing_heavy():
    script = (
        "import sys\nfrom reelmark.cli import main\nsys.argv = ['reelmark', '--help']\n"
        "try:\n    main()\nexcept SystemExit:\n    pass\n"
        f"print('LOADED', *sorted({HEAVY!r} & sys.modules.keys()))"
    )
    run = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=False, timeout=60)
    assert run.returncode == 0, run.stderr
    loaded = run.stdout.rsplit("LOADED", 1)[1].split()
    assert not loaded, f"reelmark --help loads {loaded}; import them inside the command that needs them"


def test_what_io_hands_on_is_there_and_loaded_when_it_is_asked_for():
    code = "import sys, reelmark.io.frames_picture; sys.exit('pydantic' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], timeout=120).returncode == 0
    from reelmark import io

    assert all(hasattr(io, name) for name in io.__all__)
    assert not hasattr(io, "no_such_name")
