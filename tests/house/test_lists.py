"""Each list page has a test that counts its queries at one row and at twenty."""

import ast
import inspect
import re
import textwrap

from tests.house.sources import named, python_files, text_of
from tests.house.test_sweep import pages

COUNTERS = re.compile(r"django_assert_(?:max_)?num_queries|assertNumQueries|CaptureQueriesContext")


def shows_a_table(source: str) -> bool:
    """Whether a view's source uses a table class (ItemTable, LotTable)."""
    tree = ast.parse(textwrap.dedent(source))
    words = {node.id for node in ast.walk(tree) if isinstance(node, ast.Name)}
    words |= {node.attr for node in ast.walk(tree) if isinstance(node, ast.Attribute)}
    return any(re.fullmatch(r"[A-Z]\w*Table", word) for word in words)


def list_pages() -> list[str]:
    """Names of the addresses whose view shows a table."""
    return [page.name for page in pages() if shows_a_table(inspect.getsource(inspect.unwrap(page.view)))]


def uncounted(names, texts) -> list[str]:
    """Names that no test file both mentions, in quotes, and counts queries in."""
    counting = [text for text in texts if COUNTERS.search(text)]
    return [name for name in names if not any(re.search(rf"[\"']{name}[\"']", text) for text in counting)]


def test_every_list_page_counts_its_queries():
    texts = [text_of(path) for path in python_files("tests") if not named(path).startswith("tests/house/")]
    assert uncounted(list_pages(), texts) == []


def test_the_rule_on_list_pages_bites():
    assert shows_a_table("def items(request):\n    return listed(request, ItemTable)\n")
    assert shows_a_table("@signed_in()\ndef items(request):\n    return tables.LotTable([])\n")
    assert not shows_a_table("def item(request):\n    return render(request)\n")
    assert uncounted(["items"], ["def test(client): client.get(reverse('items'))"]) == ["items"]
    assert uncounted(["items"], ["with CaptureQueriesContext(c): get('items_more')"]) == ["items"]
    assert uncounted(["items"], ["with CaptureQueriesContext(c): get('items')"]) == []
