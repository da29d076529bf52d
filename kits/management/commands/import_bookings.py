"""import_bookings FILE --clinic C: take in booked surgery from a table or a calendar."""

from kits.importing_bookings import import_bookings
from practice.management.commands._import_command import ImportCommand


class Command(ImportCommand):
    """Take in booked surgery (CSV, XLSX, ICS) of one clinic."""

    help = "Take in booked surgery from a CSV, XLSX or ICS file. --check changes nothing."

    def add_arguments(self, parser):
        """Arguments of this import."""
        super().add_arguments(parser)
        parser.add_argument("--clinic", required=True, help="code or name of the clinic")
        parser.add_argument("--notation", choices=("fdi", "universal"), help="how the file numbers teeth")
        order = parser.add_mutually_exclusive_group()
        order.add_argument(
            "--day-first", action="store_true", default=None, help="dates are day, month, year"
        )
        order.add_argument("--month-first", dest="day_first", action="store_false", help="month, day, year")

    def run(self, data, *, filename, options, arguments):
        """Run the import."""
        return import_bookings(data, filename=filename, clinic=arguments["clinic"], options=options)
