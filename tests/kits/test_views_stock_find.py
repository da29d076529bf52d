"""Find a lot: any code leads to where it is, what moved, in whom it is, and what came from the same donor."""

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from kits.models import Case, TrayLine, TrayUnit
from stock.consuming import use
from stock.holds import recall
from stock.models import Lot
from stock.moving import move
from tests import builders
from tests.builders import NOW, TODAY
from tests.kits import builders_plan

pytestmark = pytest.mark.usefixtures("the_day")


def placed(cast, lot, *, clinic=None, outcome="used", **facts):
    """A unit of a lot used in a case at tooth 11, or still on its tray."""
    kind = builders_plan.procedure(f"P{Case.objects.count()}")
    place = cast.other_stockroom if clinic == cast.other_clinic else cast.stockroom
    case = builders_plan.case(
        cast, kind, TODAY, clinic=clinic or cast.clinic, clinician=cast.clinician, room=None, **facts
    )
    line = TrayLine.objects.create(
        case=case,
        position=1,
        key="1",
        item=lot.item,
        description=lot.item.name,
        quantity=1,
        certain=True,
        set_out="open",
    )
    TrayUnit.objects.create(
        line=line,
        lot=lot,
        place=place,
        tray=cast.tray,
        quantity=1,
        outcome=outcome,
        site=case.sites.get(),
        put_on_at=NOW,
    )
    if outcome == "used":
        use(lot=lot, place=place, quantity=1, by=cast.assistant, at=NOW, source=f"case:{case.code}")
    return case


@pytest.fixture
def vial(cast):
    """A graft vial in the stockroom."""
    return builders.shelved(
        cast.graft, cast.stockroom, number="HM-2291", serial="HM-U-1", donor_id="HM-DON-0007"
    )


def found(client, text, status=200):
    answer = client.get(reverse("find_lot"), {"q": text})
    assert answer.status_code == status
    return answer


@pytest.mark.parametrize("typed", ["HM-U-1", "hm-2291", "HM-DON-0007", "(01)02999000104338(21)HM-U-1"])
def test_every_code_of_a_unit_leads_to_it(cast, vial, sign_in, typed):
    cast.graft.codes.create(value="02999000104338")
    page = found(sign_in(cast.clinician), typed).context["page"]
    assert [shown.lot for shown in page.lots] == [vial]
    assert [(row.place, row.quantity) for row in page.where] == [(cast.stockroom, 1)]


def test_a_patient_is_named_with_tooth_day_and_clinician(cast, vial, sign_in):
    case = placed(cast, vial)
    answer = found(sign_in(cast.clinician), "HM-U-1")
    [shown] = answer.context["page"].patients
    assert (shown.given.patient, shown.tooth["number"], shown.given.on) == (case.patient, "11", TODAY)
    text = answer.content.decode()
    assert reverse("patient", args=[case.patient.chart_number]) in text
    assert "Dr A. Tessamore" in text and "12 May 2026" in text and "upper right central incisor" in text


def test_the_tooth_is_numbered_as_the_clinic_does(cast, vial, sign_in):
    cast.clinic.tooth_notation = "universal"
    cast.clinic.save()
    placed(cast, vial)
    # FDI 11 is 8 in the Universal numbering (see tests/reference/test_teeth.py).
    [shown] = found(sign_in(cast.clinician), "HM-U-1").context["page"].patients
    assert shown.tooth["number"] == "8"


def test_movements_are_told_in_words_newest_first(cast, sign_in):
    lot = builders.shelved(cast.membrane, cast.stockroom, 3, number="L1")
    move(
        lot=lot,
        from_place=cast.stockroom,
        to_place=cast.cart,
        quantity=1,
        by=cast.assistant,
        at=NOW,
        note="for A1",
    )
    use(lot=lot, place=cast.cart, quantity=1, by=cast.assistant, at=NOW, source="case:C-00012")
    moves = found(sign_in(cast.reader), "L1").context["page"].moves
    assert [(shown.words, shown.entry.quantity) for shown in moves] == [
        ("Used from Cart A1", -1),
        ("Moved to Cart A1", 1),
        ("Moved away from Stockroom", -1),
        ("Opening stock at Stockroom", 3),
    ]
    assert moves[0].case == "C-00012" and moves[1].detail == "for A1"


def test_units_of_the_same_donor_are_named(cast, vial, sign_in):
    sibling = builders.shelved(cast.small_graft, cast.fridge, donor_id="HM-DON-0007", serial="HM-U-2")
    builders.shelved(cast.graft, cast.stockroom, donor_id="HM-DON-0008")
    page = found(sign_in(cast.clinician), "HM-U-1").context["page"]
    assert [shown.lot for shown in page.siblings] == [sibling]


