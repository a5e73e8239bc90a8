"""The changes that the tests must notice can still be made: run `python -m tests.studies.mutations` to judge them."""

import importlib

import pytest

from tests.studies.mutations import MUTATIONS, Mutation, spoiled


@pytest.mark.parametrize("mutation", MUTATIONS, ids=lambda one: one.name)
def test_the_change_fits_the_code_and_its_test_is_there(mutation: Mutation) -> None:
    compile(spoiled(mutation), mutation.path, "exec")
    assert callable(getattr(importlib.import_module(mutation.tests), mutation.test))
