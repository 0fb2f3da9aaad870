"""What can hurt a person who works on leaded glass; every document takes its cautions from here.

Each caution says what is dangerous and what to do. None replaces a rule: local codes and licensed
practice come first, and `FIGURES` says so wherever cautions are printed.
"""

from __future__ import annotations

LEAD = (
    "Lead dust and old cement are poisonous: gloves, a close-fitting mask for toxic dust (P3 or "
    "P100), no eating, drinking or smoking, clean wet, wash hands; keep children and pregnant "
    "women away; rubbings and dust may be lead waste."
)
PUTTY = (
    "Old putty and cement may contain asbestos: have a sample tested before anything is scraped, "
    "sanded or heated. If it does, leave the work to a licensed firm."
)
FUMES = (
    "The fumes of solder and flux harm the lungs: draw them off at the joint and out of the room. "
    "A dust mask does not stop gases."
)
PAINTS = (
    "Glass paint, enamel and silver stain contain lead and other toxic metals: do not rub, scrape "
    "or wash old paint; with paint in powder wear mask and gloves, and keep food away."
)
GLASS = (
    "Old glass and cut edges: protect eyes and hands. A leaded panel is heavy and bends: carry it "
    "upright."
)
FIGURES = (
    "Figures of weights, bars and fixings are estimates for planning. Local codes and licensed "
    "practice come before anything said here; a qualified conservator or engineer decides."
)

CAUTIONS = (LEAD, PUTTY, FUMES, PAINTS, GLASS, FIGURES)
"""What every document for the whole work says."""

GROZING = (
    "Grozing throws sharp splinters, and edges of old glass carry lead and old cement: protect "
    "eyes and hands, wear a mask for toxic dust, no eating, drinking or smoking, clean wet, wash "
    "hands.",
    "Original or painted glass: a conservator decides before anything is taken off its edge. Lay "
    "every piece in before it is worked on; figures are estimates from a photograph. Local codes "
    "and licensed practice come first.",
)
"""For loose glass that may have to be taken down to size."""

CUTTING = (
    "Cutting and grozing throw splinters: eye protection, cut-proof gloves, a tray; grind wet; "
    "brush splinters up, never by hand. Old glass may carry lead and toxic paint: wear a mask for "
    "toxic dust. Local codes and licensed practice come first."
)
"""For a person who cuts glass by a template."""

FIRING = (
    "Glass paints, enamels and silver stain contain toxic metals such as lead and silver: no food "
    "near them, gloves and a close-fitting mask for toxic dust (P3 or P100), clean wet, wash "
    "hands, air the kiln room to the open. Keep to the makers' safety sheets, local codes and "
    "licensed practice. Fire a test piece of the same glass first, in the same place of the kiln."
)
"""For paints and the kiln."""

KEEPING = (
    "Lead is poisonous: rubbings and old leads carry its dust. Handle them with gloves, store "
    "rubbings in sleeves, wash your hands, and keep to local codes and licensed practice."
)
"""For a person who opens an archive."""
