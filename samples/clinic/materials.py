"""The cables and connectors that were used on the job, and some that should not have been."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

from line_model.conductors import loop_ohm_per_m
from line_model.parts import CableType, Connector, even
from line_model.wire_types import WIRE_TYPES

CAT5: Final = WIRE_TYPES["CAT5"]

CATEGORY_6: Final = CableType(CAT5.drawn(loop_ohm_per_m(23), skin_factor=1.06), loop_ohm_per_m(23))
CATEGORY_6A_SCREENED: Final = CableType(
    CAT5.drawn(loop_ohm_per_m(23), skin_factor=1.03),
    loop_ohm_per_m(23),
    delay=(1.004, 1.012, 0.992, 0.998),
    next_db=even(88.0),
    el_fext_db=even(72.0),
    roughness_db=33.0,
)
CATEGORY_6A: Final = replace(
    CATEGORY_6, row=CATEGORY_6A_SCREENED.row, next_db=even(62.0), el_fext_db=even(46.0)
)
# Stranded patch cable: thinner, half as much loss again as a solid cable (ISO's cord factor).
STRANDED_26: Final = CableType(
    CAT5.drawn(loop_ohm_per_m(26), skin_factor=1.56), loop_ohm_per_m(26), next_db=even(57.0)
)
CLAD_24: Final = CableType(
    CAT5.drawn(loop_ohm_per_m(24), skin_factor=1.04), loop_ohm_per_m(24), next_db=even(57.0), is_clad=True
)
# Two pairs insulated with one plastic and two with another, as was done when one ran short.
MIXED_INSULATION: Final = replace(CATEGORY_6, delay=(1.0, 1.128, 0.986, 1.118))
TELEPHONE: Final = CableType(
    WIRE_TYPES["B05a"],
    WIRE_TYPES["B05a"].loop_ohm_per_m,
    delay=(1.004, 1.012, 0.994, 1.0),
    next_db=even(24.0),
    el_fext_db=even(16.0),
    roughness_db=22.0,
)
CORD: Final = replace(STRANDED_26, impedance=(1.14, 1.13, 1.15, 1.13), next_db=even(52.0))

JACK_6: Final = Connector()
JACK_6A_SCREENED: Final = Connector(
    next_db=even(74.0, {"36-45": 70.0}), fext_db=even(66.0), return_loss_db=36.0
)
JACK_5E: Final = Connector(
    next_db=even(50.0, {"36-45": 43.0}), fext_db=even(50.0, {"36-45": 46.0}), return_loss_db=27.0
)
TELEPHONE_BLOCK: Final = Connector(
    next_db=even(30.0, {"36-45": 27.0}), fext_db=even(30.0), return_loss_db=18.0
)
