"""What a scanned code says: the finished Label, and the Reading it is put together in. Pure."""

from dataclasses import dataclass, field, fields
from datetime import date, time

GS1 = "GS1"
HIBC = "HIBC"
ISBT_128 = "ISBT 128"
UNKNOWN = "unknown"


@dataclass(frozen=True)
class Label:
    """A code as it was understood.

    ``standard`` is one of GS1, HIBC, ISBT 128 or unknown. ``gtin`` always has 14 digits. ``product`` is the
    item's number in the two other standards (HIBC: maker, item and packing digit; ISBT 128: product code), or
    the maker's own item number in GS1. ``expiry`` is the last day of use, ``expiry_time`` the hour it ends
    when the label gives one. ``fields`` holds every field as it stood on the label, in its order.

    ``warnings`` are for the person to read; ``problems`` mean that the code must not be relied upon.
    Both are whole sentences. ``raw`` is the scan, unchanged.
    """

    raw: str
    standard: str = UNKNOWN
    gtin: str | None = None
    product: str | None = None
    lot: str | None = None
    serial: str | None = None
    donation: str | None = None
    expiry: date | None = None
    expiry_time: time | None = None
    made_on: date | None = None
    quantity: int | None = None
    division: str | None = None
    fields: tuple[tuple[str, str], ...] = ()
    warnings: tuple[str, ...] = ()
    problems: tuple[str, ...] = ()

    @property
    def is_sound(self) -> bool:
        """Whether the code was recognised and nothing in it is wrong."""
        return self.standard != UNKNOWN and not self.problems

    def plain(self) -> dict[str, object]:
        """The label as plain values for JSON: days and hours in ISO 8601, lists for tuples."""
        values: dict[str, object] = {}
        for name in (entry.name for entry in fields(self)):
            value = getattr(self, name)
            if isinstance(value, (date, time)):
                value = value.isoformat()
            elif isinstance(value, tuple):
                value = [list(part) if isinstance(part, tuple) else part for part in value]
            values[name] = value
        return values


@dataclass
class Reading:
    """A label under construction: readers fill it in field by field and close it once."""

    standard: str
    gtin: str | None = None
    product: str | None = None
    lot: str | None = None
    serial: str | None = None
    donation: str | None = None
    expiry: date | None = None
    expiry_time: time | None = None
    made_on: date | None = None
    quantity: int | None = None
    division: str | None = None
    fields: list[tuple[str, str]] = field(default_factory=list)
    warnings: list[str] = field(default_factory=list)
    problems: list[str] = field(default_factory=list)

    def warn(self, sentence: str) -> None:
        """Add a sentence for the person to read, once."""
        if sentence not in self.warnings:
            self.warnings.append(sentence)

    def refuse(self, sentence: str) -> None:
        """Add the reason why the code must not be relied upon, once."""
        if sentence not in self.problems:
            self.problems.append(sentence)

    def expires(self, on: date, at: time | None = None) -> None:
        """Note an expiry day; when a label names two, the earlier one counts and the person is told."""
        if self.expiry is None:
            self.expiry, self.expiry_time = on, at
        elif self.expiry != on:
            self.warn(
                f"The label names two expiry dates, {spoken(self.expiry)} and {spoken(on)}; "
                "the earlier one is used. Check it on the pack."
            )
            if on < self.expiry:
                self.expiry, self.expiry_time = on, at
        elif at is not None:
            self.expiry_time = at

    def close(self, raw: str) -> Label:
        """The finished label, after the checks that need all of its fields."""
        if self.made_on and self.expiry and self.made_on > self.expiry:
            self.warn(
                f"The label says made on {spoken(self.made_on)} but expiring on {spoken(self.expiry)}; "
                "check both dates on the pack."
            )
        # 23:59 is how ISBT 128 writes "no hour given", so it is the end of the day like any other expiry.
        if self.expiry and self.expiry_time and self.expiry_time < time(23, 59):
            self.warn(
                f"This expires at {self.expiry_time:%H:%M} on {spoken(self.expiry)}, "
                "not at the end of that day."
            )
        return Label(
            raw=raw,
            standard=self.standard,
            gtin=self.gtin,
            product=self.product,
            lot=self.lot,
            serial=self.serial,
            donation=self.donation,
            expiry=self.expiry,
            expiry_time=self.expiry_time,
            made_on=self.made_on,
            quantity=self.quantity,
            division=self.division,
            fields=tuple(self.fields),
            warnings=tuple(self.warnings),
            problems=tuple(self.problems),
        )


def spoken(day: date) -> str:
    """A day as a person reads it, the same in every locale: 30 April 2026."""
    return f"{day.day} {_MONTHS[day.month - 1]} {day.year}"


_MONTHS = (
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
)
