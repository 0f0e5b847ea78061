"""Who may import whom: the layer table of DEVELOPERS.md, walked through every import of the package."""

from __future__ import annotations

import ast
import sys
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import pytest

PACKAGE = Path(__file__).resolve().parents[1] / "lightdose"
MODULES = sorted(PACKAGE.rglob("*.py"))


@dataclass(frozen=True)
class Layer:
    """What a layer may import: our own layers, third-party modules anywhere, and only inside functions."""

    ours: frozenset[str]
    third: frozenset[str] = frozenset()
    inside_functions: frozenset[str] = frozenset()


def layer(ours: str, third: str = "", inside: str = "") -> Layer:
    return Layer(frozenset(ours.split()), frozenset(third.split()), frozenset(inside.split()))


TABLE = {
    "frozen": layer(""),
    "quantities": layer("frozen"),
    "errors": layer("frozen"),
    "model": layer("frozen quantities errors model", "numpy"),
    "physics": layer("quantities errors model physics", "numpy", "colour"),
    "fit": layer("quantities errors near_names model physics fit", "numpy", "scipy"),
    "judge": layer("quantities errors near_names model physics judge", "numpy"),
    "files": layer(
        "version frozen quantities errors near_names model files",
        "numpy pydantic pydantic_core",
        "pandas colour",
    ),
    "answers": layer("quantities errors model answers", "numpy"),
    "guide": layer("frozen errors near_names guide", "", "markdown_it"),
    "present": layer("quantities errors model answers guide present", "numpy jinja2", "matplotlib rich"),
    "analysis": layer("version quantities errors model physics judge files", "numpy", "pandas"),
    "workflows": layer(
        "version quantities errors near_names model physics fit judge files analysis workflows", "numpy"
    ),
    "desk": layer(
        "version quantities errors model physics fit judge files answers present analysis workflows desk",
        "numpy starlette tomlkit uvicorn",
        "jinja2",
    ),
    "cli": layer(
        "version quantities errors model physics fit judge files answers guide present analysis workflows "
        "working_folder near_names frozen desk cli",
        "click",
        "numpy rich",
    ),
    "python": layer(
        "version quantities errors near_names model physics fit judge files answers present analysis "
        "workflows python",
        "numpy",
        "pandas xarray",
    ),
    "plot": layer(
        "version quantities errors near_names model physics judge files present analysis workflows python",
        "",
        "matplotlib",
    ),
    "__init__": layer("errors model files analysis plot python"),
    "__main__": layer("cli working_folder"),
    "near_names": layer(""),
    "working_folder": layer("", inside="matplotlib"),
}
LATE = {
    ("analysis", "lightdose.answers.dose"),
    ("analysis", "lightdose.python.shown"),
    ("model", "lightdose.python.building"),
    ("model", "lightdose.python.changes"),
}
"""What Python gets shows itself as a table by the layer above, inside its method."""

HEAVY = {"present/figures/page_axes.py": {"matplotlib"}}
"""Modules that load only where a function needs them, as a whole: heavy libraries stand at their heads."""

PURE_LAYERS = {"frozen", "quantities", "errors", "model", "physics"}
IMPURE_MODULES = {
    "os",
    "pathlib",
    "io",
    "time",
    "datetime",
    "random",
    "secrets",
    "subprocess",
    "shutil",
    "tempfile",
}


def inner_name(path: Path) -> str:
    return path.relative_to(PACKAGE).as_posix()


def layer_of(path: Path) -> str:
    return path.relative_to(PACKAGE).with_suffix("").parts[0]


@dataclass(frozen=True)
class Import:
    module: str
    inside_function: bool
    for_types_only: bool
    line: int


