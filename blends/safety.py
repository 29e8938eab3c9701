"""The safety list of a mixing day: each point seen to before the first weigh-out. Codes stay."""

from __future__ import annotations

from collections.abc import Mapping

POINTS: Mapping[str, str] = {
    "mask_eyes_gloves": "Everybody at the dust has a dust mask, eye protection and gloves.",
    "grown_ups": "Nobody under 18 at the dust; children and animals are kept away.",
    "borates": "Nobody who is or may be pregnant works with borates, the trace concentrate among them.",
    "two_to_lift": "Two people lift a bag or a full pail together.",
    "water": "Water for washing and for rinsing eyes is at hand.",
    "numbers": "The emergency number and the poison line hang where all can read them.",
    "drains": "We stand away from drains and streams; brush and pan are here for spills.",
    "apart": "No food, feed, lime, bleach or fuel stands near; nobody eats, drinks or smokes here.",
    "lids_labels": "Lids and labels are ready for every tub; no food container among them.",
}
