"""Bringing in the catalogue: items, who sells them in which packs, and what is kept for rescue.

Suggested pars are read and handed on (``CatalogueRow``) but not stored: what to keep is worked out from whole
cases. Prices are taken when an item is new; later changes come by price lists, and a difference is noted.
"""

import re
from dataclasses import dataclass, field
from decimal import Decimal
from functools import partial

from practice.importing import Change, Options, Report, Step, settle
from practice.models import Clinic
from practice.spreadsheets import (
    Problem,
    Row,
    Sheet,
    Wanted,
    is_blank,
    read_quantity,
    read_sheet,
    read_text,
    read_whole,
)
from stock.item_facts import approver_of, is_rescue, size_facts
from stock.models import ClinicItem, Item, Supplier, SupplierItem

COLUMNS = (
    Wanted("item_code", ("code", "item", "article number", "SKU")),
    Wanted("name", ("description", "article")),
    Wanted("category", ("group", "kind")),
    Wanted("stock_unit", ("unit",), required=False),
    Wanted("pack_size", ("pack", "units per pack"), required=False),
    Wanted("spec", ("specification", "size"), required=False),
    Wanted("shelf_life_months_at_receipt", ("shelf life months",), required=False),
    Wanted("storage", required=False),
    Wanted("temp_min_c", required=False),
    Wanted("temp_max_c", required=False),
    Wanted("lead_time_days", ("lead days",), required=False),
    Wanted("min_order_packs", ("minimum packs", "MOQ"), required=False),
    Wanted("unit_price_invented", ("unit price", "unit_price"), required=False),
    Wanted("tracking", required=False),
    Wanted("human_tissue", required=False),
    Wanted("tissue_log_needed", required=False),
    Wanted("origin", required=False),
    Wanted("single_patient_use", required=False),
    Wanted("leftover_rule", required=False),
    Wanted("criticality", required=False),
    Wanted("supply_mode", required=False),
    Wanted("supplier", required=False),
    Wanted("substitution_group", required=False),
    Wanted("substitution_rule", required=False),
    Wanted("expected_use_per_week_both_sites", required=False),
    Wanted("expected_use_per_week_site_b", required=False),
    Wanted("suggested_par_site_a", required=False),
    Wanted("suggested_par_site_b", required=False),
)
INVENTED = re.compile(r"\s*\(invented\)\s*$", re.IGNORECASE)
TRUTHS = {
    "y": True,
    "yes": True,
    "true": True,
    "1": True,
    "n": False,
    "no": False,
    "false": False,
    "0": False,
}


@dataclass(frozen=True)
class CatalogueRow:
    """One row, read: the item's facts, how it is sold, and what the file suggests to keep (units)."""

    row: int
    facts: dict
    supplier: str = ""
    sold: dict = field(default_factory=dict)
    weekly_use: tuple[Decimal, Decimal] = (Decimal(0), Decimal(0))
    suggested_pars: tuple[int, int] = (0, 0)


def read_catalogue(data: bytes, *, filename: str, meanings=None) -> tuple[list[CatalogueRow], Report]:
    """Read a catalogue without touching the database; the report holds its problems.

    Raises UnreadableFile or NoHeaderRow.
    """
    sheet = read_sheet(
        data, filename=filename, wanted=COLUMNS, mapping=meanings.columns if meanings else None
    )
    report = Report(filename, read=len(sheet.rows), notices=list(sheet.problems))
    rows: dict[str, CatalogueRow] = {}
    for row in sheet:
        problems: list[Problem] = []
        read = _read_row(sheet, row, problems, report)
        if not problems and read.facts["code"] in rows:
            problems.append(sheet.problem(row, "item_code", "This code already stands in an earlier row."))
        if problems:
            report.problems += problems
        else:
            rows[read.facts["code"]] = read
    return list(rows.values()), report


