"""The published checks hold, and the page tells exactly what the checks are."""

import importlib

import pytest

from tests.compute.published_checks import CHECKS
from tests.compute.published_checks.check import Check, NotOurs, agrees
from tests.compute.published_checks.not_ours import NOT_OURS
from tests.compute.published_checks.oracles import ORACLES
from tests.compute.published_checks.page import PAGE, render, shown

HOW_KNOWN = ("seen", "second-hand", "from memory", "computed", "design")
REWRITE = "python -m tests.compute.published_checks > coaching/compute/PUBLISHED_CHECKS.md"


@pytest.mark.parametrize("check", CHECKS, ids=lambda check: check.code)
def test_our_value_agrees_with_the_source(check: Check):
    found = check.compute()
    assert agrees(found, check.expected, check.tolerance), f"{check.quantity}: {shown(found)}"


def test_the_page_is_the_one_written_from_the_checks():
    assert PAGE.read_bytes() == render().encode(), f"rewrite it: {REWRITE}"


def test_no_two_checks_share_a_name():
    codes = [row.code for row in (*CHECKS, *NOT_OURS)]
    assert len(set(codes)) == len(codes)


@pytest.mark.parametrize("check", CHECKS, ids=lambda check: check.code)
def test_a_check_names_what_it_concerns_and_how_its_value_is_known(check: Check):
    module, name = check.subject.split(".")
    assert hasattr(importlib.import_module(f"coaching.compute.{module}"), name)
    assert check.source
    assert any(word in check.known for word in HOW_KNOWN)


@pytest.mark.parametrize("row", NOT_OURS, ids=lambda row: row.code)
def test_a_figure_without_a_function_says_why_and_how_it_is_known(row: NotOurs):
    assert row.reason
    assert any(word in row.source for word in HOW_KNOWN)


@pytest.mark.parametrize("oracle", ORACLES, ids=lambda oracle: oracle.test)
def test_an_independent_implementation_is_named_with_a_test_that_exists(oracle):
    module, name = oracle.subject.split(".")
    assert hasattr(importlib.import_module(f"coaching.compute.{module}"), name)
    assert hasattr(importlib.import_module(f"tests.compute.{oracle.module[:-3]}"), oracle.test)


@pytest.mark.parametrize(
    ("found", "expected", "tolerance"),
    [(1.1, 1.0, 0.05), ((1, 2), (1, 3), 0), ((1,), (1, 1), 0), (float("nan"), 1.0, 9), ("low", "high", 0)],
)
def test_values_that_differ_do_not_agree(found, expected, tolerance):
    assert not agrees(found, expected, tolerance)
