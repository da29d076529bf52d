"""What the page of a tray shows: blocks, pouches and lines with the addresses that act on them."""

from typing import Any
from urllib.parse import urlencode

from django.urls import reverse

from kits.models import Case
from kits.pick_values import DONE, PickLine, PickList, Pouch
from kits.ready_together import REPROCESSING, WITHOUT_LOT, is_for_reprocessing, left_together
from kits.views.symbol import code_symbol
from kits.views.words import count_of, heading_of, line_words, plain_note, teeth_shown, without_echo
from practice import access
from practice.teeth import show

# Categories whose peel-off labels are stuck to the printed sheet.
LABELLED = ("Implant", "Bone graft", "Membrane")


def tray_page(pick: PickList, *, user, fresh: str = "") -> dict[str, Any]:
    """Variables of templates/kits/pick_list.html and its fragments; ``fresh``: key of a changed line."""
    case = pick.case
    may_set_out = access.may(user, case.clinic, "set_out")
    may_record = access.may(user, case.clinic, "record_surgery")
    draw = _Drawing(case, fresh, may_set_out, may_record and case.state == Case.State.IN_SURGERY)
    at_hand = [line for line in pick.open if not is_for_reprocessing(line)]
    sealed = [
        line
        for pouch in pick.pouches
        for line in pouch.lines
        if line.known is not False and not line.instead_of
    ]
    return {
        "case": case,
        "pick": pick,
        "teeth": teeth_shown(case),
        "over": over_words(case),
        "may_set_out": may_set_out,
        "may_record": may_record,
        "in_surgery": case.state == Case.State.IN_SURGERY,
        "complete": pick.total > 0 and pick.done == pick.total,
        "open_lines": [draw.line(line) for line in at_hand],
        "open_count": count_of(at_hand),
        "no_lot_ready": draw.together(WITHOUT_LOT, pick),
        "reprocessing": [draw.line(line) for line in pick.open if is_for_reprocessing(line)],
        "reprocessing_count": count_of(filter(is_for_reprocessing, pick.open)),
        "reprocessing_ready": draw.together(REPROCESSING, pick),
        "sets": [draw.line(line) for line in pick.sets],
        "sets_count": count_of(pick.sets),
        "pouches": [draw.pouch(pouch, by_tooth=_is_by_tooth(pouch, pick)) for pouch in pick.pouches],
        "sealed_count": count_of(sealed),
        "room": [line_words(line, case.clinic) for line in pick.room],
        "undecided": undecided_words(pick),
        "labels": [line_words(line, case.clinic) for line in pick.lines if _has_label(line)],
        "symbol": code_symbol(case.code),
    }


class _Drawing:
    """Lines and pouches of one case with what may be done about them now."""

    def __init__(self, case: Case, fresh: str, may_set_out: bool, may_open: bool) -> None:
        self.case, self.fresh = case, fresh
        self.may_set_out, self.may_open = may_set_out, may_open
        # With one tooth every line would say the same.
        self.with_tooth = len(case.sites.all()) > 1

    def url(self, name: str, **query) -> str:
        """The address of an action on this case."""
        return f"{reverse(name, args=[self.case.code])}?{urlencode(query, doseq=True)}"

    def together(self, group: str, pick: PickList) -> dict[str, Any] | None:
        """The touch that sets out what is left of a group, and of how many lines; None for fewer than two."""
        count = len(left_together(pick, group))
        if not self.may_set_out or count < 2:
            return None
        return {"number": count, "url": self.url("pick_ready", group=group)}

    def line(self, line: PickLine, *, opened: bool = False, under: str = "") -> dict[str, Any]:
        """A line with its tick, and its own way to open it where the pouch leaves that to a person.

        ``under``: the heading above it, which its note need not repeat.
        """
        shown = line_words(line, self.case.clinic, with_tooth=self.with_tooth)
        shown["note"] = without_echo(shown["note"], under)
        if self.may_set_out and line.item is not None and line.known is not False:
            off = {"off": 1} if line.state == DONE else {}
            shown["tick_url"] = self.url("pick_tick", line=line.key, **off)
        if self.may_open and opened and _is_sealed(line):
            shown["open_url"] = self.url("pick_open", line=line.key)
        shown["fresh"] = line.key == self.fresh
        return shown

    def pouch(self, pouch: Pouch, *, by_tooth: bool) -> dict[str, Any]:
        """A pouch with the one touch that opens it, once surgery has begun."""
        absent = pouch.finding is not None and all(line.known is False for line in pouch.lines)
        by_line = pouch.opened or (pouch.choose_one and not absent)
        heading = heading_of(pouch.heading, pouch.tooth, self.case.clinic)
        shown = {
            "heading": heading,
            "chance": None if absent else pouch.chance,
            "note": "Not there: stays sealed and goes back." if absent else _pouch_note(pouch),
            "opened": pouch.opened,
            "absent": absent,
            "lines": [self.line(line, opened=by_line, under=heading) for line in pouch.lines],
        }
        if by_tooth:
            return shown | (
                {} if pouch.opened else {"chance": None, "note": "Opened together with the tooth"}
            )
        return shown | (self._opening(pouch, absent) if self.may_open else {})

    def _opening(self, pouch: Pouch, absent: bool) -> dict[str, str]:
        if pouch.finding is None:
            keys = [line.key for line in pouch.lines if _is_sealed(line)]
            if pouch.choose_one:
                # Each of its lines has its own way to be opened; together they never are.
                return {}
            return {"action_url": self.url("pick_open", line=keys), "action_label": "Open"} if keys else {}
        where = {"finding": pouch.finding.pk, "site": pouch.site_id or ""}
        found = self.url("pick_finding", present=1, **where)
        gone = self.url("pick_finding", present=0, **where)
        if absent and pouch.finding.complement_of_id is not None:
            # It follows from the other finding, and is taken back there.
            return {}
        if absent:
            return {"action_url": found, "action_label": "It is there after all"}
        if pouch.opened:
            return {"other_url": gone, "other_label": "Not there after all"}
        return {
            "action_url": found,
            "action_label": found_label(pouch),
            "other_url": gone,
            "other_label": "Not there",
        }


