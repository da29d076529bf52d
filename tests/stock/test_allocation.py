"""Allocation: soonest to expire that is usable on the day, by order of start, reserve shared in time.

Hand-worked cases, and properties over random needs and stock (Hypothesis).
"""

import datetime as dt
from collections import Counter
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from stock.allocation import allocate
from stock.values import Allotment, Need, ReceiptDue, StockUnit

DAY = dt.date(2026, 5, 12)


def day(number):
    return DAY + dt.timedelta(days=number)


def unit(lot, quantity=1, *, through=None, item="M", place=1, kept_for=None):
    return StockUnit(lot, item, place, quantity, None if through is None else day(through), kept_for)


def need(key, *, on=0, at=9, hours=1, quantity=1, chance=None, item="M", case=None):
    """A certain need, or a reserve when a chance is given; ``at`` is the hour it starts."""
    start = dt.datetime.combine(day(on), dt.time(at), dt.UTC)
    return Need(
        key,
        item,
        quantity,
        day(on),
        start,
        certain=chance is None,
        chance=1.0 if chance is None else chance,
        case=case or key,
        ends_at=start + dt.timedelta(hours=hours),
    )


def lots(allotment):
    return [(part.lot_id, part.quantity) for part in allotment.parts]


class TestCertain:
    def test_soonest_to_expire_first(self):
        stock = [unit(1, through=90), unit(2, through=30), unit(3)]
        given_ = allocate([need("a"), need("b", at=10), need("c", at=11)], stock)
        assert [lots(given_[key]) for key in "abc"] == [[(2, 1)], [(1, 1)], [(3, 1)]]

    def test_but_only_if_usable_on_the_day_of_surgery(self):
        stock = [unit(1, through=4), unit(2, through=5), unit(3, through=90)]
        assert lots(allocate([need("a", on=5)], stock)["a"]) == [(2, 1)]
        assert lots(allocate([need("a", on=6)], stock)["a"]) == [(3, 1)]
        assert allocate([need("a", on=91)], stock)["a"] == Allotment(short=1)

    def test_the_earlier_surgery_is_served_first_however_they_are_listed(self):
        found = allocate([need("late", on=3), need("early")], [unit(1)])
        assert (found["early"].short, found["late"].short) == (0, 1)

    def test_at_one_start_certain_needs_come_before_reserve(self):
        found = allocate([need("maybe", chance=0.3), need("sure")], [unit(1)])
        assert (found["sure"].short, found["maybe"].short) == (0, 1)

    def test_what_one_lot_lacks_the_next_gives(self):
        found = allocate([need("a", quantity=5)], [unit(1, 2, through=9), unit(2, 2, through=20)])
        assert found["a"] == Allotment(parts=((1, 1, 2), (2, 1, 2)), short=1)

    def test_items_do_not_mix(self):
        assert allocate([need("a", item="N")], [unit(1)])["a"].short == 1

    def test_units_on_a_tray_are_its_case_s_own(self):
        stock = [unit(1, through=30), unit(2, through=90, place=7, kept_for="b")]
        found = allocate([need("a"), need("b", at=10), need("c", at=11)], stock)
        assert found["b"].parts == ((2, 7, 1),)
        assert (lots(found["a"]), found["c"].short) == ([(1, 1)], 1)


