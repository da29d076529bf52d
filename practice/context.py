"""What every page's frame shows: practice, clinic, person, and the ways to go."""

from django.urls import NoReverseMatch, reverse

from practice import access
from practice.models import Role

# Label, URL name, the view-name prefixes that belong to it, and the need that shows it.
WAYS = (
    ("Today", "today", ("today", "pick", "case_close", "gather"), "see"),
    ("Cases", "cases", ("case",), "see"),
    ("Stock", "items", ("item", "stock", "receive", "lot_", "place"), "see"),
    ("Orders", "reorders", ("reorder", "order"), "see"),
    ("Find a lot", "find_lot", ("find_lot", "lot"), "see"),
    ("Patients", "patients", ("patient",), "see"),
    ("Files", "imports", ("import",), "handle_stock"),
    (
        "Set-up",
        "set_up",
        ("set_up", "import", "people", "person", "clinic_settings", "policy", "audit"),
        "set_up",
    ),
)


def _ways(request):
    name = getattr(request.resolver_match, "url_name", "") or ""
    mine = [way for way in WAYS if access.may(request.user, request.clinic, way[3])]
    # The longest matching prefix decides, so that "case_close" belongs to Today and "case" to Cases.
    best = max(
        (
            (len(prefix), label)
            for label, _, prefixes, _ in mine
            for prefix in prefixes
            if name.startswith(prefix)
        ),
        default=(0, ""),
    )[1]
    found = []
    for label, url_name, _, _ in mine:
        try:
            found.append({"label": label, "url": reverse(url_name), "current": label == best})
        except NoReverseMatch:
            continue
    return found


def frame(request):
    """Variables of templates/base.html: practice, clinic, clinics, role, nav."""
    clinic = getattr(request, "clinic", None)
    if clinic is None:
        return {"clinic": None, "nav": []}
    kind = access.roles_of(request.user).get(clinic.pk)
    return {
        "practice": clinic.practice,
        "clinic": clinic,
        "clinics": request.clinics,
        "role": Role.Kind(kind).label if kind else "",
        "nav": _ways(request),
    }