def _read_row(sheet: Sheet, row: Row, problems: list[Problem], report: Report) -> CatalogueRow:
    text = {name: sheet.take(row, name, read_text, problems) or "" for name in _TEXTS}
    for name in ("item_code", "name", "category"):
        if not text[name]:
            problems.append(sheet.problem(row, name, "This must not be empty."))
    longest = {name: Item._meta.get_field(to).max_length for name, to in _LONGEST.items()}
    for name, most in longest.items():
        if len(text[name]) > most:
            problems.append(sheet.problem(row, name, f"This is longer than {most} characters."))
    whole = {
        name: sheet.take(row, name, partial(read_whole, least=least), problems, optional=True)
        for name, least in _NUMBERS.items()
    }
    facts = _facts(sheet, row, text, whole, problems)
    if text["substitution_rule"]:
        report.understand(
            "substitution rule, who decides", text["substitution_rule"], facts["substitution_approver"]
        )
    price = sheet.take(row, "unit_price_invented", read_quantity, problems, optional=True)
    if price is not None and price < 0:
        problems.append(sheet.problem(row, "unit_price_invented", "A price cannot be negative."))
    use = [sheet.take(row, name, read_quantity, problems, optional=True) for name in _WEEKLY]
    return CatalogueRow(
        row=row.number,
        facts=facts,
        supplier=INVENTED.sub("", text["supplier"]),
        sold=_sold(whole, price),
        weekly_use=(use[0] or Decimal(0), use[1] or Decimal(0)),
        suggested_pars=(whole["suggested_par_site_a"] or 0, whole["suggested_par_site_b"] or 0),
    )


_TEXTS = (
    *(
        "item_code",
        "name",
        "category",
        "stock_unit",
        "spec",
        "storage",
        "tracking",
        "origin",
        "leftover_rule",
    ),
    *("criticality", "supply_mode", "supplier", "substitution_group", "substitution_rule"),
)
# Text columns of the file, and the field whose longest text binds them.
_LONGEST = {"item_code": "code"} | {
    name: name
    for name in (
        *("name", "category", "stock_unit", "spec", "storage", "origin", "leftover_rule"),
        "substitution_group",
    )
}
# Whole numbers of the file and the least that makes sense.
_NUMBERS = dict.fromkeys(("pack_size", "min_order_packs"), 1)
_NUMBERS |= dict.fromkeys(("lead_time_days", "shelf_life_months_at_receipt"), 0)
_NUMBERS |= dict.fromkeys(("suggested_par_site_a", "suggested_par_site_b"), 0)
_NUMBERS |= dict.fromkeys(("temp_min_c", "temp_max_c"))
_WEEKLY = ("expected_use_per_week_both_sites", "expected_use_per_week_site_b")


def _sold(whole: dict, price: Decimal | None) -> dict:
    pack = whole["pack_size"] or 1
    return {
        "pack_size": pack,
        "pack_price": None if price is None else price * pack,
        "minimum_packs": whole["min_order_packs"] or 1,
        "lead_days": 3 if whole["lead_time_days"] is None else whole["lead_time_days"],
    }


def _facts(sheet: Sheet, row: Row, text: dict, whole: dict, problems: list[Problem]) -> dict:
    human = _truth(sheet, row, "human_tissue", problems, default=False)
    low, high = whole["temp_min_c"], whole["temp_max_c"]
    if low is not None and high is not None and low > high:
        problems.append(sheet.problem(row, "temp_min_c", "The lowest temperature is above the highest."))
    return {
        "code": text["item_code"],
        "name": text["name"],
        "category": text["category"],
        "stock_unit": text["stock_unit"] or "each",
        "spec": text["spec"],
        "tracking": _choice(sheet, row, "tracking", Item.Tracking, problems, Item.Tracking.LOT),
        "criticality": _choice(
            sheet, row, "criticality", Item.Criticality, problems, Item.Criticality.SUBSTITUTE
        ),
        "supply_mode": _choice(sheet, row, "supply_mode", Item.Supply, problems, Item.Supply.OWNED),
        "human_tissue": human,
        "tissue_log_needed": _truth(sheet, row, "tissue_log_needed", problems, default=human) or human,
        "origin": text["origin"],
        "single_patient_use": _truth(sheet, row, "single_patient_use", problems, default=True),
        "leftover_rule": text["leftover_rule"],
        "shelf_life_months": whole["shelf_life_months_at_receipt"],
        "storage": text["storage"],
        "temperature_min_c": low,
        "temperature_max_c": high,
        "substitution_group": text["substitution_group"],
        "substitution_rule": text["substitution_rule"],
        "substitution_approver": approver_of(text["substitution_rule"], category=text["category"]),
        **size_facts(
            name=text["name"],
            spec=text["spec"],
            category=text["category"],
            group=text["substitution_group"],
        ),
    }


