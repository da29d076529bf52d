"""What sizes of membrane, graft and implant to have in the room. Pure: no Django, no clock.

A planning aid for what to have on the shelf; the clinician decides what goes into the patient. Lengths are in
millimetres, volumes in cubic centimetres (1 cc = 1 mL). Weights are never worked out from volumes: grams per
cc differ by product and stand with each product.

One door. Direction inside the package: membranes, vials, implants, grafts -> sockets -> measures.
"""

from kits.sizing.grafts import (
    facial_defect_volume,
    graft_need,
    implant_in_socket_volume,
    ridge_volume,
    sinus_volume,
)
from kits.sizing.implants import (
    ImplantSize,
    Standby,
    safe_diameter,
    safe_length,
    standby_implants,
    why_not_safe,
)
from kits.sizing.measures import ImpossibleMeasure
from kits.sizing.membranes import MembraneChoice, membrane, rebuilt_height
from kits.sizing.sockets import NoAverageTooth, ToothSize, average_tooth, socket_volume
from kits.sizing.vials import NoVial, vials

__all__ = [
    "ImplantSize",
    "ImpossibleMeasure",
    "MembraneChoice",
    "NoAverageTooth",
    "NoVial",
    "Standby",
    "ToothSize",
    "average_tooth",
    "facial_defect_volume",
    "graft_need",
    "implant_in_socket_volume",
    "membrane",
    "rebuilt_height",
    "ridge_volume",
    "safe_diameter",
    "safe_length",
    "sinus_volume",
    "socket_volume",
    "standby_implants",
    "vials",
    "why_not_safe",
]