def _is_by_tooth(pouch: Pouch, pick: PickList) -> bool:
    """Whether the finding of a pouch of the whole case is recorded tooth by tooth."""
    return pouch.site_id is None and any(
        other.finding == pouch.finding and other.site_id is not None
        for other in pick.pouches
        if pouch.finding is not None
    )


def _has_label(line: PickLine) -> bool:
    """Whether the sheet keeps room for its peel-off label: what is scanned, implant, graft or membrane."""
    return line.is_wanted and (line.must_scan or (line.item is not None and line.item.category in LABELLED))


def _is_sealed(line: PickLine) -> bool:
    return any(unit.opened_at is None and not unit.outcome for unit in line.units)


def found_label(pouch: Pouch) -> str:
    """What the touch on a finding opens: those lines that most such findings need."""
    if pouch.choose_one:
        return "Found it: choose one"
    likeliest = max((line.chance for line in pouch.lines), default=0.0)
    count = sum(line.chance > likeliest / 2 and not line.choose_one_group for line in pouch.lines)
    if count < 2:
        return "Found it: open"
    return f"Found it: open all {count}" if count == len(pouch.lines) else f"Found it: open {count}"


def _pouch_note(pouch: Pouch) -> str:
    return "Opened on the surgeon's word" if pouch.finding is None else ""


def over_words(case: Case) -> str:
    """Room, time, clinician, chart and consent in one quiet line."""
    parts = [
        f"Room {case.room}" if case.room else "No room yet",
        f"{case.clinician}" if case.clinician else "no clinician yet",
        case.patient.chart_number,
        case.patient.consent,
    ]
    return " · ".join(parts)


def undecided_words(pick: PickList) -> list[str]:
    """What has to be decided before the case can start, each once, in words."""
    clinic = pick.case.clinic
    found = [line.unresolved for line in pick.decide if line.blocking and line.unresolved]
    groups: dict[tuple, list[PickLine]] = {}
    for line in pick.decide:
        if line.undecided and line.choose_one_group:
            groups.setdefault((line.choose_one_group, line.tooth), []).append(line)
    for (_, tooth), lines in groups.items():
        place = f" for {show(tooth, clinic.tooth_notation)}" if tooth else ""
        found.append(f"Choose one{place}: {'; '.join(line.description for line in lines)}.")
    return list(dict.fromkeys(found))


def facts_of(pick: PickList) -> list[tuple[str, str]]:
    """Pairs of words and value for the head of the printed sheet."""
    case = pick.case
    teeth = ", ".join(show(site.tooth, case.clinic.tooth_notation) for site in case.sites.all())
    return [
        ("Day", f"{case.on:%A} {case.on.day} {case.on:%B %Y}"),
        ("Chart", case.patient.chart_number),
        ("Tooth", teeth or "not given"),
        ("Room", str(case.room or "none yet")),
        ("Clinician", str(case.clinician or "not named")),
        ("Consent", case.patient.consent),
        *([("Note", plain_note(case.note))] if case.note else []),
    ]
