"""Bringing in a supplier's price list: packs, prices, smallest orders and lead times, with what changes.

The supplier is the one named by the person, never guessed from the file; where the file names another one,
that is said. A price that jumps is taken and said, since packs and pieces are easily mixed up.
"""

from dataclasses import dataclass
from decimal import Decimal
from functools import partial

from practice.importing import SKIP, Change, Options, Report, Step, settle, text_of
from practice.models import Clinic
from practice.refusals import Refusal
from practice.spreadsheets import (
    Problem,
    Row,
    Sheet,
    Wanted,
    find_decimal,
    read_days,
    read_pack,
    read_quantity,
    read_sheet,
    read_text,
    read_whole,
)
from stock.models import Item, Supplier, SupplierItem

COLUMNS = (
    Wanted("code", ("Art. no.", "article number", "item code", "SKU", "order no.", "ref", "REF")),
    Wanted("name", ("Article", "description", "product", "item"), required=False),
    Wanted("pack", ("packing", "pack size", "unit", "UOM", "content"), required=False),
    Wanted("price", ("Price per pack", "net price", "unit price", "list price", "price EUR", "price GBP")),
    Wanted("minimum", ("MOQ", "minimum order", "min. order", "min packs"), required=False),
    Wanted("lead", ("Lead time", "delivery", "delivery time", "lead days"), required=False),
)
CURRENCY_SIGNS = {"€": "EUR", "£": "GBP", "$": "USD", "EUR": "EUR", "GBP": "GBP", "USD": "USD", "CHF": "CHF"}
# From this change on (a share of the old price) somebody should look whether pack and piece were mixed up.
A_JUMP = Decimal("0.5")
DEAREST = Decimal(10) ** 8


class UnknownSupplier(Refusal):
    """No supplier, or more than one, goes by that name."""


def find_supplier(name: str) -> Supplier:
    """The supplier of that name, or the only one whose name begins so; raises UnknownSupplier."""
    suppliers = list(Supplier.objects.all())
    wanted = name.strip().casefold()
    for matches in (
        [s for s in suppliers if s.name.casefold() == wanted],
        [s for s in suppliers if wanted and s.name.casefold().startswith(wanted)],
    ):
        if len(matches) == 1:
            return matches[0]
    known = "; ".join(s.name for s in suppliers) or "none yet (take in the catalogue first)"
    raise UnknownSupplier(f"There is no single supplier “{name}”. Suppliers: {known}.")


@dataclass(frozen=True)
class Offered:
    """One row of a list, read. None where the list says nothing of it."""

    row: int
    article: str
    price: Decimal
    pack_size: int | None
    minimum_packs: int | None
    lead_days: int | None


def import_prices(data: bytes, *, filename: str, supplier: Supplier, options: Options) -> Report:
    """Take in a price list of one supplier; see the module. Raises UnreadableFile or NoHeaderRow."""
    meanings = options.meanings
    sheet = read_sheet(
        data, filename=filename, wanted=COLUMNS, mapping=meanings.columns, encoding=meanings.encoding
    )
    report = Report(
        filename,
        read=len(sheet.rows) + len(sheet.totals),
        skipped=len(sheet.totals),
        notices=list(sheet.problems),
    )
    _note_other_supplier(sheet, supplier, report)
    _note_other_currency(sheet, report)
    decimal = meanings.decimal or find_decimal(sheet.column_values("price"))
    lines = {
        line.supplier_code.casefold(): line for line in supplier.items.select_related("item", "supplier")
    }
    items = {item.code.casefold(): item for item in Item.objects.all()}
    seen: dict[str, int] = {}
    steps = []
    for row in sheet:
        offered = _read_row(sheet, row, decimal, options, report)
        if offered is None or not _is_first(sheet, row, offered, seen, report):
            continue
        step = _step(sheet, row, offered, lines, items, supplier, report)
        steps += [step] if step else []
    return settle(report, steps, options=options, subject=f"{filename} ({supplier})")


def _note_other_supplier(sheet: Sheet, supplier: Supplier, report: Report) -> None:
    for line in sheet.title_lines:
        for other in Supplier.objects.exclude(pk=supplier.pk):
            if other.name.casefold() in line.casefold():
                report.notices.append(
                    Problem(1, "", line, f"The list names {other}; it was read as the prices of {supplier}.")
                )


def _note_other_currency(sheet: Sheet, report: Report) -> None:
    texts = [(row.number, text_of(row, "price")) for row in sheet if isinstance(row["price"], str)]
    kept = set(Clinic.objects.values_list("currency", flat=True))
    for number, text in texts:
        named = next((code for sign, code in CURRENCY_SIGNS.items() if sign in text.upper()), None)
        if named and kept and named not in kept:
            report.notices.append(
                Problem(
                    number,
                    sheet.columns["price"],
                    text,
                    f"The list is priced in {named}, the clinics keep {' and '.join(sorted(kept))}. "
                    "The figures were taken as they stand.",
                )
            )
            return


