"""Slots filled from the implant of a site: the planned one, its neighbours, its healing abutments. Pure."""

from decimal import Decimal
from typing import Any

from kits.families import family_of
from kits.plans import SitePlan
from kits.procedure_facts import places_implants
from kits.slot_answers import Asked, Filled, Missing, NoSuch


def connection_at(sites: tuple[SitePlan, ...]) -> str:
    """The platform at the first site that has one."""
    return next((site.connection for site in sites if site.connection), "")


def unknown_platform(sites: tuple[SitePlan, ...], procedure: str) -> Filled:
    """The question to ask where the platform is not known yet."""
    teeth = ", ".join(site.tooth for site in sites if site.tooth)
    if not teeth:
        return Missing("Say which tooth or teeth this case is for.")
    if places_implants(procedure):
        return Missing(f"Choose the implant for {teeth}.")
    return Missing(f"Record which implant stands at {teeth}; its platform decides the part.")


def planned(asked: Asked) -> tuple[Filled, ...]:
    """The implant of the plan; it is never guessed."""
    site = next((site for site in asked.sites if site.implant is not None), None)
    if site is None:
        return (unknown_platform(asked.sites, "DEL"),)
    return (Filled(site.implant),)


def standby_up(asked: Asked) -> tuple[Filled, ...]:
    """One diameter up: the same connection if it has one, else the next platform of the same family.

    Never longer than the safe length, nor wider than the safe diameter, and never another family.
    """
    site = next((site for site in asked.sites if site.connection), None)
    if site is None or (site.implant is None and not asked.sites[0].tooth):
        return (unknown_platform(asked.sites, asked.procedure),)
    if site.implant is None:
        return (
            NoSuch(f"No wider implant is chosen for {site.tooth}, should the old one be replaced at once."),
        )
    now = site.implant
    wider = [
        item
        for item in asked.families.implants()
        if family_of(item.connection) == family_of(now.connection) and item.diameter_mm > now.diameter_mm
    ]
    same = [item for item in wider if item.connection == now.connection]
    step = min((item.diameter_mm for item in same or wider), default=None)
    if step is None:
        return (NoSuch(f"There is no wider implant in the family of {now.connection} than {size(now)}."),)
    if site.widest_safe_mm is not None and step > site.widest_safe_mm:
        return (NoSuch(f"At {site.tooth} nothing wider than {plain(site.widest_safe_mm)} mm is safe."),)
    return _longest_that_fits([item for item in same or wider if item.diameter_mm == step], site)


def _longest_that_fits(candidates: list[Any], site: SitePlan) -> tuple[Filled, ...]:
    """Of one diameter, the length planned or the next shorter one that is safe."""
    now = site.implant
    limit = min(now.length_mm, site.longest_safe_mm or now.length_mm)
    fitting = [item for item in candidates if item.length_mm <= limit]
    if not fitting:
        diameter = candidates[0].diameter_mm
        return (NoSuch(f"At {site.tooth} no {diameter:.1f} mm implant is as short as {plain(limit)} mm."),)
    best = max(fitting, key=lambda item: (item.length_mm, item.code))
    note = "one diameter up"
    if best.connection != now.connection:
        note = f"one diameter up; changes the platform from {now.connection} to {best.connection}, parts too"
    return (Filled(best, note=note),)


def standby_down(asked: Asked) -> tuple[Filled, ...]:
    """Same connection and diameter, the next length down within the safe length."""
    site = next((site for site in asked.sites if site.implant is not None), None)
    if site is None:
        return (unknown_platform(asked.sites, asked.procedure),)
    now = site.implant
    shorter = [
        item
        for item in asked.families.implants()
        if item.connection == now.connection
        and item.diameter_mm == now.diameter_mm
        and item.length_mm < now.length_mm
        and (site.longest_safe_mm is None or item.length_mm <= site.longest_safe_mm)
    ]
    if not shorter:
        return (NoSuch(f"There is no implant shorter than {size(now)} in {now.connection}."),)
    return (Filled(max(shorter, key=lambda item: item.length_mm), note="one length down"),)


def healing_planned(asked: Asked) -> tuple[Filled, ...]:
    """The healing abutment of the platform in the planned height, else the nearest height there is."""
    connection = connection_at(asked.sites)
    if not connection:
        return (unknown_platform(asked.sites, asked.procedure),)
    heights = asked.families.healing_abutments(connection)
    if not heights:
        return (NoSuch(f"The catalogue has no healing abutment for platform {connection}."),)
    wanted = asked.sites[0].healing_height_mm
    best = min(heights, key=lambda item: (abs(item.height_mm - wanted), item.height_mm))
    note = "" if best.height_mm == wanted else f"{wanted} mm is not in the catalogue; this is the nearest"
    return (Filled(best, note=note),)


def healing_other(asked: Asked) -> tuple[Filled, ...]:
    """The same platform in the height next to the planned one."""
    first = healing_planned(asked)[0]
    if first.item is None:
        return (first,)
    others = [
        item
        for item in asked.families.healing_abutments(first.item.connection)
        if item.height_mm != first.item.height_mm
    ]
    if not others:
        return (NoSuch(f"Platform {first.item.connection} has healing abutments in one height only."),)
    return (Filled(min(others, key=lambda item: abs(item.height_mm - first.item.height_mm))),)


def size(implant: Any) -> str:
    """Diameter by length as it is said: "4.3 × 11.5"."""
    return f"{implant.diameter_mm:.1f} × {plain(implant.length_mm)}"


def plain(number: Decimal) -> str:
    """A measure without needless zeros: 10, 11.5."""
    return format(Decimal(number).normalize(), "f")
