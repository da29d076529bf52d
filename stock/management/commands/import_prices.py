"""import_prices FILE --supplier S: take in a supplier's price list."""

from practice.management.commands._import_command import CalledWrongly, ImportCommand
from stock.importing_prices import UnknownSupplier, find_supplier, import_prices


class Command(ImportCommand):
    """Take in a price list; shows every price that changes."""

    help = "Take in a supplier's price list. --check changes nothing."

    def add_arguments(self, parser):
        """Arguments of this import."""
        super().add_arguments(parser)
        parser.add_argument("--supplier", required=True, help="whose prices these are")
        parser.add_argument("--decimal", choices=(",", "."), help="the decimal mark of the file")

    def run(self, data, *, filename, options, arguments):
        """Run the import."""
        try:
            supplier = find_supplier(arguments["supplier"])
        except UnknownSupplier as fault:
            raise CalledWrongly(str(fault)) from fault
        return import_prices(data, filename=filename, supplier=supplier, options=options)
