"""Hold, recall, release: guarded by the row, with a reason, and on record."""

import pytest

from practice import audit
from practice.models import AuditEntry
from stock.holds import AlreadyDecided, WhyMissing, hold, recall, release
from stock.models import Lot
from tests import builders
from tests.builders import NOW, TODAY


@pytest.fixture
def lot(cast):
    return builders.lot(cast.membrane)


def decide(verb, cast, lot, reason="supplier's letter"):
    return verb(lot=lot, reason=reason, by=cast.manager, at=NOW)


@pytest.mark.parametrize(
    ("before", "verb", "after", "sentence"),
    [
        ([], hold, "held", "held {lot}: supplier's letter"),
        ([], recall, "recalled", "marked {lot} as recalled: supplier's letter"),
        ([hold], recall, "recalled", "marked {lot} as recalled: supplier's letter"),
        ([hold], release, "", "released {lot}: supplier's letter"),
        ([recall], release, "", "released {lot}: supplier's letter"),
    ],
)
def test_it_works_and_says_so(cast, lot, before, verb, after, sentence):
    for earlier in before:
        decide(earlier, cast, lot)
    decide(verb, cast, lot)
    stored = Lot.objects.get(pk=lot.pk)
    assert (stored.decision, lot.decision) == (after, after)
    assert stored.decision_reason == ("supplier's letter" if after else "")
    assert audit.sentence(AuditEntry.objects.first()) == f"Q. Marrowick {sentence.format(lot=lot)}"
    assert Lot.objects.usable(on=TODAY).filter(pk=lot.pk).exists() == (after == "")


@pytest.mark.parametrize(
    ("before", "verb", "refusal"),
    [
        (hold, hold, "is held, so it cannot be held"),
        (recall, hold, "is recalled, so it cannot be held"),
        (recall, recall, "is recalled, so it cannot be recalled"),
        (None, release, "is neither held nor recalled, so it cannot be released"),
    ],
)
def test_already_done(cast, lot, before, verb, refusal):
    if before:
        decide(before, cast, lot)
    written = AuditEntry.objects.count()
    with pytest.raises(AlreadyDecided, match=refusal):
        decide(verb, cast, lot)
    assert AuditEntry.objects.count() == written


def test_an_old_copy_of_the_lot_decides_nothing(cast, lot):
    stale = Lot.objects.get(pk=lot.pk)
    decide(recall, cast, lot)
    with pytest.raises(AlreadyDecided):
        decide(hold, cast, stale)
    assert Lot.objects.get(pk=lot.pk).decision == "recalled"


@pytest.mark.parametrize("verb", [hold, recall, release])
@pytest.mark.parametrize("reason", ["", "  ", "r" * 161])
def test_a_decision_has_its_reason(cast, lot, verb, reason):
    with pytest.raises(WhyMissing, match="Say in up to 160 characters"):
        decide(verb, cast, lot, reason=reason)
