"""One row of each kind that a page can be about, so that every address can be visited."""

from dataclasses import dataclass

import pytest
from django.apps import apps

from kits.models import BomVersion, Case, CaseProcedure, CaseSite, Finding, Procedure
from practice.models import Closure, RememberedMeaning
from practice.uploads import keep
from stock.models import Order, OrderLine, Proposal
from tests import builders
from tests.house.sources import LAYERS


@dataclass(frozen=True)
class Standing:
    """The cast, and how to find a row for an address."""

    cast: builders.Cast

    def row(self, name: str):
        """The first row of the model with this name in small letters, at the cast's first clinic; or None."""
        for layer in LAYERS:
            model = apps.get_app_config(layer).models.get(name.replace("_", ""))
            if model is not None:
                rows = model._default_manager.order_by("pk")
                path = getattr(model, "clinic_path", None)
                if path and "clinics" not in path:
                    rows = rows.filter(**{path: self.cast.clinic})
                return rows.first()
        return None


def _procedure() -> BomVersion:
    procedure = Procedure.objects.create(code="IMP-S", name="Implant placement", short_name="Implant")
    Finding.objects.create(code="F-SMP", name="Sample finding", condition="If it is so")
    return BomVersion.objects.create(
        procedure=procedure, number=1, state=BomVersion.State.PUBLISHED, created_at=builders.NOW
    )


def _case(cast: builders.Cast) -> Case:
    version = _procedure()
    case = Case.objects.create(
        code="C-0001",
        clinic=cast.clinic,
        room=cast.room,
        patient=cast.patient,
        clinician=cast.clinician,
        on=builders.TODAY,
        starts_at=builders.NOW,
        booked_at=builders.NOW,
        changed_at=builders.NOW,
    )
    CaseProcedure.objects.create(case=case, procedure=version.procedure, version=version)
    CaseSite.objects.create(case=case, tooth="11", implant=cast.implant)
    return case


def _order(cast: builders.Cast) -> Order:
    sold = cast.membrane.suppliers.get()
    order = Order.objects.create(
        clinic=cast.clinic,
        supplier=cast.general,
        number="PO-0001",
        created_at=builders.NOW,
        created_by=cast.manager,
    )
    OrderLine.objects.create(
        order=order, supplier_item=sold, packs=2, pack_size=1, pack_price=sold.pack_price
    )
    Proposal.objects.create(
        clinic=cast.clinic,
        supplier_item=sold,
        packs=1,
        order_by_on=builders.TODAY,
        reason="It will run short.",
    )
    return order


def _files(cast: builders.Cast) -> None:
    """A file on its way in, a remembered meaning and a closure."""
    facts = {"clinic": cast.clinic, "by": cast.manager, "at": builders.NOW}
    keep(file_kind="stock", filename="count.csv", data=b"Item code;Qty\nSUT-PT4;1\n", declared={}, **facts)
    RememberedMeaning.objects.create(
        clinic=cast.clinic, file_kind="stock", column="Item", value="THREAD", meaning="SUT-PT4"
    )
    Closure.objects.create(clinic=cast.clinic, starts_on=builders.TODAY, ends_on=builders.TODAY)


@pytest.fixture
def standing(cast) -> Standing:
    """The standing cast with a case, a lot on the shelf, an order and a proposal."""
    builders.shelved(cast.membrane, cast.stockroom)
    _case(cast)
    _order(cast)
    _files(cast)
    return Standing(cast)
