"""The standing cast and small builders. Every name is invented; codes follow the demo catalogue.

``cast()`` builds the people and places most tests share. The other builders make one row each, with
everything that a test does not mention filled in.
"""

import datetime as dt
import itertools
from dataclasses import dataclass
from decimal import Decimal

from practice.models import Clinic, Patient, Policy, Practice, Role, Room, User
from stock.models import Item, ItemCode, Lot, Place, Supplier, SupplierItem
from stock.receiving import open_stock

# A Tuesday, far from any change of the clocks.
TODAY = dt.date(2026, 5, 12)
NOW = dt.datetime(2026, 5, 12, 8, 30, tzinfo=dt.UTC)
PASSWORD = "quiet-harbour-42"

_numbers = itertools.count(1)


@dataclass(frozen=True)
class Cast:
    """Everyone and everything that is always there."""

    practice: Practice
    clinic: Clinic
    other_clinic: Clinic
    room: Room
    other_room: Room
    assistant: User
    manager: User
    second_manager: User
    clinician: User
    administrator: User
    reader: User
    other_assistant: User
    stranger: User
    implants: Supplier
    general: Supplier
    tissue_bank: Supplier
    implant: Item
    wider_implant: Item
    graft: Item
    small_graft: Item
    membrane: Item
    larger_membrane: Item
    suture: Item
    gloves: Item
    gauze: Item
    exam_set: Item
    stockroom: Place
    fridge: Place
    cart: Place
    tray: Place
    quarantine: Place
    loan: Place
    other_stockroom: Place
    other_tray: Place
    patient: Patient


def cast() -> Cast:
    """Build the standing cast in the database."""
    clinics = _clinics()
    return Cast(
        **clinics,
        **_people(clinics["clinic"], clinics["other_clinic"]),
        **_catalogue(),
        **_places(clinics["clinic"], clinics["other_clinic"]),
        patient=patient(clinics["practice"], chart_number="P-0001"),
    )


def _clinics() -> dict:
    practice = Practice.objects.create(name="Thackerfold Implant & Oral Surgery", short_name="Thackerfold")
    first = Clinic.objects.create(practice=practice, name="Skellowick Road", code="A")
    second = Clinic.objects.create(
        practice=practice, name="Eddlestoke Green", code="B", open_weekdays="1010100"
    )
    # A low limit, so that a few units already call for the second manager.
    Policy.objects.bulk_create([Policy(clinic=each, approval_limit=400) for each in (first, second)])
    return {
        "practice": practice,
        "clinic": first,
        "other_clinic": second,
        "room": Room.objects.create(clinic=first, code="A1"),
        "other_room": Room.objects.create(clinic=second, code="B1"),
    }


def user(username: str, *, name: str = "", **roles) -> User:
    """A person who can sign in with PASSWORD; ``roles`` are kinds by clinic: user("x", assistant=clinic)."""
    person = User.objects.create_user(username, password=PASSWORD, display_name=name or username.title())
    for kind, clinics in roles.items():
        for clinic in clinics if isinstance(clinics, (list, tuple)) else [clinics]:
            Role.objects.create(user=person, clinic=clinic, kind=kind)
    return person


def _people(clinic: Clinic, other: Clinic) -> dict:
    both = [clinic, other]
    return {
        "assistant": user("pellister", name="J. Pellister", assistant=clinic),
        "manager": user("marrowick", name="Q. Marrowick", manager=both),
        "second_manager": user("vantresk", name="L. Vantresk", manager=both),
        "clinician": user("tessamore", name="Dr A. Tessamore", clinician=both),
        "administrator": user("ostrewold", name="T. Ostrewold", administrator=both),
        "reader": user("brindlecote", name="E. Brindlecote", reader=clinic),
        "other_assistant": user("numbrecht", name="S. Numbrecht", assistant=other),
        "stranger": user("stranger", name="A Stranger"),
    }


def item(code: str = "", *, name: str = "", **facts) -> Item:
    """An item; tracked by lot unless told otherwise."""
    number = next(_numbers)
    code = code or f"ITM-{number:04d}"
    facts = {"category": "Others", "tracking": Item.Tracking.LOT} | facts
    return Item.objects.create(code=code, name=name or f"Item {code}", **facts)


def supplier_item(
    supplier: Supplier, of: Item, *, price="10.00", pack_size: int = 1, **facts
) -> SupplierItem:
    """How a supplier sells an item: its code there is ours."""
    return SupplierItem.objects.create(
        supplier=supplier,
        item=of,
        supplier_code=facts.pop("supplier_code", of.code),
        pack_size=pack_size,
        pack_price=Decimal(price),
        **facts,
    )


def lot(
    of: Item, *, number: str = "", expires_on: dt.date | None = TODAY + dt.timedelta(days=400), **facts
) -> Lot:
    """A lot of an item, in date for a good year; a unit of a serial or tissue item gets its own number."""
    count = next(_numbers)
    if of.is_unit_tracked:
        facts.setdefault("serial", f"U-{count:05d}")
    if of.tracking == Item.Tracking.DONOR:
        facts.setdefault("donor_id", f"HM-DON-{count:04d}")
    if of.tracking != Item.Tracking.NONE:
        number = number or f"L{count:05d}"
    return Lot.objects.create(item=of, lot_number=number, expires_on=expires_on, **facts)