class TestReserve:
    def test_it_is_held_for_one_case_while_stock_lasts(self):
        found = allocate([need("a", chance=0.3), need("b", at=11, chance=0.3)], [unit(1, 2)])
        assert [(found[key].shared, found[key].short) for key in "ab"] == [(0, 0), (0, 0)]

    def test_then_shared_with_an_earlier_case(self):
        needs = [need("a", chance=0.3), need("b", at=11, chance=0.15), need("c", at=13, chance=0.5)]
        found = allocate(needs, [unit(1)])
        assert found["a"] == Allotment(parts=((1, 1, 1),))
        assert found["b"] == Allotment(parts=((1, 1, 1),), shared=1, chance_free=pytest.approx(0.7))
        assert found["c"].chance_free == pytest.approx(0.7 * 0.85)

    def test_but_not_with_one_that_overlaps_in_time(self):
        found = allocate([need("a", chance=0.3, hours=3), need("b", at=11, chance=0.3)], [unit(1)])
        assert found["b"] == Allotment(short=1)
        touching = allocate([need("a", chance=0.3, hours=2), need("b", at=11, chance=0.3)], [unit(1)])
        assert touching["b"].shared == 1

    def test_nor_within_one_case(self):
        needs = [need("a", chance=0.3, case="C"), need("b", at=15, chance=0.3, case="C")]
        assert allocate(needs, [unit(1)])["b"] == Allotment(short=1)

    def test_nor_after_it_expired(self):
        found = allocate([need("a", chance=0.3), need("b", on=5, chance=0.3)], [unit(1, through=4)])
        assert found["b"] == Allotment(short=1)

    def test_the_least_likely_used_is_shared_first(self):
        needs = [
            need("a", chance=0.6),
            need("b", at=10, chance=0.1),
            need("c", at=12, chance=0.5),
        ]
        found = allocate(needs, [unit(1, through=10), unit(2, through=20)])
        assert found["c"] == Allotment(parts=((2, 1, 1),), shared=1, chance_free=pytest.approx(0.9))

    def test_a_certain_need_never_counts_on_a_reserve(self):
        found = allocate([need("a", chance=0.04), need("b", at=11)], [unit(1)])
        assert found["b"] == Allotment(short=1)

    def test_own_units_first_then_shared_then_short(self):
        needs = [need("a", quantity=2, chance=0.2), need("b", at=12, quantity=4, chance=0.5)]
        found = allocate(needs, [unit(1, 3)])
        assert found["b"] == Allotment(
            parts=((1, 1, 1), (1, 1, 2)), short=1, shared=2, chance_free=pytest.approx(0.8)
        )

    def test_only_the_units_counted_on_are_shared_further(self):
        needs = [
            need("a", quantity=2, chance=0.2),
            need("b", at=12, chance=0.5),
            need("c", at=14, chance=0.5),
        ]
        found = allocate(needs, [unit(1, 2)])
        # b counts on one of a's two units; the other is free of b, so c is better off with it.
        assert found["c"].chance_free == pytest.approx(0.8)


def order(number, arrives, quantity=1, *, through=None, item="M"):
    """Units of an order that can be counted on from a day on."""
    last = None if through is None else day(through)
    receipt = ReceiptDue(1, 1, number, day(arrives), quantity, last)
    return StockUnit(0, item, 0, quantity, last, available_on=day(arrives), receipt=receipt)


def coming(allotment):
    return [(one.receipt.order_number, one.quantity) for one in allotment.coming]


class TestOnTheWay:
    # The day before it arrives, the day itself, the day after; then past what the units keep.
    @pytest.mark.parametrize(
        ("on", "given"),
        [(4, []), (5, [("PO-1", 1)]), (6, [("PO-1", 1)]), (20, [("PO-1", 1)]), (21, [])],
    )
    def test_an_order_serves_from_its_day_on(self, on, given):
        found = allocate([need("a", on=on)], [order("PO-1", 5, through=20)])["a"]
        assert (coming(found), found.short, found.parts) == (given, 0 if given else 1, ())

    def test_after_what_lies_on_the_shelf(self):
        stock = [order("PO-1", 1, 5, through=8), unit(1, 2, through=90)]
        found = allocate([need("a", on=6, quantity=3)], stock)["a"]
        assert (lots(found), coming(found), found.short) == ([(1, 2)], [("PO-1", 1)], 0)

    def test_the_earlier_order_first(self):
        stock = [order("PO-2", 4, 1, through=30), order("PO-1", 2, 1, through=60)]
        found = allocate([need("a", on=6, quantity=2)], stock)["a"]
        assert coming(found) == [("PO-1", 1), ("PO-2", 1)]

    def test_a_reserve_on_its_way_is_held_then_shared(self):
        needs = [need("a", on=6, chance=0.3), need("b", on=7, chance=0.2), need("c", on=3, chance=0.2)]
        found = allocate(needs, [order("PO-1", 5)])
        assert (coming(found["a"]), found["a"].shared) == ([("PO-1", 1)], 0)
        assert (coming(found["b"]), found["b"].shared) == ([("PO-1", 1)], 1)
        assert found["b"].chance_free == pytest.approx(0.7)
        assert found["c"].short == 1


