"""ready, thin or cannot start: the word, the sentence and the line it hangs on. Case tables, no database.

The rules by criticality are the trade reference's 2.6; a plan locked a week before is its 3.1 (both common
practice). Calendar days are worked out by hand: 12 May 2026 is a Tuesday, the clinic opens Monday to Friday.
"""

import datetime as dt
from dataclasses import replace
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import nbinom, poisson

from kits.finding_words import FINDINGS
from kits.pick_values import PickLine
from kits.readiness import readiness, times
from kits.ready_terms import Terms
from practice.workdays import workdays
from stock.plan_values import Seller
from stock.values import Coming, ReceiptDue
from tests.builders import TODAY
from tests.kits.builders_kits import unsaved_catalogue

ITEMS = unsaved_catalogue()
for number, each in enumerate(ITEMS.values(), start=1):
    each.pk = number
ON = dt.date(2026, 5, 26)


def seller(lead_days=2) -> Seller:
    return Seller(
        supplier_item_id=1,
        supplier_id=1,
        supplier="Brambleforth Surgical Supply",
        pack_size=1,
        pack_price=Decimal(10),
        minimum_packs=1,
        lead_days=lead_days,
    )


def terms(today=TODAY, *, closures=(), sold=True, leads=(5,) * 400, weekdays="1111100") -> Terms:
    """Orders have taken five days four hundred times, so nineteen in twenty come within nine.

    Poisson about a mean of five: P(9 or fewer) = 0.968, P(8 or fewer) = 0.932 (tables of the Poisson
    distribution, from memory; checked with SciPy below).
    """
    return Terms(
        today=today,
        calendar=workdays(weekdays=weekdays, closures=closures),
        targets={"A": 0.995, "B": 0.975, "C": 0.90},
        sellers={item.pk: seller() for item in ITEMS.values()} if sold else {},
        leads_seen={1: leads},
    )


def line(code="MEM-RC-2030", **facts) -> PickLine:
    item = ITEMS[code]
    facts = {"key": code, "item": item, "description": item.name, "quantity": 1} | facts
    return PickLine(**facts)


def judged(*lines, on=ON, **facts):
    return readiness(lines, on=on, terms=terms(**facts))


def on_order(day, *, quantity=1, overdue=False) -> Coming:
    receipt = ReceiptDue(1, 1, "PO-00031", day, quantity, overdue=overdue)
    return Coming(receipt, day, quantity)


def test_everything_in_reach_is_ready():
    found = judged(line(), line("SUT-PT4"))
    assert (found.word, found.line, found.probability) == ("ready", None, 1.0)
    assert found.sentence == "Everything it needs is in reach."


# Needed by Monday 25 May, nine days: Saturday 16 May is closed, so the last day to order is Friday the 15th.
@pytest.mark.parametrize(
    ("today", "word"),
    [
        (dt.date(2026, 5, 12), "thin"),
        (dt.date(2026, 5, 14), "thin"),
        (dt.date(2026, 5, 15), "thin"),
        (dt.date(2026, 5, 16), "cannot start"),
        (dt.date(2026, 5, 18), "cannot start"),
        (dt.date(2026, 5, 22), "cannot start"),
        (dt.date(2026, 5, 23), "cannot start"),
        (dt.date(2026, 5, 25), "cannot start"),
        (dt.date(2026, 5, 26), "cannot start"),
        (dt.date(2026, 5, 27), "cannot start"),
    ],
)
def test_short_of_what_it_cannot_start_without(today, word):
    found = judged(line(quantity=3, short=2), today=today)
    assert found.word == word
    name = ITEMS["MEM-RC-2030"].name
    if word == "thin":
        assert found.sentence == f"{name}: 2 of 3 are short for this case: order by 15 May."
        assert found.probability == pytest.approx(0.95)
    else:
        # Two days are stated: sent on Friday the 22nd it may come by Monday the 25th, sent later it cannot.
        hope = (
            "an order may come too late: order at once, and"
            if today.day <= 22
            else "it is too late to order:"
        )
        assert found.sentence == (
            f"{name}: 2 of 3 are missing, and {hope} borrow, ask another clinic or move the case."
        )
        assert found.probability == 0.0


def test_nineteen_in_twenty_orders_come_within_nine_days():
    assert poisson.cdf(8, 5) < 0.95 < poisson.cdf(9, 5)


# A closure over the day of arrival, or over the day to order, moves the day back.
@pytest.mark.parametrize(
    ("closures", "order_by"),
    [
        ([], "15 May"),
        ([(dt.date(2026, 5, 25), dt.date(2026, 5, 25))], "13 May"),
        ([(dt.date(2026, 5, 14), dt.date(2026, 5, 15))], "13 May"),
        ([(dt.date(2026, 5, 21), dt.date(2026, 5, 25))], "11 May"),
    ],
)
def test_closures_move_the_day_to_order(closures, order_by):
    found = judged(line(short=1), today=dt.date(2026, 5, 11), closures=closures)
    assert (found.word, f"order by {order_by}." in found.sentence) == ("thin", True)
    late = judged(line(short=1), today=dt.date(2026, 5, 16), closures=closures)
    assert late.word == "cannot start"


