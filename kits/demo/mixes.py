"""How often each procedure comes, at which teeth, with which implants, and what follows. Invented figures."""

# Weekly rate of a normal full week at both clinics, and the share at Eddlestoke Green.
SURGERY = {
    "XTR": (3.0, 0.40),
    "SKG": (4.0, 0.35),
    "GBRX": (0.6, 0.25),
    "IMM": (2.0, 0.30),
    "DEL": (3.5, 0.35),
    "DELG": (1.0, 0.30),
    "SCR": (0.6, 0.20),
    "SLT": (0.4, 0.0),
    "RDG": (0.4, 0.0),
    "CTG": (0.6, 0.25),
    "FAR": (0.25, 0.0),
    "PIR": (0.4, 0.30),
    "IRM": (0.25, 0.30),
}
# Maintenance beyond the first visit after a crown, which follows from it.
MAINTENANCE = ("V-MNT", 5.0, 0.35)
# Mean teeth (or implants) of a case.
SITES = {
    "XTR": 1.4,
    "SKG": 1.25,
    "GBRX": 1.15,
    "IMM": 1.1,
    "DEL": 1.45,
    "DELG": 1.2,
    "SCR": 1.2,
    "SLT": 1.6,
    "RDG": 1.2,
    "CTG": 1.1,
}
LONG_CASES = frozenset({"SLT", "RDG", "FAR"})
PLACING = frozenset({"IMM", "DEL", "DELG", "SCR", "SLT", "FAR"})
USES_GRAFT = frozenset({"SKG", "GBRX", "IMM", "DEL", "DELG", "SCR", "SLT", "PIR", "IRM", "FAR"})
USES_MEMBRANE = frozenset({"SKG", "GBRX", "IMM", "DEL", "DELG", "PIR", "IRM"})

# Groups of teeth (FDI) by the words of the mix.
TEETH = {
    "upper central": ("11", "21"),
    "upper lateral": ("12", "22"),
    "upper canine": ("13", "23"),
    "upper premolar": ("14", "15", "24", "25"),
    "upper molar": ("16", "26"),
    "lower incisor": ("31", "32", "41", "42"),
    "lower canine": ("33", "43"),
    "lower premolar": ("34", "35", "44", "45"),
    "lower molar": ("36", "46", "37", "47"),
}
# Group of teeth -> (share, ((implant size, share), ...)). Shares need not add up to one.
IMMEDIATE = {
    "upper central": (0.22, (("4.3x13", 0.35), ("3.8x13", 0.30), ("3.8x15", 0.20), ("4.3x15", 0.15))),
    "upper lateral": (0.14, (("3.3x13", 0.45), ("3.8x13", 0.35), ("3.3x11.5", 0.20))),
    "upper canine": (0.08, (("4.3x13", 0.45), ("4.3x15", 0.35), ("3.8x15", 0.20))),
    "upper premolar": (
        0.28,
        (("4.3x11.5", 0.35), ("4.3x13", 0.25), ("3.8x13", 0.15), ("3.8x11.5", 0.15), ("4.3x10", 0.10)),
    ),
    "lower premolar": (0.12, (("4.3x11.5", 0.40), ("3.8x11.5", 0.35), ("4.3x10", 0.25))),
    "lower molar": (
        0.11,
        (("5.0x10", 0.40), ("5.0x11.5", 0.30), ("6.0x10", 0.15), ("6.0x8", 0.10), ("5.0x13", 0.05)),
    ),
    "upper molar": (0.05, (("5.0x10", 0.35), ("6.0x8", 0.25), ("6.0x10", 0.20), ("5.0x8", 0.20))),
}
HEALED = {
    "lower molar": (
        0.34,
        (
            *(("5.0x10", 0.30), ("4.3x10", 0.27), ("5.0x8", 0.18)),
            *(("5.0x11.5", 0.12), ("4.3x8", 0.08), ("4.3x11.5", 0.05)),
        ),
    ),
    "upper premolar": (0.18, (("4.3x10", 0.30), ("4.3x11.5", 0.30), ("3.8x11.5", 0.20), ("3.8x10", 0.20))),
    "lower premolar": (
        0.14,
        (("4.3x10", 0.35), ("3.8x10", 0.22), ("4.3x11.5", 0.20), ("3.8x11.5", 0.18), ("3.8x8", 0.05)),
    ),
    "upper molar": (0.13, (("5.0x10", 0.30), ("5.0x8", 0.25), ("4.3x10", 0.25), ("4.3x8", 0.20))),
    "upper central": (0.08, (("3.8x13", 0.35), ("3.8x11.5", 0.30), ("4.3x13", 0.20), ("4.3x11.5", 0.15))),
    "upper lateral": (0.06, (("3.3x11.5", 0.50), ("3.3x13", 0.30), ("3.3x10", 0.20))),
    "upper canine": (0.04, (("3.8x13", 0.40), ("4.3x13", 0.30), ("4.3x11.5", 0.30))),
    "lower incisor": (0.03, (("3.3x11.5", 0.50), ("3.3x10", 0.30), ("3.3x13", 0.20))),
}
CRESTAL = {"upper molar": (1.0, (("4.3x10", 0.40), ("5.0x10", 0.40), ("5.0x8", 0.20)))}
LATERAL = {"upper molar": (1.0, (("4.3x11.5", 0.50), ("5.0x11.5", 0.30), ("5.0x10", 0.20)))}
FULL_ARCH_SIZES = (("4.3x13", 0.40), ("4.3x15", 0.25), ("4.3x11.5", 0.20), ("3.8x13", 0.15))
FULL_ARCHES = (("15", "13", "11", "21", "23", "25"), ("45", "43", "41", "31", "33", "35"))
LEGACY_SHARE, LEGACY_SIZES = 0.04, (("IMP-IH-40-100", 0.5), ("IMP-IH-40-115", 0.5))
PLACEMENT = {"IMM": IMMEDIATE, "DEL": HEALED, "DELG": HEALED, "SCR": CRESTAL, "SLT": LATERAL}