def _read_row(
    sheet: Sheet, row: Row, decimal: str | None, options: Options, report: Report
) -> Offered | None:
    problems: list[Problem] = []
    article = sheet.take(row, "code", read_text, problems) or ""
    meaning = options.meanings.of(article, "code", sheet.columns["code"])
    if meaning == SKIP:
        report.skipped += 1
        return None
    if not article:
        problems.append(sheet.problem(row, "code", "The article number is missing."))
    price = sheet.take(row, "price", partial(read_quantity, decimal=decimal), problems)
    if price is not None and not 0 <= price < DEAREST:
        problems.append(sheet.problem(row, "price", "A price lies between 0 and 99,999,999."))
    pack = sheet.take(row, "pack", read_pack, problems, optional=True)
    minimum = sheet.take(
        row, "minimum", partial(read_whole, decimal=decimal, least=1), problems, optional=True
    )
    lead = sheet.take(row, "lead", read_days, problems, optional=True)
    if problems:
        report.problems += problems
        return None
    cents = price.quantize(Decimal("0.01"))
    return Offered(row.number, meaning or article, cents, pack, minimum, lead)


def _is_first(sheet: Sheet, row: Row, offered: Offered, seen: dict[str, int], report: Report) -> bool:
    earlier = seen.setdefault(offered.article.casefold(), row.number)
    if earlier != row.number:
        report.problems.append(
            sheet.problem(row, "code", f"Row {earlier} already prices this article; keep one of them.")
        )
    return earlier == row.number


def _step(
    sheet: Sheet,
    row: Row,
    offered: Offered,
    lines: dict[str, SupplierItem],
    items: dict[str, Item],
    supplier: Supplier,
    report: Report,
) -> Step | None:
    line, item = lines.get(offered.article.casefold()), items.get(offered.article.casefold())
    if line is None and item is None:
        report.problems.append(
            sheet.problem(row, "code", f"Neither {supplier} nor the catalogue has this article.")
        )
        report.leave_unmapped(sheet.columns["code"], offered.article)
        return None
    if line is not None:
        facts = _terms(offered, line)
        said = _differences(line, facts)
        if not said:
            report.unchanged += 1
            return None
        _note_jump(sheet, row, line, facts, report)
        change = Change(row.number, "changed", line.item.code, "; ".join(said))
        take = partial(_alter, line.pk, facts)
    else:
        change = Change(row.number, "new offer", item.code, f"{offered.price} for {offered.pack_size or 1}")
        take = partial(_add, supplier, item, offered)
    report.accepted += 1
    report.changes.append(change)
    return Step(row.number, sheet.columns["code"], offered.article, take)


def _terms(offered: Offered, line: SupplierItem) -> dict:
    """What the line becomes; what the list does not say stays."""
    given = {
        "pack_price": offered.price,
        "pack_size": offered.pack_size,
        "minimum_packs": offered.minimum_packs,
        "lead_days": offered.lead_days,
    }
    return {name: getattr(line, name) if value is None else value for name, value in given.items()}


_SAID = {"pack_size": "pack", "minimum_packs": "smallest order", "lead_days": "lead time in days"}


def _differences(line: SupplierItem, facts: dict) -> list[str]:
    """What changes, in words: "145.00 → 140.97 (-2.8 %)", "pack 1 → 12"."""
    said = []
    if facts["pack_price"] != line.pack_price:
        said.append(f"{line.pack_price} → {facts['pack_price']}{_percent(line.pack_price, facts)}")
    for name, words in _SAID.items():
        if facts[name] != getattr(line, name):
            said.append(f"{words} {getattr(line, name)} → {facts[name]}")
    return said


def _percent(old: Decimal, facts: dict) -> str:
    return f" ({(facts['pack_price'] / old - 1) * 100:+.1f} %)" if old else ""


def _note_jump(sheet: Sheet, row: Row, line: SupplierItem, facts: dict, report: Report) -> None:
    old, new = line.pack_price / line.pack_size, facts["pack_price"] / facts["pack_size"]
    if old and not (1 - A_JUMP) < new / old < (1 + A_JUMP):
        report.notices.append(
            sheet.problem(
                row,
                "price",
                f"A piece of {line.item.code} would cost {new:.2f} instead of {old:.2f}. "
                "Look whether the price is for a pack or a piece.",
            )
        )


def _alter(pk: int, facts: dict) -> None:
    line = SupplierItem.objects.select_for_update().get(pk=pk)
    for name, value in facts.items():
        setattr(line, name, value)
    line.save()


def _add(supplier: Supplier, item: Item, offered: Offered) -> None:
    given = {"minimum_packs": offered.minimum_packs, "lead_days": offered.lead_days}
    SupplierItem.objects.create(
        supplier=supplier,
        item=item,
        supplier_code=offered.article,
        pack_size=offered.pack_size or 1,
        pack_price=offered.price,
        preferred=not item.suppliers.filter(preferred=True).exists(),
        **{name: value for name, value in given.items() if value is not None},
    )
