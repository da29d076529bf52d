"""What may be found during surgery, in plain words: the names and pouch headings of the findings. Pure data.

The codes are those of the bill of materials file; the words are our own. ``condition`` completes the
heading of a pouch: "If the facial plate is missing". A code that is not listed still gets words from
``words_for``, so that a practice's own findings are never dropped.
"""

from dataclasses import dataclass

CASE, SITE, IMPLANT = "case", "site", "implant"


@dataclass(frozen=True)
class FindingWords:
    """How one finding is called and where it may occur.

    ``scope``: once per case, per tooth site or per implant. ``complement_of``: the finding whose absence
    this one is. ``is_planned``: known when the case is planned, not seen in surgery.
    """

    name: str
    condition: str
    scope: str = SITE
    complement_of: str = ""
    is_planned: bool = False


FINDINGS: dict[str, FindingWords] = {
    "F-FPM": FindingWords("Facial plate missing", "If the facial plate is missing"),
    "F-INTACT": FindingWords("All walls intact", "If all walls are intact", complement_of="F-FPM"),
    "F-FPM2": FindingWords("Defect larger than the sheet", "If the defect is larger than the prepared sheet"),
    "F-VOL": FindingWords("More graft needed", "If more graft is needed than calculated"),
    "F-SECT": FindingWords(
        "Tooth sectioned or bone removed", "If the tooth is sectioned or bone removed", CASE
    ),
    "F-PST": FindingWords("Planned implant not firm", "If the planned implant does not sit firmly", IMPLANT),
    "F-NST": FindingWords("No implant firm", "If no implant sits firmly and the site is closed", IMPLANT),
    "F-SHORT": FindingWords("Less depth than planned", "If there is less depth than planned", IMPLANT),
    "F-DEH": FindingWords("Bone missing beside the implant", "If bone is missing beside the implant"),
    "F-PROV": FindingWords(
        "Immediate provisional possible", "If an immediate provisional is possible", IMPLANT
    ),
    "F-HT": FindingWords("Other healing height", "If the healing abutment is the wrong height", IMPLANT),
    "F-1ST": FindingWords("Healed in one stage", "If the implant heals through the gum", IMPLANT),
    "F-SUB": FindingWords("Implant left submerged", "If a cover screw is needed", IMPLANT),
    "F-PERF": FindingWords("Sinus membrane torn", "If the sinus membrane tears"),
    "F-PERF2": FindingWords("Sinus membrane torn widely", "If the sinus membrane tears widely"),
    "F-FIX": FindingWords("Membrane needs tacks", "If the membrane needs tacks", CASE),
    "F-AUTO": FindingWords("Own bone harvested", "If the patient's own bone is harvested", CASE),
    "F-THIN": FindingWords("Soft tissue thin", "If the soft tissue is thin", CASE),
    "F-NODON": FindingWords("Palate too thin to give tissue", "If the palate is too thin to give tissue"),
    "F-DON": FindingWords("Donor site bleeds", "If the donor site bleeds", CASE),
    "F-CONTAIN": FindingWords("Defect holds graft", "If the defect around the implant holds graft", IMPLANT),
    "F-RTF": FindingWords("Implant does not turn out", "If the implant does not turn out", IMPLANT),
    "F-SITE": FindingWords("Removal site grafted", "If the removal site is grafted", IMPLANT),
    "F-REPL": FindingWords(
        "Replaced at once", "If a wider implant replaces the removed one at once", IMPLANT
    ),
    "F-HOPELESS": FindingWords("Implant cannot be kept", "If the implant cannot be kept", CASE),
    "F-IMPF": FindingWords("Implant has not healed in", "If an implant has not healed in", CASE),
    "F-EXTRA": FindingWords("One more implant", "If one more implant is placed"),
    "F-ANG": FindingWords("Other angle needed", "If another abutment angle is needed"),
    "F-SCR": FindingWords("Screw replaced", "If a screw is replaced", IMPLANT),
    "F-ACC": FindingWords("Access cut needed", "If access has to be cut", CASE),
    "F-SUT": FindingWords("Another stitch", "If another stitch is needed", CASE),
    "F-BLD": FindingWords("Bleeding", "If it bleeds"),
    "F-ANX": FindingWords("More anaesthetic", "If more anaesthetic is needed", CASE),
    "F-TEAR": FindingWords("Glove torn", "If a glove tears", CASE),
    "F-DROP": FindingWords("Part dropped", "If a part is dropped"),
    "PLAN": FindingWords("Decided when planning", "If it is planned", CASE, is_planned=True),
    "RX": FindingWords("Take-home pack ordered", "If the clinician orders it to take home", CASE),
}


def words_for(code: str) -> tuple[FindingWords, bool]:
    """Words of a finding code, and whether they were listed here (False: made up from the code)."""
    if code in FINDINGS:
        return FINDINGS[code], True
    name = code.removeprefix("F-").replace("-", " ").lower()
    return FindingWords(f"Finding {name}", f"If “{name}” is found"), False
