"""Modes of transport as tags name them, by what they mean for a motorhome or a car.

Source: OSM wiki, Key:access (from memory).
"""

from __future__ import annotations

__all__ = ["OTHER_MODES", "OWN_MODES", "TOWED_MODES"]

#: Modes that a motorhome and a car belong to.
OWN_MODES = frozenset({"vehicle", "motor_vehicle"})

#: Modes of what is towed.
TOWED_MODES = frozenset({"caravan", "trailer"})

#: Modes that neither belongs to, so that a rule for them alone binds neither. ``hgv`` is goods vehicles
#: above 3.5 t and does not by itself bind a motorhome. Left out as doubtful: ``coach``, ``hov``.
OTHER_MODES = frozenset(
    {
        *("hgv", "hgv_articulated", "goods", "lgv", "bdouble", "agricultural", "forestry"),
        *("bus", "minibus", "tourist_bus", "psv", "share_taxi", "taxi"),
        *("bicycle", "foot", "horse", "moped", "mofa", "motorcycle", "speed_pedelec"),
        *("small_electric_vehicle", "light_rail", "tram"),
    }
)
