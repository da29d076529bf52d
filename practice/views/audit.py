"""Who did what: the audit of the clinics in reach."""

from django.db.models import Q
from django.http import HttpResponse
from django.shortcuts import render
from django_tables2 import RequestConfig

from practice import access, audit
from practice.forms import AuditFilterForm
from practice.spreadsheets import write_csv, write_xlsx
from practice.tables import AuditTable

PER_PAGE = 50
MOST_EXPORTED = 20_000
XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"


def _entries(request, form):
    """Entries at clinics where the person sets up, and those of the whole practice."""
    clinics = access.clinics(request.user, need="set_up")
    entries = audit.of_clinics(clinics).select_related("by", "clinic")
    if not form.is_valid():
        return entries.none()
    wanted = form.cleaned_data
    if wanted.get("action"):
        entries = entries.filter(action=wanted["action"])
    if wanted.get("q"):
        text = wanted["q"]
        entries = entries.filter(
            Q(subject__icontains=text) | Q(by__display_name__icontains=text) | Q(by__username__icontains=text)
        )
    return entries


def _export(entries, kind):
    header = ("when", "who", "what", "clinic", "action", "subject")
    rows = [
        (e.at, str(e.by or "The system"), audit.sentence(e), str(e.clinic or ""), e.action, e.subject)
        for e in entries[:MOST_EXPORTED]
    ]
    write, content_type = (write_xlsx, XLSX) if kind == "xlsx" else (write_csv, "text/csv; charset=utf-8")
    answer = HttpResponse(write(header, rows), content_type=content_type)
    answer["Content-Disposition"] = f'attachment; filename="audit.{kind}"'
    return answer


@access.signed_in(need="set_up")
def audit_list(request):
    """List, search, filter and export the audit."""
    form = AuditFilterForm(request.GET, actions=sorted(audit.SENTENCES))
    entries = _entries(request, form)
    if request.GET.get("export") in ("csv", "xlsx"):
        return _export(entries, request.GET["export"])
    table = AuditTable(entries)
    RequestConfig(request, paginate={"per_page": PER_PAGE}).configure(table)
    filtered = bool(request.GET.get("q") or request.GET.get("action"))
    shown = {"table": table, "form": form, "filtered": filtered, "q": request.GET.get("q", "")}
    return render(request, "practice/audit.html", shown)
