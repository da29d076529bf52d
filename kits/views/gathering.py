"""What to fetch for a whole day, place by place."""

from collections import defaultdict
from dataclasses import dataclass, field

from django.shortcuts import render
from django.views.decorators.http import require_safe

from kits.models import Case
from kits.pick_values import DONE, PickList
from kits.picking import day_pick_lists
from kits.views.today import asked_day, neighbours
from kits.views.words import name_and_rest
from practice import access, clock

_WAITING = (Case.State.BOOKED, Case.State.SET_OUT)


@dataclass
class Fetch:
    """Units of one lot to fetch from a place: for which cases, and where that is."""

    lot: object
    name: str
    note: str
    quantity: int = 0
    rooms: list[str] = field(default_factory=list)

    @property
    def shown(self) -> str:
        """The lot or unit number; nothing where the item has none."""
        return "" if self.lot.shown == "no lot" else self.lot.shown


def by_place(lists: list[PickList]) -> list[tuple[str, list[Fetch]]]:
    """What is still to be fetched for these lists, by place, in the order of the names on the shelf."""
    places: dict[object, dict[int, Fetch]] = defaultdict(dict)
    for pick in lists:
        where = f"{pick.case.room or pick.case.code}"
        for line in pick.wanted:
            for part in line.parts if line.state != DONE else ():
                name, note = name_and_rest(part.lot.item.name)
                fetch = places[part.place].setdefault(part.lot.pk, Fetch(part.lot, name, note))
                fetch.quantity += part.quantity
                if where not in fetch.rooms:
                    fetch.rooms.append(where)
    ordered = sorted(places.items(), key=lambda pair: str(pair[0]))
    return [(str(place), sorted(found.values(), key=lambda one: one.name)) for place, found in ordered]


@access.signed_in()
@require_safe
def gather(request):
    """List everything a day still needs, place by place."""
    now_on = clock.today(clinic=request.clinic)
    on = asked_day(request, now_on)
    every = day_pick_lists(clinic=request.clinic, on=on, today=now_on)
    lists = [pick for pick in every if pick.case.state in _WAITING and pick.done < pick.total]
    shown = {
        "on": on,
        "places": by_place(lists),
        "short": [(pick, line) for pick in lists for line in pick.short],
        "coming": [(pick, line) for pick in lists for line in pick.wanted if line.coming and line.left],
        "cases": every,
        "count": len(lists),
        "now": clock.now(),
        **neighbours(request, on),
    }
    return render(request, "kits/gather.html", shown)