@given(
    today=st.dates(dt.date(2026, 3, 1), dt.date(2026, 6, 30)),
    ahead=st.integers(0, 40),
    stated=st.integers(0, 12),
    weekdays=st.sampled_from(["1111100", "1010100", "1111111", "0000011"]),
    closed=st.lists(st.tuples(st.integers(0, 60), st.integers(0, 9)), max_size=3),
)
def test_it_is_thin_just_while_an_order_of_today_would_come_before(today, ahead, stated, weekdays, closed):
    """The slow twin: send an order on the first open day from today on and see when it arrives."""
    spans = [(today + dt.timedelta(days=a), today + dt.timedelta(days=a + n)) for a, n in closed]
    known = terms(today, closures=spans, weekdays=weekdays, leads=())
    known = replace(known, sellers={ITEMS["MEM-RC-2030"].pk: seller(stated)})
    on = today + dt.timedelta(days=ahead)
    found = readiness([line(short=1)], on=on, terms=known)
    sent = known.calendar.on_or_after(today)
    lead = next(days for days in range(60) if arrives_within(stated, days))
    comes = known.calendar.on_or_after(sent + dt.timedelta(days=lead))
    assert found.word == ("thin" if comes < on else "cannot start")


def arrives_within(stated, days) -> bool:
    """Whether nineteen of twenty orders have come: a Gamma prior worth four receipts is negative binomial."""
    if stated == 0:
        return True
    # Mean `stated`, four receipts: shape 4·stated, success probability 4/5.
    return days >= stated and nbinom.cdf(days, 4 * stated, 0.8) >= 0.95


def test_nobody_sells_it():
    found = judged(line(short=1), sold=False)
    assert found.word == "cannot start"
    assert "1 of 1 is missing, and no supplier is known: borrow" in found.sentence


def test_a_clinic_that_never_opens_can_order_nothing():
    assert judged(line(short=1), weekdays="0000000").word == "cannot start"


# By criticality: A stops the case, B leaves it thin, C leaves it ready (trade reference 2.6), once an order
# comes too late.
@pytest.mark.parametrize(
    ("code", "word"),
    [("MEM-RC-2030", "cannot start"), ("SUT-PT4", "thin"), ("PPE-CAP", "ready"), ("DRG-ART", "cannot start")],
)
def test_a_short_line_counts_by_its_item(code, word):
    found = judged(line(code, short=1), today=ON)
    assert found.word == word
    assert found.sentence.endswith(".")


def test_a_reserve_that_stops_a_case_names_its_finding():
    plate = FINDINGS["F-FPM"]
    found = judged(line(short=1, certain=False, chance=0.3, finding=plate), today=ON)
    assert found.word == "cannot start" and "if the facial plate is missing" in found.sentence


def test_the_worst_line_decides_and_the_others_follow():
    stops, soon = line(short=1), line("SUT-PT4", short=1)
    found = judged(soon, stops, today=ON)
    assert found.line == stops and found.probability == 0.0
    assert len(found.others) == 1 and ITEMS["SUT-PT4"].name in found.others[0]


def test_what_has_to_be_ordered_first_comes_first():
    later, sooner = line(short=1), line("DRG-ART", short=1)
    known = terms()
    sellers = {later.item.pk: seller(1), sooner.item.pk: replace(seller(6), supplier_id=2)}
    found = readiness([later, sooner], on=ON, terms=replace(known, sellers=sellers))
    assert (found.word, found.line) == ("thin", sooner)


def test_a_thin_case_says_the_rule_that_covers_it_and_the_day_to_order():
    found = judged(line("SUT-PT4", short=2, quantity=3))
    assert (
        "2 of 3 are missing. Order by 15 May." in found.sentence and "One size either way" in found.sentence
    )
    assert "Order by" not in judged(line("SUT-PT4", short=2, quantity=3), today=ON).sentence


