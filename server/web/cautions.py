"""What is said before anybody goes out: the same on every page and on paper."""

from __future__ import annotations

CAUTIONS = (
    "First flights belong in a lesson with a qualified instructor, in onshore wind. Two lessons do not make one qualified.",
    "Wear a helmet and a buoyancy vest, and both leashes. A fast foil cuts: fall away from it.",
    "Stay ashore in offshore and in strong wind, and when the orange windsock flies.",
    "Under 15 °C water is cold: cold shock passes in 60 to 90 seconds, so float first.",
    "Floating home never means against wind and tide.",
    "All sizes are estimates. The instructor on the beach has the last word; local bye-laws decide where you may ride.",
)
