"""The files that the kits layer takes in, as the import pages show them."""

from kits.importing_boms import BadBills, import_boms
from kits.importing_bookings import import_bookings
from kits.models import Procedure
from practice.import_kinds import DAY_ORDER, NOTATION, ImportKind
from practice.importing import Report


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
        applied=bool(found.accepted) and not options.check and (options.accept_good or not found.problems),
    )


BOOKINGS = ImportKind(
    slug="bookings",
    title="Bookings",
    sentence="Booked surgery and visits: new cases, moved and cancelled ones, days the clinic is closed.",
    accepts=".csv,.xlsx,.xls,.ods,.ics",
    run=_bookings,
    meanings=_procedure_codes,
    questions=(DAY_ORDER, NOTATION),
)
BILLS = ImportKind(
    slug="bills",
    title="Bills of materials",
    sentence="What each procedure needs, what hangs on a finding, and how it is set out.",
    accepts=".csv,.xlsx,.xls,.ods",
    run=_bills,
)
IMPORT_KINDS = (BOOKINGS, BILLS)