# Surgery on Tuesday the 26th: the last open day before is Monday the 25th, or Friday if Monday is closed.
@pytest.mark.parametrize(
    ("due", "closures", "word"),
    [
        (dt.date(2026, 5, 21), [], "ready"),
        (dt.date(2026, 5, 22), [], "ready"),
        (dt.date(2026, 5, 25), [], "thin"),
        (dt.date(2026, 5, 26), [], "thin"),
        (dt.date(2026, 5, 21), [(dt.date(2026, 5, 25), dt.date(2026, 5, 25))], "ready"),
        (dt.date(2026, 5, 22), [(dt.date(2026, 5, 25), dt.date(2026, 5, 25))], "thin"),
    ],
)
def test_an_order_on_its_way_covers_it_if_it_leaves_a_day(due, closures, word):
    found = judged(line(coming=(on_order(due),)), closures=closures)
    assert found.word == word
    if word == "ready":
        assert found.sentence == "Everything it needs is in reach or on order in time."
    else:
        said = f"1 of 1 on order, due {due.day} May (PO-00031), no day to spare: ask the supplier."
        assert said in found.sentence


def test_an_overdue_order_is_called_overdue():
    found = judged(line(coming=(on_order(dt.date(2026, 5, 25), overdue=True),)), today=dt.date(2026, 5, 22))
    assert (found.word, "on order, overdue (PO-00031)" in found.sentence) == ("thin", True)


def test_a_convenience_on_its_way_late_leaves_it_ready():
    assert judged(line("PPE-CAP", coming=(on_order(ON),))).word == "ready"


def test_a_shared_reserve_is_thin_with_its_chance():
    found = judged(line(shared=1, certain=False, chance=0.3, chance_free=0.7))
    # It is missing only if both need it: 1 - 0.3 × 0.3.
    assert (found.word, found.probability) == ("thin", pytest.approx(0.91))
    assert "covered 91 times in 100" in found.sentence


# Targets: 0.995 for what a case cannot start without, 0.975 where a substitute exists.
@pytest.mark.parametrize(
    ("code", "chance", "chance_free", "word"),
    [
        ("MEM-RC-2030", 0.10, 0.94, "thin"),  # 0.994
        ("MEM-RC-2030", 0.10, 0.96, "ready"),  # 0.996
        ("SUT-PT4", 0.30, 0.91, "thin"),  # 0.973
        ("SUT-PT4", 0.30, 0.93, "ready"),  # 0.979
    ],
)
def test_a_shared_reserve_is_judged_by_the_practice_s_target(code, chance, chance_free, word):
    found = judged(line(code, shared=1, certain=False, chance=chance, chance_free=chance_free))
    assert found.word == word
    assert "shared with an earlier case" in found.sentence
    assert found.probability == pytest.approx(1 - chance * (1 - chance_free))


@pytest.mark.parametrize(
    ("chance", "words"),
    [
        (1.0, "more than 99 times in 100"),
        (0.995, "more than 99 times in 100"),
        (0.9949, "99 times in 100"),
        (0.91, "91 times in 100"),
    ],
)
def test_no_chance_is_said_as_a_promise(chance, words):
    assert times(chance) == words


# The plan is locked a week before surgery (trade reference 3.1): Tuesday the 19th for the 26th.
@pytest.mark.parametrize(
    ("today", "word", "said"),
    [
        (dt.date(2026, 5, 12), "thin", "To be decided before 19 May: Choose the implant for 36."),
        (dt.date(2026, 5, 18), "thin", "To be decided before 19 May: Choose the implant for 36."),
        (dt.date(2026, 5, 19), "cannot start", "Choose the implant for 36."),
        (dt.date(2026, 5, 26), "cannot start", "Choose the implant for 36."),
    ],
)
def test_a_question_of_the_plan_stops_it_once_the_plan_is_locked(today, word, said):
    asked = line(unresolved="Choose the implant for 36.", blocking=True, item=None)
    found = judged(asked, today=today)
    assert (found.word, found.sentence, found.line) == (word, said, asked)


def test_a_question_comes_before_a_shortage_of_the_same_weight():
    asked = line(unresolved="Choose the implant for 36.", blocking=True, item=None)
    assert judged(line(short=1), asked, today=ON).line == asked
    # Far ahead a shortage that no order can mend is worse than a question.
    assert judged(line(short=1), asked, sold=False).line != asked


@pytest.mark.parametrize(("today", "word"), [(dt.date(2026, 5, 18), "thin"), (ON, "cannot start")])
def test_one_of_a_group_of_the_plan_has_to_be_chosen(today, word):
    group = [
        line(code, undecided=True, choose_one_group="RDG-MEM", tooth="11")
        for code in ("MEM-RX-3040", "MEM-TR-2530")
    ]
    found = judged(*group, today=today)
    assert found.word == word and "Choose one for 11: " in found.sentence
    assert found.others == ()


def test_an_option_nobody_decided_blocks_nothing():
    assert judged(line("PRF-TUB", undecided=True)).word == "ready"


def test_what_is_on_the_tray_or_not_needed_is_not_short():
    assert judged(line(short=1, known=False)).word == "ready"
    assert judged(line(short=1, set_out="room stock")).word == "ready"
    assert judged(line(short=1, instead_of=("other",))).word == "ready"
