"""Reasons say the right numbers in whole sentences."""

import datetime as dt

import pytest

from kits.reasons import (
    CaseNeed,
    Larger,
    Purchase,
    Shortage,
    cases_words,
    chance_words,
    day_words,
    purchase_words,
    reason,
    shortage_words,
    units_words,
    waiting_words,
)

TODAY = dt.date(2026, 11, 24)


def day(text):
    return dt.date.fromisoformat(text)


def need(number, in_reach=1, expected_use=0.3, on="2026-12-11"):
    return CaseNeed(code=f"C-{number:05d}", on=day(on), in_reach=in_reach, expected_use=expected_use)


def shortage(**facts):
    return Shortage(
        **{
            "on": day("2026-12-11"),
            "in_reach": True,
            "must_have": 3,
            "kept": 0,
            "cases": [need(4), need(7), need(9)],
            "in_date": 6,
            "due": 0,
            "expected_use": 4.2,
            "booked_use": 2.9,
            "chance": 0.04,
            "allowed": 0.005,
        }
        | facts
    )


def purchase(**facts):
    return Purchase(
        **{
            "packs": 5,
            "pack_size": 1,
            "unit": "each",
            "order_by": day("2026-12-03"),
            "lead_days": (3, 5),
            "covered_until": day("2027-01-20"),
            "next_review": day("2026-12-01"),
            "chance_if_sent": 0.004,
            "chance_if_waiting": 0.09,
        }
        | facts
    )


@pytest.mark.parametrize(
    ("chance", "words"),
    [
        (0.0, "0 in 100"),
        (0.0004, "less than 1 in 1,000"),
        (0.001, "1 in 1,000"),
        (0.005, "1 in 200"),
        (0.0041, "1 in 250"),
        (0.025, "2.5 in 100"),
        (0.0312, "3.1 in 100"),
        (0.04, "4 in 100"),
        (0.3, "30 in 100"),
        (0.996, "more than 99 in 100"),
        (1.0, "more than 99 in 100"),
    ],
)
def test_chances_as_people_say_them(chance, words):
    assert chance_words(chance) == words


def test_days_and_units():
    assert day_words(day("2026-12-03"), today=TODAY) == "3 December"
    assert day_words(day("2027-01-20"), today=TODAY) == "20 January 2027"
    assert [units_words(1, "each"), units_words(2, "box"), units_words(12, "vial")] == [
        "1 piece",
        "2 boxes",
        "12 vials",
    ]


def test_cases_are_named_and_the_rest_counted():
    assert cases_words([need(4)]) == "C-00004 (1)"
    assert cases_words([need(4), need(7, 2)]) == "C-00004 (1) and C-00007 (2)"
    assert cases_words([need(number) for number in range(1, 6)]) == (
        "C-00001 (1), C-00002 (1), C-00003 (1) and 2 more"
    )


def test_too_few_in_reach():
    assert shortage_words(shortage(), today=TODAY) == (
        "On 11 December 3 must lie in reach for C-00004 (1), C-00007 (1) and C-00009 (1). "
        "6 are in date by then and about 4.2 will be used before; "
        "the chance of being short by then is 4 in 100, 1 in 200 is accepted."
    )


def test_none_in_date_and_what_is_on_order():
    assert "None is in date by then;" in shortage_words(shortage(in_date=0), today=TODAY)
    words = shortage_words(shortage(in_date=1, due=1, expected_use=0.0), today=TODAY)
    assert "1 is in date by then (1 of them on order);" in words


def test_without_a_booked_case_the_cause_is_named():
    assert "3 must lie in reach for cases not booked yet." in shortage_words(shortage(cases=[]), today=TODAY)
    words = shortage_words(shortage(cases=[], kept=3), today=TODAY)
    assert "3 must lie in reach, the least this clinic keeps." in words
    words = shortage_words(shortage(cases=[need(4)]), today=TODAY)
    assert "3 must lie in reach for C-00004 (1), the rest for cases not booked yet." in words


def test_use_runs_out():
    words = shortage_words(shortage(in_reach=False, expected_use=7.0), today=TODAY)
    assert words == (
        "By 11 December about 7 will be used, 2.9 of them in C-00004, C-00007 and C-00009. "
        "6 are in date by then; the chance of being short by then is 4 in 100, 1 in 200 is accepted."
    )


def test_use_of_booked_cases_alone_names_them():
    few = shortage(in_reach=False, cases=[need(4), need(7)], expected_use=2.0, booked_use=2.0)
    assert shortage_words(few, today=TODAY).startswith(
        "By 11 December about 2 will be used in C-00004 and C-00007. 6 are"
    )
    none = shortage(in_reach=False, cases=[], expected_use=2.0, booked_use=0.0)
    assert "about 2 will be used. 6 are" in shortage_words(none, today=TODAY)


def test_when_to_order_and_how_far_it_reaches():
    assert purchase_words(purchase(), today=TODAY) == (
        "Ordered by 3 December it comes in time (3 to 5 days); "
        "with 5 pieces the item is covered until 20 January 2027."
    )
    late = purchase(order_by=day("2026-11-20"), lead_days=(1, 1), covered_until=None)
    assert purchase_words(late, today=TODAY) == (
        "The day to order by, 20 November, has passed: order today (1 day); "
        "with 5 pieces the item is covered through the whole plan."
    )
    assert "Ordered today it comes in time" in purchase_words(purchase(order_by=TODAY), today=TODAY)


def test_waste_against_shortage_gives_both_numbers():
    larger = Larger(units=8, chance=0.004, unused=2.4)
    words = purchase_words(purchase(larger=larger, chance=0.03, unused=0.4), today=TODAY)
    assert words.endswith(
        " 8 would bring the chance of being short to 1 in 250, but about 2.4 of them would go out of date "
        "unused; with 5 it is 3 in 100 and about 0.4 unused. Choose which."
    )


def test_waste_of_the_least_order_is_said():
    words = purchase_words(purchase(is_least=True, unused=0.9), today=TODAY)
    assert words.endswith(" About 0.9 of it would go out of date unused, but no smaller order can be had.")


def test_what_waiting_costs():
    assert waiting_words(purchase(), today=TODAY) == (
        "Left to the next review on 1 December, the chance of being short before it comes is 9 in 100; "
        "sent now it is 1 in 250."
    )


def test_reason_is_shortage_then_purchase():
    words = reason(shortage(), purchase(), today=TODAY)
    assert words.startswith("On 11 December 3 must") and words.endswith("covered until 20 January 2027.")