def shelved(of: Item, at_place: Place, quantity: int = 1, **facts) -> Lot:
    """A new lot of an item with units lying at a place, entered as opening stock by the system."""
    found = lot(of, **facts)
    open_stock(lot=found, place=at_place, quantity=quantity, by=None, at=NOW - dt.timedelta(days=30))
    return found


def place(clinic: Clinic, name: str, kind: str = Place.Kind.STOCKROOM) -> Place:
    """A place of a clinic."""
    return Place.objects.create(clinic=clinic, name=name, kind=kind)


def patient(practice: Practice, *, chart_number: str = "", **facts) -> Patient:
    """A patient who declines nothing."""
    return Patient.objects.create(
        practice=practice, chart_number=chart_number or f"P-{next(_numbers) + 1000}", **facts
    )


def _implant(code: str, diameter: str, connection: str) -> Item:
    return item(
        code,
        name=f"Implant, conical, {diameter} x 10 mm",
        category="Implant",
        tracking=Item.Tracking.SERIAL,
        criticality=Item.Criticality.CANNOT_START,
        supply_mode=Item.Supply.CONSIGNED,
        diameter_mm=Decimal(diameter),
        length_mm=Decimal("10"),
        connection=connection,
    )


def _graft(code: str, volume: str) -> Item:
    return item(
        code,
        name=f"Allograft particulate, {volume} cc vial",
        category="Bone graft",
        stock_unit="vial",
        tracking=Item.Tracking.DONOR,
        human_tissue=True,
        tissue_log_needed=True,
        origin="human",
        substitution_group="GRAFT-AL",
        volume_cc=Decimal(volume),
    )


def _membrane(code: str, width: int, height: int, **facts) -> Item:
    return item(
        code,
        name=f"Membrane, resorbable porcine collagen, {width} x {height} mm",
        category="Membrane",
        origin="porcine",
        substitution_group="MEM-RC",
        width_mm=width,
        height_mm=height,
        resorbable=True,
        **facts,
    )


def _catalogue() -> dict:
    implant, wider = _implant("IMP-CR-4310", "4.3", "CR"), _implant("IMP-CW-5010", "5.0", "CW")
    graft, small = _graft("GRF-AL-050", "0.5"), _graft("GRF-AL-025", "0.25")
    membrane = _membrane("MEM-RC-2030", 20, 30, criticality=Item.Criticality.CANNOT_START)
    larger = _membrane("MEM-RC-3040", 30, 40)
    suture = item("SUT-PT4", name="Suture, PTFE monofilament 4-0", category="Suture", origin="synthetic")
    gloves = item("PPE-SG75", name="Sterile surgical gloves, size 7.5", category="PPE", size_label="7.5")
    gauze = item("GEN-GZS", name="Gauze, sterile", category="Others", tracking=Item.Tracking.NONE)
    exam = item(
        "SET-EX",
        name="Exam set",
        category="Instrument set",
        tracking=Item.Tracking.SET,
        supply_mode=Item.Supply.ASSET,
        single_patient_use=False,
        sets_owned=16,
    )
    ItemCode.objects.create(item=membrane, value="02999000104314")
    goods = {
        "implant": implant,
        "wider_implant": wider,
        "graft": graft,
        "small_graft": small,
        "membrane": membrane,
        "larger_membrane": larger,
        "suture": suture,
        "gloves": gloves,
        "gauze": gauze,
        "exam_set": exam,
    }
    return goods | _suppliers(goods)


def _suppliers(goods: dict) -> dict:
    implants = Supplier.objects.create(name="Tindrell Implant Components")
    general = Supplier.objects.create(
        name="Brambleforth Surgical Supply", email="orders@brambleforth.example"
    )
    bank = Supplier.objects.create(name="Hathermoss Tissue Bank", is_tissue_bank=True)
    supplier_item(implants, goods["implant"], price="310.00")
    supplier_item(bank, goods["graft"], price="82.00")
    supplier_item(general, goods["membrane"], price="145.00")
    supplier_item(general, goods["suture"], price="138.00", pack_size=12)
    supplier_item(general, goods["gloves"], price="95.00", pack_size=50, minimum_packs=2)
    return {"implants": implants, "general": general, "tissue_bank": bank}


def _places(clinic: Clinic, other: Clinic) -> dict:
    kind = Place.Kind
    return {
        "stockroom": place(clinic, "Stockroom"),
        "fridge": place(clinic, "Fridge", kind.FRIDGE),
        "cart": place(clinic, "Cart A1", kind.CART),
        "tray": place(clinic, "Tray A1", kind.TRAY),
        "quarantine": place(clinic, "Quarantine", kind.QUARANTINE),
        "loan": place(clinic, "On loan", kind.LOAN),
        "other_stockroom": place(other, "Stockroom"),
        "other_tray": place(other, "Tray B1", kind.TRAY),
    }
