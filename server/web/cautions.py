"""What is said before anybody goes out: the same on every page and on paper."""

from __future__ import annotations

CAUTIONS = (
    "First flights belong in a lesson with a qualified instructor, in onshore wind. Two lessons do not make one qualified.",
    "Wear a helmet (EN 1385 is the usual mark; no standard is made for foils) and a buoyancy vest (ISO 12402-5, level 50: for "
    "sheltered water with help close at hand; check its label for your weight).",
    "Wear both leashes; no standard for them is known. A fast foil cuts: fall away from it.",
    "Stay ashore in offshore and in strong wind, and when the orange windsock flies.",
    "Under 15 °C water is cold: cold shock passes in 60 to 90 seconds, so float first.",
    "Floating home never means against wind and tide.",
    "All sizes are estimates. The instructor on the beach has the last word; local bye-laws decide where you may ride.",
)