class TestStandIn:
    def stand_in(self, key, item, *unless):
        return replace(need(key, item=item, case="C"), unless=unless)

    @pytest.mark.parametrize(
        ("stock", "first", "second", "third"),
        [
            ([unit(1, item="M"), unit(2, item="N")], (1, 0), (0, 0), (0, 0)),
            ([unit(2, item="N"), unit(3, item="O")], (0, 1), (1, 0), (0, 0)),
            ([unit(3, item="O")], (0, 1), (0, 1), (1, 0)),
            ([], (0, 1), (0, 1), (0, 1)),
        ],
    )
    def test_it_asks_only_where_all_it_stands_in_for_are_short(self, stock, first, second, third):
        needs = [
            need("a", case="C"),
            self.stand_in("b", "N", "a"),
            self.stand_in("c", "O", "a", "b"),
        ]
        found = allocate(needs, stock)
        given_ = [(sum(part.quantity for part in found[key].parts), found[key].short) for key in "abc"]
        assert given_ == [first, second, third]

    def test_what_it_does_not_ask_for_is_left_to_a_later_case(self):
        needs = [need("a", case="C"), self.stand_in("b", "N", "a"), need("later", item="N", at=11)]
        assert lots(allocate(needs, [unit(1), unit(2, item="N")])["later"]) == [(2, 1)]


needs_and_stock = st.tuples(
    st.lists(
        st.builds(
            lambda on, at, hours, quantity, chance, item, case: (on, at, hours, quantity, chance, item, case),
            st.integers(0, 6),
            st.integers(7, 16),
            st.integers(1, 4),
            st.integers(1, 4),
            st.one_of(st.none(), st.floats(0.0, 1.0)),
            st.sampled_from("MN"),
            st.sampled_from(["C1", "C2", "C3", "C4"]),
        ),
        max_size=12,
    ),
    st.lists(
        st.tuples(
            st.integers(0, 5),
            st.one_of(st.none(), st.integers(-1, 8)),
            st.sampled_from("MN"),
            st.sampled_from([None, None, "C1", "C2"]),
        ),
        max_size=8,
    ),
)


@given(needs_and_stock)
def test_whatever_comes_the_books_balance(drawn):
    rows, holdings = drawn
    needs = [
        need(key, on=on, at=at, hours=hours, quantity=quantity, chance=chance, item=item, case=case)
        for key, (on, at, hours, quantity, chance, item, case) in enumerate(rows)
    ]
    stock = [
        unit(lot, quantity, through=through, item=item, kept_for=kept)
        for lot, (quantity, through, item, kept) in enumerate(holdings)
    ]
    by_lot = {u.lot_id: u for u in stock}
    found = allocate(needs, stock)
    taken = Counter()
    for asked in needs:
        allotment = found[asked.key]
        total = sum(part.quantity for part in allotment.parts)
        assert total + allotment.short == asked.quantity
        assert 0 <= allotment.shared <= total
        assert 0.0 <= allotment.chance_free <= 1.0
        assert not (asked.certain and allotment.shared)
        own = total - allotment.shared
        for part in allotment.parts:
            source = by_lot[part.lot_id]
            assert source.item == asked.item
            assert source.last_usable_on is None or source.last_usable_on >= asked.on
            assert source.kept_for in (None, asked.case)
            taken[part.lot_id] += min(part.quantity, own)
            own -= min(part.quantity, own)
    assert all(taken[lot] <= by_lot[lot].quantity for lot in taken)


@given(needs_and_stock)
def test_nothing_is_short_while_a_usable_unit_is_free(drawn):
    """The slow twin: for each need, count by hand what nobody had taken for good before it."""
    rows, holdings = drawn
    needs = [
        need(key, on=on, at=at, hours=hours, quantity=quantity, item=item, case=case)
        for key, (on, at, hours, quantity, _, item, case) in enumerate(rows)
    ]
    stock = [
        unit(lot, quantity, through=through, item=item, kept_for=kept)
        for lot, (quantity, through, item, kept) in enumerate(holdings)
    ]
    found = allocate(needs, stock)
    left = {u.lot_id: u.quantity for u in stock}
    for asked in sorted(needs, key=lambda n: (n.starts_at, n.key)):
        usable = sum(
            left[u.lot_id]
            for u in stock
            if u.item == asked.item
            and (u.last_usable_on is None or u.last_usable_on >= asked.on)
            and u.kept_for in (None, asked.case)
        )
        assert found[asked.key].short == max(0, asked.quantity - usable)
        for part in found[asked.key].parts:
            left[part.lot_id] -= part.quantity
