"""import_stock FILE --clinic C: take in a stock count as opening stock."""

from practice.management.commands._import_command import ImportCommand
from stock.importing_stock import import_stock


class Command(ImportCommand):
    """Take in a stock count of one clinic as opening entries of the ledger."""

    help = "Take in a clinic's stock count as opening stock. --check changes nothing."

    def add_arguments(self, parser):
        """Arguments of this import."""
        super().add_arguments(parser)
        parser.add_argument("--clinic", required=True, help="code or name of the clinic that was counted")
        order = parser.add_mutually_exclusive_group()
        order.add_argument(
            "--day-first", action="store_true", default=None, help="dates are day, month, year"
        )
        order.add_argument("--month-first", dest="day_first", action="store_false", help="month, day, year")

    def run(self, data, *, filename, options, arguments):
        """Run the import."""
        return import_stock(data, filename=filename, clinic=arguments["clinic"], options=options)
