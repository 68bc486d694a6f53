"""Every public name of the SDK tells what it does, with an example that the tests run."""

from __future__ import annotations

import inspect
from pathlib import Path

import pytest

import fourpair
import fourpair.testing
import fourpair.webhooks
from fourpair import Client

SDK = Path(fourpair.__file__).parent
PARTS = ("jobs", "records", "changes", "regrades", "assessments", "subscriptions", "handovers")
EXAMPLE = ">>> "


def public():
    """Yield every public class, function and method with the name that a user knows."""
    with Client() as client:
        roots = [(f"client.{part}", type(getattr(client, part))) for part in PARTS]
    roots += [(name, getattr(fourpair, name)) for name in fourpair.__all__]
    roots += [(f"testing.{name}", getattr(fourpair.testing, name)) for name in fourpair.testing.__all__]
    roots += [
        (f"webhooks.{name}", found)
        for name, found in vars(fourpair.webhooks).items()
        if getattr(found, "__module__", "") == fourpair.webhooks.__name__ and not name.startswith("_")
    ]
    seen = set()
    for name, found in roots:
        if not (inspect.isclass(found) or inspect.isfunction(found)):
            continue
        yield name, found
        if inspect.isclass(found):
            for method_name, method in inspect.getmembers(found):
                own = getattr(method, "__func__", method)
                if method_name.startswith("_") or not inspect.isfunction(own) or own in seen:
                    continue
                if own.__module__.startswith("fourpair"):
                    seen.add(own)
                    yield f"{name}.{method_name}", own


NAMES = dict(public())


def test_the_walk_finds_what_a_user_finds():
    assert {
        "client.records.create",
        "Client.grade",
        "Verdict.summary",
        "webhooks.verify",
        "testing.service",
    } <= set(NAMES)
    assert len(NAMES) > 150


@pytest.mark.parametrize("name", NAMES)
def test_a_public_name_has_an_example(name):
    told = NAMES[name].__doc__ or ""

    assert EXAMPLE in told, f"{name} has no example in its docstring"


def test_no_example_is_skipped():
    marked = [path for path in SDK.rglob("*.py") if "doctest: +SKIP" in path.read_text()]

    assert marked == []


def test_an_example_is_run_where_it_stands(pytestconfig):
    assert "--doctest-modules" in pytestconfig.getini("addopts")
    assert "sdk" in pytestconfig.getini("testpaths")