# Material of graft and membrane; "" is the rule of the kit (allograft, collagen).
GRAFTS = (("", 0.64), ("bovine", 0.27), ("synthetic", 0.09))
MEMBRANES = (("", 0.64), ("dense ptfe", 0.16), ("long-lasting collagen", 0.12), ("reinforced ptfe", 0.08))
LASTING_SHEETS = ("MEM-PT-", "MEM-TR-")

# Share of cases that are guided, and options that are decided when planning.
GUIDED = {"IMM": 0.70, "DEL": 0.60, "DELG": 0.60, "SCR": 0.40, "FAR": 0.90}
OPTIONS = {
    "SKG": ((("PRF-TUB", "PRF-DRW"), 0.15),),
    "GBRX": ((("PRF-TUB", "PRF-DRW"), 0.25),),
    "DEL": ((("SHP-PUN",), 0.15),),
    "RDG": (
        (("SHP-SCR",), 0.60),
        (("GRF-BL-1510",), 0.10),
        (("FIX-SCR",), 0.30),
        (("FIX-TNT",), 0.25),
        (("PRF-TUB", "PRF-DRW"), 0.40),
    ),
    "CTG": ((("LAB-STN",), 0.40),),
    "FAR": ((("SET-XTR",), 0.70),),
    "2ND": ((("SHP-PUN",), 0.35),),
}
CHOICES = {
    "DEL": ("DEL-SUT", (("SUT-PT5", 0.5), ("SUT-PG5", 0.5))),
    "RDG": ("RDG-MEM", (("MEM-RX-3040", 0.45), ("MEM-TR-2530", 0.30), ("MEM-TR-3040", 0.25))),
    "PIR": ("PIR-DEC", (("DRG-HPX", 0.6), ("DRG-TET", 0.4))),
}
ABUTMENT_ANGLES = (("PRO-MU-00", 0.50), ("PRO-MU-17", 0.25), ("PRO-MU-30", 0.25))