def _truth(sheet: Sheet, row: Row, name: str, problems: list[Problem], *, default: bool) -> bool:
    if is_blank(row[name]):
        return default
    said = TRUTHS.get(read_text(row[name]).casefold())
    if said is None:
        problems.append(sheet.problem(row, name, "This must be Y or N."))
    return bool(said)


def _choice(sheet: Sheet, row: Row, name: str, choices, problems: list[Problem], default: str) -> str:
    """A value of the choices: as it is, or by its first word ("A case cannot start" is A)."""
    if is_blank(row[name]):
        return default
    said = read_text(row[name])
    by_word = {value.casefold(): value for value in choices.values}
    found = by_word.get(said.casefold()) or by_word.get(said.split()[0].casefold())
    if found is None:
        known = ", ".join(choices.values)
        problems.append(sheet.problem(row, name, f"This must be one of: {known}."))
        return default
    return found


def import_catalogue(data: bytes, *, filename: str, options: Options) -> Report:
    """Take in a catalogue file; new items are added, known ones brought up to date, nothing is deleted.

    Raises UnreadableFile or NoHeaderRow.
    """
    rows, report = read_catalogue(data, filename=filename, meanings=options.meanings)
    items = Item.objects.in_bulk([row.facts["code"] for row in rows], field_name="code")
    sold = {
        (line.supplier.name, line.supplier_code): line
        for line in SupplierItem.objects.select_related("supplier")
    }
    steps = []
    for row in rows:
        item = items.get(row.facts["code"])
        altered = [] if item is None else _altered(item, row.facts)
        line = sold.get((row.supplier, row.facts["code"]))
        if line is not None:
            _note_other_terms(row, line, report)
        sells = bool(row.supplier) and line is None and row.sold["pack_price"] is not None
        if item is not None and not altered and not sells:
            report.unchanged += 1
            continue
        report.accepted += 1
        what = "new item" if item is None else "changed item"
        report.changes.append(Change(row.row, what, row.facts["code"], ", ".join(altered)))
        steps.append(Step(row.row, "item_code", row.facts["code"], partial(_take, row, sells=sells)))
    return settle(report, steps, options=options, subject=filename)


def _altered(item: Item, facts: dict) -> list[str]:
    """Facts that differ. The approver is a guess from the rule, so it is renewed only with the rule."""
    names = [name for name, value in facts.items() if getattr(item, name) != value]
    if "substitution_rule" not in names and "substitution_approver" in names:
        names.remove("substitution_approver")
    return names


def _note_other_terms(row: CatalogueRow, line: SupplierItem, report: Report) -> None:
    price = row.sold["pack_price"]
    if price is not None and (price, row.sold["pack_size"]) != (line.pack_price, line.pack_size):
        report.notices.append(
            Problem(
                row.row,
                "unit price",
                f"{price:.2f}",
                f"{line} costs {line.pack_price} for {line.pack_size} now; that was kept. "
                "Prices change by price lists.",
            )
        )


def _take(row: CatalogueRow, *, sells: bool) -> None:
    item = Item.objects.filter(code=row.facts["code"]).first()
    if item is None:
        item = Item.objects.create(**row.facts)
        keep_for_rescue(item=item, facts=row.facts)
    else:
        for name in _altered(item, row.facts):
            setattr(item, name, row.facts[name])
        item.save()
    if sells:
        supplier, _ = Supplier.objects.get_or_create(
            name=row.supplier, defaults={"is_tissue_bank": "tissue bank" in row.supplier.casefold()}
        )
        preferred = not item.suppliers.filter(preferred=True).exists()
        SupplierItem.objects.create(
            supplier=supplier, item=item, supplier_code=item.code, preferred=preferred, **row.sold
        )


def keep_for_rescue(*, item: Item, facts: dict) -> None:
    """Keep one piece at every clinic of what is never planned but saves a case; people may change it."""
    if is_rescue(category=item.category, facts=facts):
        for clinic in Clinic.objects.all():
            ClinicItem.objects.get_or_create(clinic=clinic, item=item, defaults={"keep_at_least": 1})
