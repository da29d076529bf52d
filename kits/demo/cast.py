"""Who and what the demo practice consists of. Every name is invented; the people do not exist."""

PRACTICE, SHORT_NAME = "Thackerfold Implant & Oral Surgery", "Thackerfold"
# One password for every demo sign-in. It says what it is for: the demo, and nothing else.
PASSWORD = "tray-and-thread"

# Code, name, open weekdays (Monday first).
CLINICS = (("A", "Skellowick Road", "1111100"), ("B", "Eddlestoke Green", "1010100"))
SURGICAL, RESTORATIVE = "surgical", "restorative"
ROOMS = {
    "A": (("A1", SURGICAL), ("A2", SURGICAL), ("A3", SURGICAL), ("A4", RESTORATIVE)),
    "B": (("B1", SURGICAL), ("B2", RESTORATIVE)),
}
STOCKROOM, FRIDGE, QUARANTINE, LOAN, TRANSIT = "Stockroom", "Fridge", "Quarantine", "On loan", "In transit"

# Sign-in name, shown name, role by clinic.
PEOPLE = (
    ("tessamore", "Dr A. Tessamore", {"A": "clinician", "B": "clinician"}),
    ("okwendale", "Dr B. Okwendale", {"A": "clinician", "B": "clinician"}),
    ("lindqvarn", "Dr C. Lindqvarn", {"A": "clinician", "B": "clinician"}),
    ("pellister", "J. Pellister", {"A": "assistant"}),
    ("harrowgait", "M. Harrowgait", {"A": "assistant"}),
    ("numbrecht", "S. Numbrecht", {"B": "assistant"}),
    ("saldovane", "R. Saldovane", {"A": "assistant", "B": "assistant"}),
    ("marrowick", "Q. Marrowick", {"A": "manager", "B": "manager"}),
    ("vantresk", "L. Vantresk", {"A": "manager", "B": "manager"}),
    ("ostrewold", "T. Ostrewold", {"A": "administrator", "B": "administrator"}),
    ("brindlecote", "E. Brindlecote", {"A": "reader", "B": "reader"}),
)
# One sign-in per role, for the line printed when the demo is served.
SIGN_INS = (
    ("assistant", "pellister"),
    ("manager", "marrowick"),
    ("clinician", "tessamore"),
    ("administrator", "ostrewold"),
    ("reader", "brindlecote"),
)
# Preference cards: slot or group -> catalogue code.
PREFERENCES = {
    "tessamore": {"GLOVE_CLIN": "PPE-SG80", "group:SKG-COVER": "COL-PLG"},
    "okwendale": {"GLOVE_CLIN": "PPE-SG75", "group:SKG-COVER": "MEM-PT-1224"},
    "lindqvarn": {"GLOVE_CLIN": "PPE-SG65", "group:SKG-COVER": "COL-PLG"},
    "pellister": {"GLOVE_ASST": "PPE-SG70", "NITRILE": "PPE-NGM"},
    "harrowgait": {"GLOVE_ASST": "PPE-SG65", "NITRILE": "PPE-NGS"},
    "numbrecht": {"GLOVE_ASST": "PPE-SG75", "NITRILE": "PPE-NGM"},
    "saldovane": {"NITRILE": "PPE-NGM"},
}
ASSISTANTS = {"A": ("pellister", "harrowgait"), "B": ("numbrecht",)}

IMPLANTS, GENERAL = "Tindrell Implant Components", "Brambleforth Surgical Supply"
TISSUE_BANK, LAB = "Hathermoss Tissue Bank", "Copperlathe Dental Laboratory"
PARTNER = "Wenlowe Oral Surgery"

PATIENTS = 1400
# Shares of patients who decline human tissue, porcine and bovine material.
DECLINES = (("declines_human", 0.04), ("declines_porcine", 0.05), ("declines_bovine", 0.05))
# Syllables of which invented surnames are made; the combinations name nobody.
SURNAME_STARTS = (
    *("Brack", "Cold", "Dunth", "Ember", "Fothe", "Garsk", "Hollin", "Ister", "Jarrow", "Keld"),
    *("Lomber", "Marsk", "Nettle", "Orrin", "Pelder", "Quarn", "Rusk", "Skel", "Thrush", "Umber"),
)
SURNAME_ENDS = ("aby", "combe", "dale", "esk", "fold", "garth", "hurst", "low", "mere", "wick")
