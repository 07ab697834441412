"""Computing stands on its own: no framework, no queue, no test oracle is loaded with it."""

import pkgutil
import subprocess
import sys

import pytest

from coaching import compute

MODULES = [f"coaching.compute.{module.name}" for module in pkgutil.iter_modules(compute.__path__)]
FOREIGN = ["django", "celery", "scipy", "pandas", "statsmodels", "pymannkendall", "rest_framework"]


def loaded_after(imports: list[str]) -> set[str]:
    code = ";".join(["import sys", *(f"import {name}" for name in imports), "print(*sys.modules)"])
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    return set(done.stdout.split())


@pytest.fixture(scope="module")
def loaded() -> set[str]:
    return loaded_after(MODULES)


def test_every_module_is_looked_at(loaded):
    assert {"coaching.compute.strength", "coaching.compute.trends"} <= set(MODULES) <= loaded


@pytest.mark.parametrize("name", FOREIGN)
def test_computing_does_not_load(loaded, name):
    assert name not in loaded


def test_computing_loads_numpy_and_the_standard_library_only(loaded):
    added = {name.partition(".")[0] for name in loaded - loaded_after(["numpy"])}
    # zoneinfo reads the build data of the interpreter, a module that is named after the platform.
    build_data = {name for name in added if name.startswith("_sysconfigdata")}
    assert added - sys.stdlib_module_names - build_data - {"numpy"} == {"coaching"}
