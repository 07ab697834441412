"""Every public function of the computing core says what it takes and gives, shows it, and names a source."""

import ast
import doctest
import importlib
import inspect
import pkgutil
import re
from pathlib import Path

import pytest

from coaching import compute

MODULES = [f"coaching.compute.{module.name}" for module in pkgutil.iter_modules(compute.__path__)]

# They pick, name or word what other functions have computed; there is no formula or rule to trace.
WITHOUT_A_FORMULA = {
    "coaching.compute.advice_sentence",
    "coaching.compute.draft",
    "coaching.compute.findings",
    "coaching.compute.evidence",
    "coaching.compute.asks",
    "coaching.compute.exposure.is_tempo",
}

# They check and give nothing back.
WITHOUT_A_RESULT = {"coaching.compute.pain.check_pain", "coaching.compute.plan_week.check_planned"}


def public_functions():
    for name in MODULES:
        module = importlib.import_module(name)
        for function in vars(module).values():
            is_own = inspect.isfunction(function) and function.__module__ == name
            if is_own and not function.__name__.startswith("_"):
                yield pytest.param(
                    function, id=f"{name.removeprefix('coaching.compute.')}.{function.__name__}"
                )


def raised_messages():
    """Every raise of the core, as the source of what is raised."""
    for path in sorted(Path(compute.__path__[0]).glob("*.py")):
        for node in ast.walk(ast.parse(path.read_text())):
            if isinstance(node, ast.Raise) and node.exc is not None:
                yield pytest.param(ast.unparse(node.exc), id=f"{path.stem}:{node.lineno}")


FUNCTIONS, RAISED = list(public_functions()), list(raised_messages())


@pytest.mark.parametrize("function", FUNCTIONS)
def test_a_public_function_documents_every_argument(function):
    text = inspect.getdoc(function) or ""
    told = re.findall(r"^    ((?:\w+, )*\w+): ", text.partition("Args:\n")[2].partition("\n\n")[0], re.M)
    names = [name for line in told for name in line.split(", ")]
    assert sorted(names) == sorted(inspect.signature(function).parameters)


@pytest.mark.parametrize("function", FUNCTIONS)
def test_a_public_function_says_what_it_returns(function):
    name = f"{function.__module__}.{function.__name__}"
    assert ("Returns:" in (inspect.getdoc(function) or "")) == (name not in WITHOUT_A_RESULT)


@pytest.mark.parametrize("function", FUNCTIONS)
def test_a_public_function_names_its_source(function):
    name = f"{function.__module__}.{function.__name__}"
    is_exempt = bool({name, function.__module__} & WITHOUT_A_FORMULA)
    assert ("Source:" in (inspect.getdoc(function) or "")) != is_exempt


@pytest.mark.parametrize("function", FUNCTIONS)
def test_a_public_function_has_a_running_example(function):
    assert doctest.DocTestFinder(recurse=False).find(function)[0].examples


@pytest.mark.parametrize("function", FUNCTIONS)
def test_what_raises_says_so(function):
    if "raise ValueError" in inspect.getsource(function):
        assert "Raises:\n    ValueError: " in inspect.getdoc(function)


@pytest.mark.parametrize("raised", RAISED)
def test_an_error_is_a_value_error_that_names_argument_rule_and_value(raised: str):
    assert re.fullmatch(
        r"ValueError\(f['\"](\w+|\{name\})( (and|\+) \w+)? must .*, got .*\{.*\}.*['\"]\)", raised, re.S
    )
