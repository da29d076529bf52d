"""What the words of a booking mean at this clinic: procedure, teeth, room, clinician, and which patient.

Declared meanings come first, then what the clinic once said, then the usual words of the trade. What nobody
has given a meaning is left unmapped for people to settle; nothing is guessed in silence.
"""

from dataclasses import dataclass, field

from kits.booking_rows import Booked, BookingFile
from kits.models import BomVersion, Procedure
from kits.procedure_words import code_of, is_no_treatment
from practice.encryption import fold
from practice.importing import SKIP, Meanings, Report
from practice.models import Clinic, Patient, Role, Room, User
from practice.spreadsheets import Problem
from practice.teeth import FDI, UNIVERSAL, UnknownTooth, read_teeth, show, spoken


@dataclass(frozen=True)
class Understood:
    """A booking in our own terms; ``teeth`` are FDI numbers."""

    booked: Booked
    procedures: tuple[Procedure, ...]
    teeth: tuple[str, ...]
    room: Room | None
    clinician: User | None

    @property
    def codes(self) -> tuple[str, ...]:
        """Codes of the procedures in the order they were named."""
        return tuple(procedure.code for procedure in self.procedures)

    @property
    def minutes(self) -> int:
        """How long it lasts: as the file says, else as the procedures usually do."""
        return self.booked.minutes or sum(procedure.minutes for procedure in self.procedures)


@dataclass
class Clinicwise:
    """What is needed to understand one file at one clinic."""

    clinic: Clinic
    meanings: Meanings
    file: BookingFile
    report: Report
    notation: str
    procedures: dict[str, Procedure]
    with_bill: frozenset[int]
    rooms: dict[str, Room]
    clinicians: dict[str, User]
    patients: dict[str, tuple[str, int | None, str]]
    said: set[tuple[str, str]] = field(default_factory=set)


def gather(file: BookingFile, *, clinic: Clinic, meanings: Meanings, report: Report) -> Clinicwise:
    """Read once what understanding every row needs."""
    clinicians = User.objects.filter(roles__clinic=clinic, roles__kind=Role.Kind.CLINICIAN, is_active=True)
    charts = {booked.chart for booked in file.booked}
    known = Patient.objects.filter(practice_id=clinic.practice_id, chart_number__in=charts)
    published = BomVersion.objects.filter(state=BomVersion.State.PUBLISHED)
    return Clinicwise(
        clinic=clinic,
        meanings=meanings,
        file=file,
        report=report,
        notation=_notation(file, clinic, meanings, report),
        procedures={procedure.code: procedure for procedure in Procedure.objects.filter(is_active=True)},
        with_bill=frozenset(published.values_list("procedure_id", flat=True)),
        rooms={fold(room.code): room for room in Room.objects.filter(clinic=clinic)},
        clinicians={name: user for user in clinicians for name in _names(user)},
        patients={p.chart_number: (p.name, p.born_in, "the patient list") for p in known},
    )


def _names(user: User) -> set[str]:
    """Ways a calendar may write a person: the sign-in name, the whole name, the last name."""
    whole = fold(user.display_name or user.get_full_name())
    return {fold(user.username), whole, whole.split()[-1] if whole else ""} - {""}


def _notation(file: BookingFile, clinic: Clinic, meanings: Meanings, report: Report) -> str:
    """The tooth numbering: as declared, else the clinic's own unless the file plainly uses the other."""
    if meanings.notation:
        return meanings.notation
    texts = sorted({booked.teeth for booked in file.booked if booked.teeth})
    own = clinic.tooth_notation
    other = UNIVERSAL if own == FDI else FDI
    unreadable = {notation: [t for t in texts if not _readable(t, notation)] for notation in (own, other)}
    if len(unreadable[other]) < len(unreadable[own]):
        shown = next(text for text in unreadable[own] if _readable(text, other))
        tooth = read_teeth(shown, other)[0]
        names = {FDI: "FDI", UNIVERSAL: "Universal"}
        report.notices.append(
            Problem(
                0,
                file.header("teeth"),
                shown,
                f"The file numbers teeth in {names[other]}, not in {names[own]} as the clinic does: "
                f"“{shown}” was read as {show(tooth, own)}, the {spoken(tooth)}. Say so if that is wrong.",
            )
        )
        return other
    return own


def _readable(text: str, notation: str) -> bool:
    try:
        return bool(read_teeth(text, notation))
    except UnknownTooth:
        return False


def is_left_out(known: Clinicwise, words: str) -> bool:
    """Whether a calendar entry with these words is no treatment, by usage or because someone said so."""
    meaning = known.meanings.of(words, "procedure", known.file.header("procedure"))
    return meaning == SKIP or (meaning is None and is_no_treatment(words))


