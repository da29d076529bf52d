"""Answers that every page of cases gives in the same way."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect

from practice.spreadsheets import write_csv, write_xlsx

_LEVELS = {"ok": messages.SUCCESS, "notice": messages.WARNING, "refused": messages.ERROR}
_XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"


def said(request, kind: str, title: str, text: str, to: str, *args) -> HttpResponse:
    """Say what came of a step on the page one comes back to."""
    sentence = f"{title.rstrip('.')}. {text}".strip() if text else title
    messages.add_message(request, _LEVELS[kind], sentence)
    return redirect(to, *args)


def exported(wanted: str, name: str, header: list[str], rows: list[list]) -> HttpResponse:
    """A list as a file to save: ``wanted`` is "csv" or "xlsx"."""
    if wanted == "xlsx":
        answer = HttpResponse(write_xlsx(header, rows, title=name.title()), content_type=_XLSX)
    else:
        answer = HttpResponse(write_csv(header, rows), content_type="text/csv; charset=utf-8")
    kind = "xlsx" if wanted == "xlsx" else "csv"
    answer["Content-Disposition"] = f'attachment; filename="{name}.{kind}"'
    return answer