# What follows: procedure -> ((visit, share, first day, last day), ...), counted from the surgery.
FOLLOW_UPS = {
    "XTR": (("V-SRM", 0.4, 7, 8),),
    "SKG": (("V-SRM", 1.0, 9, 12),),
    "GBRX": (("V-SRM", 1.0, 9, 12), ("V-SRM", 1.0, 21, 23)),
    "IMM": (("V-SRM", 1.0, 9, 12), ("V-SRM", 0.35, 40, 45)),
    "DEL": (("V-SRM", 1.0, 9, 12), ("V-SRM", 0.35, 40, 45)),
    "DELG": (("V-SRM", 1.0, 11, 14), ("V-SRM", 0.35, 40, 45)),
    "SCR": (("V-SRM", 1.0, 9, 12), ("V-SRM", 0.35, 40, 45)),
    "SLT": (("V-SRM", 1.0, 11, 14), ("V-SRM", 1.0, 27, 30)),
    "RDG": (("V-SRM", 1.0, 13, 15), ("V-SRM", 1.0, 27, 30), ("V-SRM", 1.0, 58, 63)),
    "CTG": (("V-SRM", 1.0, 7, 8), ("V-SRM", 1.0, 13, 15), ("V-SRM", 0.6, 40, 45)),
    "FAR": (("V-SRM", 1.0, 11, 14), ("V-SRM", 1.0, 29, 32), ("V-SRM", 1.0, 58, 63)),
    "PIR": (("V-SRM", 1.0, 9, 12), ("V-SRM", 0.6, 40, 45), ("V-SRM", 0.5, 88, 94)),
    "IRM": (("V-SRM", 1.0, 9, 12), ("V-SRM", 0.6, 40, 45)),
    "2ND": (("V-SRM", 0.5, 9, 12),),
}
# Share of implant cases that heal covered and are uncovered before the impression.
UNCOVERED = {"IMM": 0.05, "DEL": 0.35, "DELG": 0.80, "SCR": 0.60, "SLT": 1.0, "FAR": 0.0}
HEALING_DAYS = {"IMM": (105, 120), "DEL": (90, 120), "DELG": (130, 140), "SCR": (118, 125)}
HEALING_DAYS |= {"SLT": (160, 170), "FAR": (118, 125)}
MEMBRANE_OUT_DAYS = (21, 28)
# A healed socket takes an implant after four to six months.
SOCKET_HEALS_DAYS = (120, 180)


def implant_code(size: str) -> str:
    """Catalogue code of an implant size: "4.3x11.5" is IMP-CR-43-115; a code stays itself."""
    if size.startswith("IMP-"):
        return size
    diameter, length = size.split("x")
    connection = {"3.3": "CN", "3.8": "CR", "4.3": "CR", "5.0": "CW", "6.0": "CW"}[diameter]
    return f"IMP-{connection}-{diameter.replace('.', '')}-{round(float(length) * 10):03d}"


def connection_of(code: str) -> str:
    """The connection in an implant's code."""
    return code.split("-")[1]


# Items whose opening stock is about to expire: the rescue sizes, the old connection, demineralised graft.
RUN_DOWN = frozenset(
    {"IMP-CW-60-080", "IMP-IH-50-100", "HAB-IH-4", "GRF-DM-050", "GRF-DM-100", "MEM-AM-1520", "HEM-ADH"}
)

# Where a patient declines the origin of an item of the kit, the clinician usually plans this instead.
INSTEAD = {
    "COL-PLG": "HEM-OXC",
    "COL-TAP": "HEM-OXC",
    "STM-PM-1520": "STM-AD-1020",
    "HEM-GEL": "HEM-OXC",
    "MEM-RC-1520": "MEM-PT-1224",
    "MEM-RC-2030": "MEM-PT-2530",
    "MEM-RC-3040": "MEM-TR-3040",
    "MEM-RX-3040": "MEM-TR-3040",
    "GRF-AL-050": "GRF-SY-050",
    "GRF-AL-100": "GRF-SY-100",
    "GRF-XB-100": "GRF-SY-100",
    "GRF-XB-050": "GRF-SY-050",
}