def understand(known: Clinicwise, booked: Booked) -> Understood | None:
    """The booking in our terms, or None after what is wrong or unmapped was reported."""
    file, problems = known.file, []
    procedures = _procedures(known, booked.row, booked.words, problems)
    teeth = _teeth(known, booked.row, booked.teeth, problems)
    if not booked.chart:
        problems.append(Problem(booked.row, file.header("chart"), "", "No chart number can be found here."))
    other_person = _other_person(known, booked)
    if other_person:
        problems.append(Problem(booked.row, file.header("chart"), booked.chart, other_person))
    known.report.problems += problems
    if problems or procedures is None:
        return None
    return Understood(
        booked, procedures, teeth, _room(known, booked.room), _clinician(known, booked.provider)
    )


def check_words(known: Clinicwise, *, row: int, words: str, teeth: str) -> None:
    """Report what is wrong or unmapped in the words of a row that cannot be booked for other reasons."""
    if words and not is_left_out(known, words):
        _procedures(known, row, words, known.report.problems)
    _teeth(known, row, teeth, known.report.problems)


def _teeth(known: Clinicwise, row: int, text: str, problems: list[Problem]) -> tuple[str, ...]:
    try:
        return read_teeth(text, known.notation)
    except UnknownTooth as fault:
        problems.append(Problem(row, known.file.header("teeth"), text, str(fault)))
        return ()


def _procedures(
    known: Clinicwise, row: int, text: str, problems: list[Problem]
) -> tuple[Procedure, ...] | None:
    """Procedures the words name, or None where they name none we know; adds to ``problems``."""
    column = known.file.header("procedure")
    parts = _parts(known, text)
    found = []
    for words, code in parts:
        if code is None:
            known.report.leave_unmapped(column, words)
            return None
        procedure = known.procedures.get(code.upper())
        if procedure is None or procedure.pk not in known.with_bill:
            problems.append(
                Problem(
                    row,
                    column,
                    text,
                    f"This means {code}, which is not set up here. Take in the bills of materials first.",
                )
            )
            return None
        known.report.understand(column, words, f"{procedure.code} {procedure.name}")
        found.append(procedure)
    return tuple(dict.fromkeys(found))


def _parts(known: Clinicwise, words: str) -> list[tuple[str, str | None]]:
    """The words as one procedure, or as several parted by a semicolon or comma, with their codes."""
    whole = _code(known, words)
    pieces = [piece.strip() for piece in words.replace(",", ";").split(";") if piece.strip()]
    if whole is not None or len(pieces) < 2:
        return [(words, whole)]
    read = [(piece, _code(known, piece)) for piece in pieces]
    return read if all(code for _, code in read) else [(words, None)]


def _code(known: Clinicwise, words: str) -> str | None:
    declared = known.meanings.of(words, "procedure", known.file.header("procedure"))
    return declared if declared and declared != SKIP else code_of(words)


def _room(known: Clinicwise, text: str) -> Room | None:
    room = known.rooms.get(fold(known.meanings.of(text, "room", known.file.header("room")) or text))
    if text and room is None:
        _say_once(known, "room", text, "There is no such room here; these cases are booked without one.")
    return room


def _clinician(known: Clinicwise, text: str) -> User | None:
    name = fold(known.meanings.of(text, "provider", known.file.header("provider")) or text)
    found = known.clinicians.get(name) or (known.clinicians.get(name.split()[-1]) if name else None)
    if text and found is None:
        _say_once(known, "provider", text, "No clinician here goes by that name; booked without one.")
    return found


def _say_once(known: Clinicwise, name: str, value: str, sentence: str) -> None:
    if (name, value) not in known.said:
        known.said.add((name, value))
        known.report.notices.append(Problem(0, known.file.header(name), value, sentence))


def _other_person(known: Clinicwise, booked: Booked) -> str:
    """A sentence when name and birth year both say that this chart number is somebody else's."""
    where = f"row {booked.row}"
    name, born_in, earlier = known.patients.setdefault(booked.chart, (booked.name, booked.born_in, where))
    other_name = bool(name and booked.name) and fold(name) != fold(booked.name)
    other_year = None not in (born_in, booked.born_in) and born_in != booked.born_in
    if other_name and other_year:
        return (
            f"In {earlier} this chart number belongs to another person, with another name and birth year. "
            "Two patients must not share a chart; correct one of them."
        )
    if other_name or other_year:
        what = "name" if other_name else "birth year"
        known.report.notices.append(
            Problem(
                booked.row,
                known.file.header("chart"),
                booked.chart,
                f"The {what} differs from {earlier}; the earlier one was kept. Is it the same person?",
            )
        )
    return ""
