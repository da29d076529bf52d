"""Places that have to be there before units can lie on them."""

import datetime as dt

from practice import audit
from practice.models import Clinic
from stock.models import Place

ADD_PLACE = audit.action("place.add", "added the place {subject}")


def ensure_place(*, clinic: Clinic, name: str, kind: str, by, at: dt.datetime) -> Place:
    """The place of that name at the clinic, made (and said in the audit) when it is new."""
    place, made = Place.objects.get_or_create(clinic=clinic, name=name, defaults={"kind": kind})
    if made:
        audit.record(ADD_PLACE, by=by, at=at, subject=f"{name} ({clinic})", clinic=clinic)
    return place
