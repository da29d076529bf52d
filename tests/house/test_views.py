"""Views are short and reach objects through `practice.access`; forms clean and do nothing else."""

import ast
import re

import pytest

from tests.house.sources import LAYERS, bitten, dotted, findings, functions, length, named, python_files

LONGEST_VIEW = 25
WRITES = {
    "save",
    "create",
    "bulk_create",
    "update",
    "delete",
    "get_or_create",
    "update_or_create",
    "bulk_update",
}
MAY_BE_IN_A_FORM = re.compile(r"clean(_\w+)?|__\w+__|_\w+|choices\w*|label_from_instance")
IS_FORM = re.compile(r"\w*Form(Set)?")


def module_is(noun):
    """A pattern for the modules with this noun: `views.py`, `lot_views.py`, files under `views/`."""
    return re.compile(rf"(?:{'|'.join(LAYERS)})/(?:.*/)?(?:\w*{noun}\.py|{noun}/\w+\.py)")


VIEWS, FORMS = module_is("views"), module_is("forms")


def is_view(node):
    """A view takes the request first; other functions of the module are its private steps."""
    arguments = node.args.posonlyargs + node.args.args
    return bool(arguments) and arguments[0].arg == "request" and not node.name.startswith("_")


def long_views(name, tree):
    """Views over 25 lines."""
    for node in functions(tree):
        if is_view(node) and length(node) > LONGEST_VIEW:
            yield node.lineno, f"the view {node.name} has {length(node)} lines; {LONGEST_VIEW} are allowed"


def views_of_classes(name, tree):
    """Class-based views."""
    for node in ast.walk(tree):
        if isinstance(node, ast.ClassDef) and any(dotted(base).endswith("View") for base in node.bases):
            yield node.lineno, f"{node.name}: a view is a function"


def objects_past_access(name, tree):
    """Objects that reach a view without `practice.access`."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Attribute) and node.attr in {"objects", "_default_manager", "_base_manager"}:
            yield node.lineno, f"{dotted(node)}: ask access.fetch, access.visible or a query"
        elif isinstance(node, (ast.Name, ast.Attribute)) and dotted(node).split(".")[-1] in {
            "get_object_or_404",
            "get_list_or_404",
        }:
            yield node.lineno, "get_object_or_404 knows no roles: use access.fetch"


def forms_that_do_more(name, tree):
    """Forms with methods besides cleaning, or that write."""
    for node in ast.walk(tree):
        if not isinstance(node, ast.ClassDef) or not any(
            IS_FORM.fullmatch(dotted(base).split(".")[-1]) for base in node.bases
        ):
            continue
        for inner in ast.walk(node):
            if isinstance(inner, ast.FunctionDef) and not MAY_BE_IN_A_FORM.fullmatch(inner.name):
                decorated = {dotted(each) for each in inner.decorator_list}
                if not decorated & {"property", "cached_property"}:
                    yield (
                        inner.lineno,
                        f"{node.name}.{inner.name}: a form cleans its input and does nothing else",
                    )
            elif (
                isinstance(inner, ast.Call) and isinstance(inner.func, ast.Attribute) and _writes(inner.func)
            ):
                yield inner.lineno, f"{node.name} writes ({dotted(inner.func)}); a verb does that"


def _writes(func):
    """Whether a call writes rows: `.update()` of dictionaries such as `attrs` and `fields` does not."""
    parts = dotted(func).split(".")
    harmless = {"attrs", "fields", "widgets", "errors", "cleaned_data", "initial", "data", "queryset"}
    return parts[-1] in WRITES and not (parts[-1] == "update" and harmless & set(parts[:-1]))


def modules(pattern):
    return [path for path in python_files(*LAYERS) if pattern.fullmatch(named(path))]


def test_views_are_short():
    assert findings(long_views, modules(VIEWS)) == []


def test_views_are_functions():
    assert findings(views_of_classes, modules(VIEWS)) == []


def test_objects_reach_views_through_access():
    assert findings(objects_past_access, modules(VIEWS)) == []


def test_forms_clean_and_nothing_else():
    assert findings(forms_that_do_more, modules(FORMS)) == []


def test_the_rule_on_long_views_bites():
    body = "\n".join(f"    x = {number}" for number in range(25))
    rest = "\n".join(f"    x = {number}" for number in range(24))
    assert bitten(long_views, f"def item(request):\n{body}\n")
    assert not bitten(long_views, f"def item(request):\n{rest}\n")
    assert not bitten(long_views, f"def rows(lots):\n{body}\n")
    assert VIEWS.fullmatch("stock/views.py")
    assert VIEWS.fullmatch("stock/order_views.py")
    assert VIEWS.fullmatch("kits/views/today.py")
    assert not VIEWS.fullmatch("kits/reviews/today.py")


def test_the_rule_on_class_views_bites():
    assert bitten(views_of_classes, "class Items(ListView): pass")
    assert bitten(views_of_classes, "class Items(generic.DetailView): pass")


@pytest.mark.parametrize(
    "line",
    ["Item.objects.get(pk=pk)", "get_object_or_404(Item, pk=pk)", "shortcuts.get_object_or_404(Item, pk=pk)"],
)
def test_the_rule_on_reaching_objects_bites(line):
    assert bitten(objects_past_access, f"def item(request, pk):\n    return {line}\n")
    assert not bitten(
        objects_past_access, "def item(request, pk):\n    return access.fetch(request.user, Item, pk=pk)"
    )


@pytest.mark.parametrize(
    "method",
    [
        "def save(self):\n        return 1",
        "def clean(self):\n        Item.objects.create(code='x')",
        "def clean_lot(self):\n        self.lot.save()",
        "def apply(self):\n        return posting.use(self.lot)",
    ],
)
def test_the_rule_on_forms_bites(method):
    assert bitten(forms_that_do_more, f"class WasteForm(forms.Form):\n    {method}\n")


def test_the_rule_on_forms_lets_cleaning_pass():
    sample = (
        "class WasteForm(forms.Form):\n    def __init__(self, *a, **k):\n        super().__init__(*a, **k)\n"
        "        self.fields['place'].widget.attrs.update(size=3)\n"
        "    def clean_lot(self):\n        return 1\n"
    )
    assert bitten(forms_that_do_more, sample) == []
