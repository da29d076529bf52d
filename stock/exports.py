"""A list as a file to download: CSV or XLSX, whichever the address asks for."""

from collections.abc import Iterable, Sequence

from django.http import HttpResponse

from practice.spreadsheets import write_csv, write_xlsx

XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
KINDS = ("csv", "xlsx")


def attachment(content: bytes, *, filename: str, content_type: str = XLSX) -> HttpResponse:
    """An answer that the browser saves under a name."""
    answer = HttpResponse(content, content_type=content_type)
    answer["Content-Disposition"] = f'attachment; filename="{filename}"'
    return answer


def list_file(
    kind: str, *, name: str, header: Sequence[str], rows: Iterable[Sequence[object]]
) -> HttpResponse:
    """The list as a file of a kind in KINDS, under its name."""
    if kind == "xlsx":
        return attachment(write_xlsx(header, rows, title=name), filename=f"{name}.xlsx")
    return attachment(write_csv(header, rows), filename=f"{name}.csv", content_type="text/csv; charset=utf-8")
