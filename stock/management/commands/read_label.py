"""read_label TEXT, or --image FILE: what a code on a label says."""

import json
from pathlib import Path

from django.core.management.base import BaseCommand

from practice import clock
from practice.management.commands._import_command import CalledWrongly, Refused, day
from practice.refusals import Refusal
from stock.label_pictures import codes_in
from stock.scanning import Label, read

FIELDS = (
    *(
        "standard",
        "gtin",
        "product",
        "lot",
        "serial",
        "donation",
        "expiry",
        "made_on",
        "quantity",
        "division",
    ),
    *("warnings", "problems"),
)


class Command(BaseCommand):
    """Read a scanned code, or the codes in a photo."""

    help = "Say what a scanned code means. The separator may be ^, <GS>, \\x1d or the real one."

    def add_arguments(self, parser):
        """One of TEXT and --image."""
        parser.add_argument("text", nargs="?", metavar="TEXT")
        parser.add_argument("--image", metavar="FILE", help="a photo of the label (JPEG or PNG)")
        parser.add_argument("--today", type=day, help="the day to believe it is (YYYY-MM-DD)")
        parser.add_argument("--format", choices=("text", "json"), default="text")

    def handle(self, **arguments):
        """Print the label; exit 1 when it has problems, 2 when called wrongly."""
        if bool(arguments["text"]) == bool(arguments["image"]):
            raise CalledWrongly("Give either the text of a code or --image with a picture.")
        today = arguments["today"] or clock.today()
        label = self._label(arguments, today)
        shown = {name: label.plain()[name] for name in FIELDS}
        if arguments["format"] == "json":
            self.stdout.write(json.dumps(shown, ensure_ascii=False, indent=2))
        else:
            self.stdout.write("\n".join(_lines(shown)))
        if label.problems:
            raise Refused(" ".join(label.problems))

    def _label(self, arguments: dict, today) -> Label:
        if arguments["text"]:
            return read(arguments["text"], today=today)
        try:
            codes = codes_in(Path(arguments["image"]).read_bytes())
        except OSError as fault:
            raise CalledWrongly(str(fault)) from fault
        except Refusal as refusal:
            raise Refused(str(refusal)) from refusal
        labels = [read(code, today=today) for code in codes]
        if len(labels) > 1:
            self.stderr.write(f"The picture holds {len(labels)} codes; the one that says most is shown.")
        return max(labels, key=lambda label: (label.is_sound, len(label.fields)))


def _lines(shown: dict) -> list[str]:
    lines = [
        f"{name.replace('_', ' ')}: {value}"
        for name, value in shown.items()
        if value and not isinstance(value, list)
    ]
    return lines + [f"{name}: {sentence}" for name in ("warnings", "problems") for sentence in shown[name]]
