"""What import-linter cannot see of the one-way stack: foreign keys by string, and names of tasks."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest
from celery import current_app
from django.apps import apps

from dryrecords.core import task_names

# From the bottom up, as in the layers of pyproject.toml.
STACK = ["journal", "tenancy", "equipment", "harvest", "season", "settlement", "office", "config"]
PACKAGE = Path(__file__).parent.parent / "dryrecords"


def level(label: str) -> int:
    return STACK.index(label) if label in STACK else -1


@pytest.mark.parametrize("label", STACK)
def test_no_table_refers_upward(label: str) -> None:
    for model in apps.get_app_config(label).get_models():
        for field in model._meta.get_fields(include_hidden=False):
            target = field.related_model
            if target is not None and field.concrete:
                assert level(target._meta.app_label) <= level(label), f"{model.__name__}.{field.name}"


def test_every_part_with_tables_is_in_the_stack() -> None:
    ours = {config.label for config in apps.get_app_configs() if config.name.startswith("dryrecords.")}
    assert ours == set(STACK)


def test_every_task_has_its_name_in_one_place() -> None:
    named = {value for name, value in vars(task_names).items() if name.isupper()}
    current_app.loader.import_default_modules()
    registered = {name for name in current_app.tasks if not name.startswith("celery.")}
    assert registered == named


def test_task_names_are_written_nowhere_else() -> None:
    named = {value for name, value in vars(task_names).items() if name.isupper()}
    for path in [*PACKAGE.rglob("*.py"), *(PACKAGE.parent / "api").rglob("*.py")]:
        if path.name != "task_names.py":
            texts = {node.value for node in ast.walk(ast.parse(path.read_text())) if isinstance(node, ast.Constant)}
            assert not named & {text for text in texts if isinstance(text, str)}, path
