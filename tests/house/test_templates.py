"""Templates: short, strict about scripts and styles, free of queries; components say what they take."""

import re
from collections.abc import Iterator

import pytest

from tests.house.sources import named, template_files, text_of

LONGEST_PAGE, LONGEST_FRAGMENT = 120, 60
COMMENT = re.compile(r"\{#.*?#\}|\{% comment.*?endcomment %\}|<!--.*?-->", re.DOTALL)
CODE = re.compile(r"\{\{(.*?)\}\}|\{%(.*?)%\}", re.DOTALL)
OPENING_COMMENT = re.compile(r"\s*(?:\{% comment %\}(.*?)\{% endcomment %\}|\{#(.*?)#\})", re.DOTALL)

UNSAFE = (
    (re.compile(r"<[^>]*\sstyle\s*=", re.IGNORECASE), "style= is blocked by the content security policy"),
    (re.compile(r"<style\b", re.IGNORECASE), "<style> is blocked by the content security policy"),
    (re.compile(r"<[^>]*\son[a-z]+\s*=", re.IGNORECASE), "on…= is blocked by the content security policy"),
    (re.compile(r"<[^>]*\shx-on\b", re.IGNORECASE), "hx-on needs eval, which the policy blocks"),
    (
        re.compile(r"<script\b(?![^>]*\ssrc\s*=)", re.IGNORECASE),
        "<script> without src is blocked by the policy",
    ),
    (re.compile(r"javascript:", re.IGNORECASE), "javascript: addresses are blocked by the policy"),
    (re.compile(r"\|\s*safe(?:seq)?\b"), "|safe lets any text through as markup"),
    (re.compile(r"\{%\s*autoescape\s+off"), "autoescape off lets any text through as markup"),
    (
        re.compile(r"(?:src|href|action)\s*=\s*[\"']?\s*(?:https?:)?//", re.IGNORECASE),
        "a request would leave the building",
    ),
)
QUERY = re.compile(
    r"(?<!paginator)\.(?:all|filter|exclude|count|exists|iterator|order_by|values_list|objects)\b|\w_set\b"
)
STRING = re.compile(r"\"[^\"]*\"|'[^']*'")
EVERYWHERE = {
    *("request", "user", "perms", "messages", "forloop", "csrf_token", "block", "True", "False", "None"),
    *("and", "or", "not", "in", "is", "practice", "clinic", "clinics", "role", "nav"),
}


def kind_of(name):
    """component, fragment or page."""
    if "templates/ui/" in name:
        return "component"
    if "/fragments/" in name or "/tables/" in name or name.rsplit("/", 1)[-1].startswith("_"):
        return "fragment"
    return "page"


def too_long(name, text) -> Iterator[str]:
    """Pages over 120 lines, fragments and components over 60."""
    limit = LONGEST_PAGE if kind_of(name) == "page" else LONGEST_FRAGMENT
    if text.count("\n") > limit:
        yield f"{name} has {text.count(chr(10))} lines; {limit} are allowed for a {kind_of(name)}"


def unsafe(name, text) -> Iterator[str]:
    """What the content security policy blocks, or what lets text through as markup."""
    bare = COMMENT.sub("", text)
    for pattern, sentence in UNSAFE:
        for match in pattern.finditer(bare):
            yield f"{name}: {match[0][-40:]!r}: {sentence}"


def queries(name, text) -> Iterator[str]:
    """Calls that would ask the database while the page is drawn."""
    for match in CODE.finditer(COMMENT.sub("", text)):
        code = STRING.sub("", match[1] or match[2])
        for found in QUERY.finditer(code):
            yield f"{name}: “{code.strip()}” asks the database ({found[0]})"


def undocumented(name, text) -> Iterator[str]:
    """Components without an opening comment, or with a variable that the comment does not name."""
    opening = OPENING_COMMENT.match(text)
    if opening is None:
        yield f"{name} must open with a comment that names its variables"
        return
    told = set(re.findall(r"\w+", opening[1] or opening[2]))
    yield from (f"{name}: the comment does not name “{each}”" for each in sorted(variables(text) - told))


