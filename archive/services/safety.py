"""The usual cautions of a storeroom and a press as they are shown; local rules and trained people come first.

All are common practice of conservators' and public archives' advice on mould, dust, pests and lifting.
"""

from __future__ import annotations

START = (
    "Before you open a box: look for damp, a musty smell, fluffy or smeared spots, insects. If you see any, leave it "
    "closed and say so with `inkchest place quarantine`.",
    "Dust of old paper irritates: wear a mask (FFP2) for dusty boxes, wash your hands, take breaks.",
    "Lift no box you cannot hold with ease (10 to 12 kg at most), nothing from above the shoulder alone; large sheets "
    "need two people. Do not force rolled or tight things open.",
)
MOULD = (
    "Mould can make you ill, and the effect builds up. People with asthma, allergies or weak defences stay away.",
    "Do not brush, wipe or open it further. Isolate it; do not seal damp paper in plastic.",
    "If it must be moved: gloves (nitrile or vinyl), an FFP2 or FFP3 mask, eye protection, an apron; wash afterwards.",
    "Damp and smearing means active: dry the room below 45 % relative humidity and ask a conservator when it is more "
    "than a few sheets.",
    "Your workshop's own rules and trained people come before this card.",
)
PESTS = (
    "Close the box, note where it stood, look at its neighbours, and keep it apart from the rest.",
    "Use no spray on paper. Ask a conservator or a pest adviser what it is and what helps.",
    "Your workshop's own rules and trained people come before this card.",
)


def quarantine_card(why: str) -> tuple[str, ...]:
    """Return the card for a reason: insects have one of their own, all else is treated as mould."""
    return (
        PESTS if any(word in why.casefold() for word in ("insect", "pest", "silverfish", "worm", "rodent")) else MOULD
    )
