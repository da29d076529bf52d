"""The files that the kits layer takes in, as the import pages show them."""

from kits.importing_boms import BadBills, import_boms
from kits.importing_bookings import import_bookings
from kits.models import BomVersion, Case, Procedure
from practice.import_kinds import DAY_ORDER, NOTATION, ImportKind, counted
from practice.importing import Change, Report
from practice.spreadsheets import Problem

NO_WORDS = "This finding has no words of its own yet, so pick lists show its code."


def _procedure_codes(clinic) -> list[tuple[str, str]]:
    return [(each.code, f"{each.code} {each.name}") for each in Procedure.objects.filter(is_active=True)]


def _bookings(data, filename, clinic, options, declared):
    return import_bookings(data, filename=filename, clinic=clinic, options=options)


def _bills(data, filename, clinic, options, declared):
    """Bills of materials have a report of their own; show it as the pages show all others."""
    try:
        found = import_boms(
            data,
            filename=filename,
            by=options.by,
            at=options.at,
            check=options.check,
            accept_good=options.accept_good,
        )
    except BadBills as refusal:
        found = refusal.report
    return Report(
        filename,
        read=found.read,
        accepted=found.accepted,
        unchanged=found.unchanged,
        skipped=found.skipped,
        problems=found.problems,
        notices=[Problem(0, "finding", code, NO_WORDS) for code in found.new_words],
        understood={"line": {f"Row {row}": words for row, words in found.understood}},
        changes=[Change(0, "published", code) for code in found.published],
        applied=bool(found.accepted) and not options.check and (options.accept_good or not found.problems),
    )


def _cases_there(clinic, today) -> str:
    ahead = Case.objects.open().filter(clinic=clinic, on__gte=today)
    return counted(ahead.count(), "case ahead", "cases ahead")


def _bills_there(clinic, today) -> str:
    published = BomVersion.objects.filter(state=BomVersion.State.PUBLISHED)
    return counted(published.count(), "procedure with a bill", "procedures with a bill")


BOOKINGS = ImportKind(
    slug="bookings",
    title="Bookings",
    sentence="Booked surgery and visits: new cases, moved and cancelled ones, days the clinic is closed.",
    accepts=".csv,.xlsx,.xls,.ods,.ics",
    run=_bookings,
    there=_cases_there,
    columns="A date, a time, a chart number and a procedure; best also room, clinician and teeth.",
    meanings=_procedure_codes,
    questions=(DAY_ORDER, NOTATION),
)
BILLS = ImportKind(
    slug="bills",
    title="Bills of materials",
    sentence="What each procedure needs, what hangs on a finding, and how it is set out.",
    accepts=".csv,.xlsx,.xls,.ods",
    run=_bills,
    there=_bills_there,
    columns="A procedure, an item or a kind of item, a quantity, what is sealed and what opens it.",
)
IMPORT_KINDS = (BOOKINGS, BILLS)