def variables(text) -> set[str]:
    """Names a component takes from its caller: what it shows or asks about, less what it binds itself."""
    bare = COMMENT.sub("", text)
    bound, used = set(EVERYWHERE), set()
    for shown, tag in CODE.findall(bare):
        code = STRING.sub('""', (shown or tag).strip())
        word, _, rest = code.partition(" ") if tag else ("", "", code)
        if word == "for":
            left, _, rest = rest.partition(" in ")
            bound |= set(re.findall(r"\w+", left))
        elif word == "with":
            bound |= set(re.findall(r"(\w+)=", rest))
        elif word not in {"if", "elif", ""}:
            bound |= set(re.findall(r"\bas (\w+)", rest))
            continue
        used |= {match[1] for match in re.finditer(r"(?<![\w.|:=])([A-Za-z_]\w*)(?!\s*=[^=])", rest)}
        used |= set(re.findall(r":([A-Za-z_]\w*)", rest)) | set(re.findall(r"=([A-Za-z_]\w*)", rest))
    return used - bound


def of_all(rule, chosen=lambda name: True):
    return [
        line for path in template_files() if chosen(named(path)) for line in rule(named(path), text_of(path))
    ]


def test_templates_are_short():
    assert of_all(too_long) == []


def test_templates_keep_to_the_content_security_policy():
    assert of_all(unsafe) == []


def test_no_template_asks_the_database():
    assert of_all(queries) == []


def test_components_say_what_they_take():
    assert of_all(undocumented, lambda name: kind_of(name) == "component") == []


@pytest.mark.parametrize(
    "sample",
    [
        '<p style="color:red">',
        "<style>p{}</style>",
        '<button class="x" onclick="go()">',
        '<div hx-on:click="go()">',
        "<script>go()</script>",
        '<a href="javascript:go()">',
        "{{ name|safe }}",
        "{% autoescape off %}",
        '<img src="//elsewhere.example/x.png">',
        '<form action="https://elsewhere.example">',
    ],
)
def test_the_rule_on_safety_bites(sample):
    assert list(unsafe("templates/x.html", sample))


def test_the_rule_on_safety_lets_ordinary_markup_pass():
    sample = (
        '<script src="{% static "js/scan.js" %}" defer></script>'
        '<p class="on style">a {# style= #} "on = off"</p>'
    )
    assert list(unsafe("templates/x.html", sample)) == []


@pytest.mark.parametrize(
    "sample",
    ["{% for lot in item.lots.all %}", "{{ lots.count }}", "{% if item.lots.exists %}", "{{ item.lot_set }}"],
)
def test_the_rule_on_queries_bites(sample):
    assert list(queries("templates/x.html", sample))


def test_the_rule_on_queries_lets_values_pass():
    sample = (
        '{{ page.paginator.count }}{% include "x.all.html" %}'
        "{% if lots %}{{ lots|length }}{% endif %} see.all"
    )
    assert list(queries("templates/x.html", sample)) == []


def test_the_rule_on_length_bites():
    assert list(too_long("templates/x.html", "\n" * 121))
    assert not list(too_long("templates/x.html", "\n" * 120))
    for name in ("templates/ui/x.html", "templates/fragments/x.html", "templates/stock/_x.html"):
        assert list(too_long(name, "\n" * 61))


def test_the_rule_on_components_bites():
    assert list(undocumented("templates/ui/x.html", "<p>{{ word }}</p>"))
    found = list(
        undocumented("templates/ui/x.html", "{# word: what to say. #}<p>{{ word }}{{ state.name }}</p>")
    )
    assert found == ["templates/ui/x.html: the comment does not name “state”"]
    sample = (
        "{# rows: pairs. #}{% for a, b in rows %}{{ a|default:b }}{% if b == 'x' %}{% endif %}{% endfor %}"
    )
    assert list(undocumented("templates/ui/x.html", sample)) == []
