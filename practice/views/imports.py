"""Bringing files in: upload, preview with meanings to settle, apply. Nothing is ever half-applied."""

from django.contrib import messages
from django.http import Http404
from django.shortcuts import redirect, render
from django.views.decorators.http import require_POST

from practice import access, clock, uploads
from practice.first_steps import standing
from practice.forms import UploadForm
from practice.importing import SKIP, Meanings, Options, remember, with_remembered
from practice.models import RememberedMeaning, Upload
from practice.refusals import Refusal
from practice.spreadsheets import NoHeaderRow, UnreadableFile

MOST_SHOWN = 200  # changes, problems and notices of a preview; the counts always tell of all


def _kind(kinds, slug):
    found = next((kind for kind in kinds if kind.slug == slug), None)
    if found is None:
        raise Http404("There is no such kind of file.")
    return found


def _options(request, upload, *, check, accept_good=False):
    """How to run the import of an upload: what was declared, and what the clinic once said."""
    declared = upload.declared
    said = Meanings(
        day_first={"day": True, "month": False}.get(declared.get("day_first")),
        decimal=declared.get("decimal"),
        notation=declared.get("notation"),
    )
    return Options(
        today=clock.today(clinic=upload.clinic),
        at=clock.now(),
        by=request.user,
        check=check,
        accept_good=accept_good,
        meanings=with_remembered(said, clinic=upload.clinic, file_kind=upload.file_kind),
    )


def _run(request, kinds, upload, **how):
    """The report of the import, or the sentence why the file cannot be read at all."""
    kind = _kind(kinds, upload.file_kind)
    try:
        report = kind.run(
            uploads.content_of(upload),
            upload.filename,
            upload.clinic,
            _options(request, upload, **how),
            upload.declared,
        )
    except (UnreadableFile, NoHeaderRow, Refusal) as fault:
        return None, str(fault)
    return report, ""


def _card(kind, there):
    """What the page shows of a kind: its form, how much is there, and what may be declared, in words."""
    asks = ", ".join(question.label.lower() for question in kind.questions if not question.is_required)
    return {"kind": kind, "there": there, "asks": asks, "form": UploadForm(kind=kind, prefix=kind.slug)}


@access.signed_in(need="bring_files")
def imports(request, kinds):
    """The kinds of file that can be brought in, and what their words were said to mean."""
    clinic = request.clinic
    there = standing(clinic=clinic, kinds=kinds, today=clock.today(clinic=clinic))
    shown = {
        "kinds": [_card(kind, words) for kind, words in there],
        "next_kind": next((kind for kind, words in there if not words), None),
        "meanings": access.visible(request.user, RememberedMeaning).filter(clinic=request.clinic),
    }
    return render(request, "practice/imports.html", shown)


@access.signed_in(need="bring_files")
@require_POST
def import_upload(request, kinds, kind):
    """Keep the file and go on to its preview."""
    chosen = _kind(kinds, kind)
    form = UploadForm(request.POST, request.FILES, kind=chosen, prefix=chosen.slug)
    if not form.is_valid():
        faults = " ".join(fault for found in form.errors.values() for fault in found)
        messages.error(request, f"Nothing was brought in. {faults}")
        return redirect("imports")
    file = form.cleaned_data["file"]
    try:
        upload = uploads.keep(
            clinic=request.clinic,
            file_kind=chosen.slug,
            filename=file.name,
            data=file.read(),
            declared=form.cleaned_data["declared"],
            by=request.user,
            at=clock.now(),
        )
    except Refusal as refusal:
        messages.error(request, str(refusal))
        return redirect("imports")
    return redirect("import_preview", upload_id=upload.pk)


def _fetch(request, upload_id):
    return access.fetch(request.user, Upload, need="bring_files", select=("clinic",), pk=upload_id)


@access.signed_in(need="bring_files")
def import_preview(request, kinds, upload_id):
    """Show what the file would change, what stands in the way, and what needs a meaning."""
    upload = _fetch(request, upload_id)
    report, fault = _run(request, kinds, upload, check=True)
    kind = _kind(kinds, upload.file_kind)
    shown = {
        "upload": upload,
        "kind": kind,
        "report": report,
        "fault": fault,
        "most": MOST_SHOWN,
        "verdict": report.verdict(check=True) if report else "",
        "unmapped": _to_settle(report) if report else [],
        "choices": [(SKIP, "Leave these rows out"), *kind.meanings(upload.clinic)],
        "understood": [(c, list(words.items())) for c, words in report.understood.items()] if report else [],
    }
    return render(request, "practice/import_preview.html", shown, status=422 if fault else 200)


def _to_settle(report):
    """Unmapped values one by one, each with its column."""
    return [(column, value) for column, values in report.unmapped.items() for value in values]


@access.signed_in(need="bring_files")
@require_POST
def import_meanings(request, kinds, upload_id):
    """Remember what the unmapped values mean and look at the preview again."""
    upload = _fetch(request, upload_id)
    allowed = {SKIP, *(code for code, _ in _kind(kinds, upload.file_kind).meanings(upload.clinic))}
    said = zip(
        *(request.POST.getlist(name) for name in ("column", "value", "meaning")),
        strict=False,
    )
    for column, value, meaning in said:
        if meaning not in allowed:
            continue
        try:
            remember(
                clinic=upload.clinic,
                file_kind=upload.file_kind,
                column=column,
                value=value,
                meaning=meaning,
                by=request.user,
                at=clock.now(),
            )
        except Refusal as refusal:
            messages.error(request, str(refusal))
    return redirect("import_preview", upload_id=upload.pk)


@access.signed_in(need="bring_files")
@require_POST
def import_apply(request, kinds, upload_id):
    """Take the file in: all of it, or its good rows when that was chosen, or nothing."""
    upload = _fetch(request, upload_id)
    accept_good = request.POST.get("accept_good") == "yes"
    report, fault = _run(request, kinds, upload, check=False, accept_good=accept_good)
    if report is None or (report.is_refused and not accept_good):
        messages.error(request, fault or report.verdict(check=False))
        return redirect("import_preview", upload_id=upload.pk)
    uploads.put_aside(upload=upload)
    messages.success(request, f"{upload.filename}: {report.verdict(check=False, accept_good=accept_good)}")
    for to_do in report.to_do:
        messages.warning(request, f"{to_do.subject} is cancelled. {to_do.detail}")
    return redirect("imports")


@access.signed_in(need="bring_files")
@require_POST
def import_put_aside(request, kinds, upload_id):
    """Put an uploaded file aside without taking anything from it."""
    uploads.put_aside(upload=_fetch(request, upload_id))
    messages.success(request, "The file was put aside. Nothing was changed.")
    return redirect("imports")


@access.signed_in(need="bring_files")
@require_POST
def meaning_forget(request, meaning_id):
    """Forget what a value was said to mean."""
    meaning = access.fetch(
        request.user, RememberedMeaning, need="bring_files", select=("clinic",), pk=meaning_id
    )
    uploads.forget(meaning=meaning, by=request.user, at=clock.now())
    messages.success(request, f"“{meaning.value}” has no meaning any more; the next file asks again.")
    return redirect("imports")