@cache
def imports_of(path: Path) -> list[Import]:
    """Every absolute import of a module, with whether it runs only inside a function."""
    found: list[Import] = []

    def walk(node: ast.AST, inside: bool, types_only: bool) -> None:
        for child in ast.iter_child_nodes(node):
            if isinstance(child, ast.Import):
                found.extend(Import(a.name, inside, types_only, child.lineno) for a in child.names)
            elif isinstance(child, ast.ImportFrom):
                assert child.level == 0, f"{path}:{child.lineno}: relative import"
                module = child.module or ""
                if module == "lightdose":
                    found.extend(
                        Import(
                            f"lightdose.{a.name.replace('__version__', 'version')}",
                            inside,
                            types_only,
                            child.lineno,
                        )
                        for a in child.names
                    )
                else:
                    found.append(Import(module, inside, types_only, child.lineno))
            else:
                is_function = isinstance(child, ast.FunctionDef | ast.AsyncFunctionDef | ast.Lambda)
                is_types = isinstance(child, ast.If) and "TYPE_CHECKING" in ast.unparse(child.test)
                walk(child, inside or is_function, types_only or is_types)

    walk(ast.parse(path.read_text(encoding="utf-8")), False, False)
    return found


@pytest.mark.identity
@pytest.mark.parametrize("path", MODULES, ids=lambda p: str(p.relative_to(PACKAGE)))
def test_module_imports_only_what_its_layer_allows(path: Path) -> None:
    """Imports point down the layer table; heavy libraries load inside the function that needs them."""
    allowed = TABLE[layer_of(path)]
    for found in imports_of(path):
        top, *rest = found.module.split(".")
        where = f"{path.relative_to(PACKAGE)}:{found.line} imports {found.module}"
        if top == "lightdose":
            if rest and (layer_of(path), found.module) not in LATE:
                assert rest[0] in allowed.ours, where
        elif top not in sys.stdlib_module_names:
            late = found.inside_function or found.for_types_only or top in HEAVY.get(inner_name(path), ())
            assert top in allowed.third or (late and top in allowed.inside_functions), where


def module_name(path: Path) -> str:
    return ".".join(path.relative_to(PACKAGE.parent).with_suffix("").parts).removesuffix(".__init__")


def early_imports(path: Path) -> set[str]:
    """Our modules that a module imports at its head or for types, not only when a function runs."""
    names = {module_name(p) for p in MODULES}
    found = {i.module for i in imports_of(path) if not i.inside_function}
    return {name for name in found if name in names} - {"lightdose"}


@pytest.mark.identity
def test_heavy_module_is_loaded_inside_functions() -> None:
    """Nobody pays for a module with a heavy library at its head before it is needed."""
    heavy = {module_name(PACKAGE / name) for name in HEAVY}
    assert {module_name(path) for path in MODULES} >= heavy
    assert not [path for path in MODULES if early_imports(path) & heavy]


@pytest.mark.identity
def test_imports_never_run_in_a_circle() -> None:
    """Modules can be put in an order in which each imports only earlier ones, imports for types included."""
    waiting = {module_name(p): early_imports(p) for p in MODULES}
    while ready := {name for name, needs in waiting.items() if not needs & waiting.keys()}:
        waiting = {name: needs for name, needs in waiting.items() if name not in ready}
    assert not waiting


@pytest.mark.identity
@pytest.mark.parametrize(
    "path", [p for p in MODULES if layer_of(p) in PURE_LAYERS], ids=lambda p: str(p.relative_to(PACKAGE))
)
def test_pure_module_touches_no_file_clock_or_terminal(path: Path) -> None:
    """Model and physics know no files, dates, randomness or printing, so six numbers test a function."""
    for found in imports_of(path):
        impure = found.module.split(".")[0] in IMPURE_MODULES and not found.for_types_only
        assert not impure, f"{path}:{found.line}"
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name):
            assert node.func.id not in {"open", "print", "input", "exec", "eval"}, f"{path}:{node.lineno}"
        if isinstance(node, ast.Attribute) and node.attr == "random":
            pytest.fail(f"{path}:{node.lineno} draws random numbers")


