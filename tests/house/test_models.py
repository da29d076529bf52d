"""The tables: choices bound in the database, constraints exercised, triggers in place, plain names."""

import ast
import re
from collections.abc import Iterator

import pytest
from django.apps import apps
from django.db import models

from practice import append_only
from tests.house.sources import LAYERS, bitten, findings, named, python_files, text_of

OTHER_WORDS_FOR_QUANTITY = re.compile(r"(?:^|_)(?:qty|amount|amt|count|number_of|num|pieces)(?:_|$)")


def our_models() -> list[type[models.Model]]:
    """The project's models; history tables copy their model and are left out."""
    return [
        model
        for layer in LAYERS
        for model in apps.get_app_config(layer).get_models()
        if not hasattr(model, "history_object") and not model.__name__.startswith("Historical")
    ]


def choices_in_force(model, field) -> set | None:
    """The values that a check constraint of the table allows in a field, or None if none binds it."""
    for constraint in model._meta.constraints:
        if isinstance(constraint, models.CheckConstraint) and not constraint.condition.negated:
            children = constraint.condition.children
            if (
                len(children) == 1
                and isinstance(children[0], tuple)
                and children[0][0] == f"{field.name}__in"
            ):
                return set(children[0][1])
    return None


def unbound_choices(model) -> Iterator[str]:
    """Fields whose choices the table does not know, or knows otherwise."""
    for field in model._meta.local_fields:
        if field.choices and not field.primary_key:
            declared, in_force = {value for value, _ in field.flatchoices}, choices_in_force(model, field)
            if in_force is None:
                yield f"{model.__name__}.{field.name} has choices and no check constraint"
            elif in_force != declared:
                differing = sorted(in_force ^ declared)
                yield f"{model.__name__}.{field.name}: the constraint differs by {differing}"


def odd_names(model) -> Iterator[str]:
    """Moments that do not end in _at, days that do not end in _on, and other words for quantity."""
    for field in model._meta.local_fields:
        name = field.name
        if isinstance(field, models.DateTimeField):
            wanted = "at"
        elif isinstance(field, models.DateField):
            wanted = "on"
        else:
            wanted = ""
        # The fixed interface of the plan calls this day so.
        if name == "covered_until":
            continue
        inherited = not field.model.__module__.startswith(LAYERS) or name in {"date_joined", "last_login"}
        if wanted and not inherited and name != wanted and not name.endswith(f"_{wanted}"):
            yield f"{model.__name__}.{name} must end in _{wanted}"
        if OTHER_WORDS_FOR_QUANTITY.search(name):
            yield f"{model.__name__}.{name}: the word is quantity"


def overridden_saves(name, tree):
    """Models that override save or delete, and rules hidden in signals."""
    for node in ast.walk(tree):
        if isinstance(node, ast.ClassDef):
            bases = {ast.unparse(base) for base in node.bases}
            for inner in node.body:
                if bases & {"models.Model", "Model"} and getattr(inner, "name", "") in {"save", "delete"}:
                    yield inner.lineno, f"{node.name}.{inner.name} is overridden; a verb does this"
        elif isinstance(node, ast.Name) and node.id in {"post_save", "pre_save", "post_delete", "pre_delete"}:
            yield node.lineno, f"{node.id}: no rules in signals"


def constraint_names() -> list[str]:
    """Every named constraint of the project's tables."""
    return sorted(constraint.name for model in our_models() for constraint in model._meta.constraints)


def named_in_tests() -> str:
    """The text of all tests but the house rules."""
    return "\n".join(
        text_of(path) for path in python_files("tests") if not named(path).startswith("tests/house/")
    )


def unexercised(names, text) -> list[str]:
    """Names that do not stand whole in the text."""
    return [name for name in names if not re.search(rf"\b{re.escape(name)}\b", text)]


def test_choices_are_bound_by_a_constraint_with_the_same_set():
    assert [line for model in our_models() for line in unbound_choices(model)] == []


def test_every_constraint_is_exercised_by_a_test():
    assert unexercised(constraint_names(), named_in_tests()) == []


def test_moments_days_and_quantities_have_the_house_names():
    assert [line for model in our_models() for line in odd_names(model)] == []


def test_saving_is_plain():
    assert findings(overridden_saves, python_files(*LAYERS)) == []


def test_every_row_says_what_it_is():
    assert [model.__name__ for model in our_models() if model.__str__ is models.Model.__str__] == []


@pytest.mark.django_db
def test_every_trigger_is_there_after_migrate():
    assert append_only.GUARDED
    assert append_only.missing() == []


class Colour(models.TextChoices):
    RED = "red"
    BLUE = "blue"


def sample(**attributes):
    """A model that is never put into a database, for the tests that the rules bite."""
    constraints = attributes.pop("constraints", [])
    meta = type("Meta", (), {"app_label": "house_sample", "constraints": constraints})
    registered = apps.all_models["house_sample"]
    registered.clear()
    return type("Sample", (models.Model,), {"__module__": "stock.models", "Meta": meta, **attributes})


def bound_to(*values):
    return models.CheckConstraint(condition=models.Q(colour__in=values), name="colour_known")


def test_the_rule_on_choices_bites():
    field = models.CharField(max_length=4, choices=Colour)
    assert list(unbound_choices(sample(colour=field))) == [
        "Sample.colour has choices and no check constraint"
    ]
    field = models.CharField(max_length=4, choices=Colour)
    found = list(unbound_choices(sample(colour=field, constraints=[bound_to("red", "green")])))
    assert found == ["Sample.colour: the constraint differs by ['blue', 'green']"]
    field = models.CharField(max_length=4, choices=Colour)
    assert list(unbound_choices(sample(colour=field, constraints=[bound_to("red", "blue")]))) == []


def test_the_rule_on_names_bites():
    model = sample(
        expiry=models.DateField(),
        made=models.DateTimeField(),
        unit_count=models.IntegerField(),
        qty=models.IntegerField(),
        discount=models.IntegerField(),
        sent_at=models.DateTimeField(),
        on=models.DateField(),
    )
    assert [line.split(" ")[0].rstrip(":") for line in odd_names(model)] == [
        "Sample.expiry",
        "Sample.made",
        "Sample.unit_count",
        "Sample.qty",
    ]


def test_the_rule_on_saving_bites():
    assert bitten(overridden_saves, "class A(models.Model):\n    def save(self):\n        pass\n")
    assert bitten(overridden_saves, "post_save.connect(rule)")


def test_the_rule_on_exercised_constraints_bites():
    assert unexercised(["lot_once"], "refuses(lot_once_per_item)") == ["lot_once"]
    assert unexercised(["lot_once"], 'refuses("lot_once")') == []


@pytest.mark.django_db
def test_the_rule_on_triggers_bites(monkeypatch):
    monkeypatch.setitem(append_only.GUARDED, "stock_item", (("id",),))
    assert append_only.missing() != []
