"""import_catalogue FILE: take in the catalogue."""

from practice.management.commands._import_command import ImportCommand
from stock.importing_catalogue import import_catalogue


class Command(ImportCommand):
    """Take in a catalogue of items: what they are, how they are tracked, who sells them."""

    help = "Take in a catalogue of items. --check changes nothing."

    def run(self, data, *, filename, options, arguments):
        """Run the import."""
        return import_catalogue(data, filename=filename, options=options)
