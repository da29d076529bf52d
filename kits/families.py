"""The catalogue seen by what an item can stand in for: implants by connection, parts by platform, grafts by
material, membranes by class, gloves by size. Pure: reads only the facts of the items it is given.

An item's family is its substitution group in the catalogue: ``GRAFT-AL``, ``MEM-RC``, ``HEAL-CR``. Where two
kinds of part share a group (healing abutments and cover screws), their names tell them apart.
"""

from collections.abc import Iterable
from typing import Any

# Connections whose abutments share one cone but not one width: going wider may leave the platform, never the
# family. A connection that is not listed is a family of its own.
_CONNECTION_FAMILIES = {"CN": "conical", "CR": "conical", "CW": "conical"}


def family_of(connection: str) -> str:
    """The family of a connection code; parts never cross from one family to another."""
    return _CONNECTION_FAMILIES.get(connection, connection)


class Families:
    """Active items of a catalogue, grouped once and asked often."""

    def __init__(self, items: Iterable[Any]) -> None:
        self.by_code = {item.code: item for item in items}
        self._groups: dict[str, list[Any]] = {}
        for item in self.by_code.values():
            self._groups.setdefault(item.substitution_group, []).append(item)

    def implants(self) -> list[Any]:
        """Every implant with a diameter, a length and a connection."""
        return [
            item
            for item in self.by_code.values()
            if item.category == "Implant" and item.diameter_mm and item.length_mm and item.connection
        ]

    def grafts(self, material: str) -> list[Any]:
        """Graft packs of one material with a known volume, smallest first."""
        found = [item for item in self._groups.get(f"GRAFT-{material}", ()) if item.volume_cc]
        return sorted(found, key=lambda item: item.volume_cc)

    def membranes(self, kind: str) -> list[Any]:
        """Sheets of one class with known sides, smallest first."""
        found = [item for item in self._groups.get(f"MEM-{kind}", ()) if item.width_mm and item.height_mm]
        return sorted(found, key=lambda item: item.width_mm * item.height_mm)

    def healing_abutments(self, connection: str) -> list[Any]:
        """Healing abutments of a platform, lowest first."""
        found = [item for item in self._named(f"HEAL-{connection}", "healing abutment") if item.height_mm]
        return sorted(found, key=lambda item: item.height_mm)

    def cover_screw(self, connection: str) -> Any:
        """The cover screw of a platform, or None."""
        return self._first(f"HEAL-{connection}", "cover screw")

    def temporary_abutment(self, connection: str) -> Any:
        """The temporary abutment of a platform, or None."""
        return self._first(f"TEMP-{connection}", "")

    def scan_body(self, connection: str) -> Any:
        """The scan body of a platform, or None."""
        return self._first(f"SCAN-{connection}", "scan body")

    def impression_post(self, connection: str) -> Any:
        """The impression post of a platform, or None."""
        return self._first(f"SCAN-{connection}", "impression post")

    def analogue(self, connection: str) -> Any:
        """The laboratory analogue of a platform, or None."""
        return self._first(f"ANLG-{connection}", "")

    def final_screw(self, connection: str) -> Any:
        """The final abutment screw of a platform, or None."""
        return self._first(f"SCREW-{connection}", "")

    def gloves(self, group: str) -> dict[str, Any]:
        """Gloves of a group ("GLOVE-S" sterile, "GLOVE-N" examination) by the size on the box."""
        return {size_of(item): item for item in self._groups.get(group, ())}

    def of_group(self, group: str) -> list[Any]:
        """Every item of a substitution group."""
        return list(self._groups.get(group, ())) if group else []

    def _named(self, group: str, word: str) -> list[Any]:
        return [item for item in self._groups.get(group, ()) if word in item.name.lower()]

    def _first(self, group: str, word: str) -> Any:
        return min(self._named(group, word), key=lambda item: item.code, default=None)


def size_of(item: Any) -> str:
    """The size as the box says it: its label, else the short specification."""
    return item.size_label or item.spec