@pytest.mark.pinned
@pytest.mark.parametrize("path", MODULES, ids=lambda p: str(p.relative_to(PACKAGE)))
def test_module_fits_a_sitting(path: Path) -> None:
    """Modules have 25 to 600 lines, functions under about 60; none is a drawer for odds and ends."""
    text = path.read_text(encoding="utf-8")
    lines = text.count("\n")
    assert lines <= 600, f"{path} has {lines} lines"
    assert lines >= 25 or path.name in {"__init__.py", "__main__.py"}, f"{path} has only {lines} lines"
    assert path.stem not in {"utils", "helpers", "common", "core", "manager"}
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.FunctionDef):
            body = node.body[1:] if ast.get_docstring(node) else node.body
            length = (body[-1].end_lineno or 0) - body[0].lineno + 1 if body else 0
            assert length <= 65, f"{path}:{node.lineno} {node.name} has {length} lines"


@pytest.mark.identity
@pytest.mark.parametrize(
    "path",
    [p for p in MODULES if layer_of(p) in {"physics", "fit", "judge"} and p.name != "__init__.py"],
    ids=lambda p: str(p.relative_to(PACKAGE)),
)
def test_public_calculation_names_its_source(path: Path) -> None:
    """Every public function of physics, fit and judge with a formula or a number says where it comes from."""
    for node in ast.parse(path.read_text(encoding="utf-8")).body:
        if isinstance(node, ast.FunctionDef) and not node.name.startswith("_"):
            text = ast.get_docstring(node) or ""
            sourced = "Source\n------" in text
            assert sourced or not (told := formula_signs(node)), f"{path}:{node.lineno} {node.name}: {told}"


FORMULA_FUNCTIONS = {
    *("exp", "expm1", "log", "log1p", "log10", "sqrt", "hypot", "erf"),
    *("sin", "cos", "tan", "arcsin", "arccos", "arctan", "arctan2", "sinh", "cosh", "tanh"),
}
PLAIN_NUMBERS = frozenset((0.0, 0.5, 1.0, 2.0, 100.0))
ROUNDING = 1e-6
"""Numbers up to this guard a comparison against rounding."""


def formula_signs(function: ast.FunctionDef) -> set[str]:
    """What shows a formula or a threshold: powers, functions of analysis, numbers that are not plain."""
    signs: set[str] = set()
    for node in ast.walk(function):
        if isinstance(node, ast.BinOp) and isinstance(node.op, ast.Pow):
            signs.add("a power")
        elif isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute | ast.Name):
            name = node.func.attr if isinstance(node.func, ast.Attribute) else node.func.id
            signs |= FORMULA_FUNCTIONS & {name}
        elif isinstance(node, ast.Constant) and isinstance(node.value, float):
            signs |= {f"{node.value}"} if node.value > ROUNDING and node.value not in PLAIN_NUMBERS else set()
    return signs


@pytest.mark.identity
@pytest.mark.parametrize(
    "path",
    sorted(PACKAGE.parent.glob("tests/**/test_*.py")),
    ids=lambda p: str(p.relative_to(PACKAGE.parent)),
)
def test_every_test_says_what_it_proves_and_how(path: Path) -> None:
    """Each test has a line on what it proves, a marker published, identity or pinned, and an assertion."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    module_marks = [
        ast.unparse(n.value)
        for n in tree.body
        if isinstance(n, ast.Assign) and "pytestmark" in ast.unparse(n)
    ]
    for node in ast.walk(tree):
        if isinstance(node, ast.FunctionDef) and node.name.startswith("test_"):
            where = f"{path.name}:{node.lineno} {node.name}"
            assert ast.get_docstring(node), f"{where} has no docstring"
            marks = " ".join([ast.unparse(d) for d in node.decorator_list] + module_marks)
            assert any(f"mark.{kind}" in marks for kind in ("published", "identity", "pinned")), (
                f"{where} has no mark"
            )