def test_a_unit_on_a_tray_is_named_with_its_case(cast, vial, sign_in):
    case = placed(cast, vial, outcome="", state=Case.State.SET_OUT)
    answer = found(sign_in(cast.clinician), "HM-U-1")
    assert [unit.line.case for unit in answer.context["page"].trays] == [case]
    assert "On a tray now" in answer.content.decode()


def test_what_lies_out_of_reach_is_counted_not_hidden(cast, sign_in):
    lot = builders.shelved(cast.membrane, cast.other_stockroom, 3, number="L1")
    placed(cast, lot, clinic=cast.other_clinic)
    near = found(sign_in(cast.assistant), "L1")
    page = near.context["page"]
    assert (page.where, page.patients, page.moves) == ([], [], [])
    assert (page.units_elsewhere, page.patients_elsewhere, page.moves_elsewhere) == (2, 1, 2)
    text = near.content.decode()
    assert "2 units lie at clinics you do not work at." in text and "1 use at clinics" in text
    both = found(sign_in(cast.clinician), "L1").context["page"]
    assert (both.units_elsewhere, both.patients_elsewhere, len(both.patients)) == (0, 0, 1)


def test_a_name_finds_items_and_a_donor_or_lot_stays_whole(cast, sign_in):
    for number in range(14):
        builders.shelved(cast.graft, cast.stockroom, donor_id="HM-DON-0042", serial=f"HM-U-{number}")
    client = sign_in(cast.reader)
    assert len(found(client, "collagen").context["found"].items) == 2
    page = found(client, "HM-DON-0042").context["page"]
    assert (len(page.lots), page.is_told, page.moves) == (14, False, [])


@pytest.mark.parametrize("typed", ["nothing-of-that-name", "(01)02999000104321(10)X"])
def test_what_is_unknown_is_said_in_words(cast, sign_in, typed):
    assert "Nothing here is called" in found(sign_in(cast.reader), typed, 404).content.decode()


def test_a_label_that_contradicts_itself_is_not_relied_upon(cast, sign_in):
    answer = found(sign_in(cast.reader), "(01)02999000104315(10)X", 404)
    assert "cannot be relied upon" in answer.content.decode()


def test_nothing_typed_yet_says_what_to_do(cast, sign_in):
    text = sign_in(cast.reader).get(reverse("find_lot")).content.decode()
    assert "For a recall, enter the lot number of the letter" in text


def test_a_lot_has_its_facts_and_what_may_be_done(cast, vial, sign_in):
    address = reverse("lot", args=[vial.pk])
    manager = sign_in(cast.manager).get(address).content.decode()
    assert "Tissue unit" in manager and "HM-DON-0007" in manager
    assert reverse("lot_hold", args=[vial.pk]) in manager and reverse("stock_move") in manager
    reader = sign_in(cast.reader).get(address).content.decode()
    for name in ("lot_hold", "lot_recall"):
        assert reverse(name, args=[vial.pk]) not in reader
    assert f"{reverse('stock_move')}?lot" not in reader and "Put right" not in reader
    assert "Put right" in sign_in(cast.assistant).get(address).content.decode()


def test_a_recalled_lot_says_so_with_its_reason(cast, vial, sign_in):
    recall(lot=Lot.objects.get(pk=vial.pk), reason="letter of the bank", by=cast.manager, at=NOW)
    text = sign_in(cast.manager).get(reverse("lot", args=[vial.pk])).content.decode()
    assert "recalled" in text and "letter of the bank" in text
    assert reverse("lot_release", args=[vial.pk]) in text


def test_strangers_and_unknown_lots(cast, vial, sign_in):
    assert sign_in(cast.stranger).get(reverse("find_lot"), {"q": "HM-U-1"}).status_code == 403
    assert sign_in(cast.stranger).get(reverse("lot", args=[vial.pk])).status_code == 403
    assert sign_in(cast.reader).get(reverse("lot", args=[vial.pk + 999])).status_code == 404


def test_queries_do_not_grow_with_the_rows(cast, sign_in):
    client = sign_in(cast.clinician)
    lot = builders.shelved(cast.membrane, cast.stockroom, 40, number="L1")

    def queries():
        addresses = (reverse("find_lot") + "?q=L1", reverse("lot", args=[lot.pk]))
        counts = []
        for address in addresses:
            with CaptureQueriesContext(connection) as seen:
                assert client.get(address).status_code == 200
            counts.append(len(seen))
        return counts

    placed(cast, lot)
    client.get(reverse("find_lot"))
    at_one = queries()
    for _ in range(19):
        placed(cast, lot)
    assert queries() == at_one
