"""What the code looks like: short argument lists, short functions."""

import ast
import inspect
from pathlib import Path

import spreadnet

PACKAGE = Path(spreadnet.__file__).parent
MOST_ARGUMENTS, MOST_LINES = 8, 60
LOOPS = ("model/fast/", "decisions/roster/people.py: new_diary")  # compiled code takes no objects


def functions():
    """Every function of the package with its place."""
    for path in sorted(PACKAGE.rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if isinstance(node, ast.FunctionDef):
                yield f"{path.relative_to(PACKAGE)}: {node.name}", node


def arguments(node):
    """Number of parameters, `*args` and `**keywords` counted, `self` and `cls` not."""
    every = node.args
    names = [*every.posonlyargs, *every.args, *every.kwonlyargs]
    more = [every.vararg, every.kwarg]
    own = names[:1] and names[0].arg in {"self", "cls"}
    return len(names) + sum(one is not None for one in more) - bool(own)


def test_no_public_function_has_more_than_8_arguments():
    long = {name: arguments(f) for name, f in functions() if not f.name.startswith("_")}
    over = {
        name: n for name, n in long.items() if n > MOST_ARGUMENTS and not name.startswith(LOOPS)
    }
    assert not over
    for name in spreadnet.__all__:
        if inspect.isfunction(getattr(spreadnet, name)):
            assert len(inspect.signature(getattr(spreadnet, name)).parameters) <= MOST_ARGUMENTS


def test_no_function_is_longer_than_60_lines():
    def lines(node):
        body = node.body[1:] if ast.get_docstring(node) else node.body
        return body[-1].end_lineno - body[0].lineno + 1 if body else 0

    over = {name: lines(f) for name, f in functions() if lines(f) > MOST_LINES}
    assert not over


def test_signatures_of_public_functions_are_short_to_read():
    for name in spreadnet.__all__:
        if inspect.isfunction(getattr(spreadnet, name)):
            assert len(str(inspect.signature(getattr(spreadnet, name)))) < 600, name
