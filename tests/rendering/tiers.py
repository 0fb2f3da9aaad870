"""How bad a rubbing is: every fault of a tier, its strength drawn at random."""

from __future__ import annotations

from dataclasses import dataclass

from tests.rendering.relief import Lead
from tests.rendering.sheet import Rng

TIERS = ("clean", "everyday", "hard")


@dataclass(frozen=True, slots=True)
class Medium:
    """Paper and pigment.

    Attributes
    ----------
    name : of the stick.
    density_max : natural optical density of fully covered paper; graphite 1.5, wax 2.3.
    gain : dose on a narrow flat lead after all strokes, in units that fill 1 - 1/e of the tooth.
    grain, grain_mm : spread of the tooth (deviation of the log dose) and size of its smoothing.
    paper : reflectance of the paper in red, green, blue.
    tint : share of the density in red, green, blue.
    """

    name: str
    density_max: float
    gain: float
    grain: float
    grain_mm: float
    paper: tuple[float, float, float]
    tint: tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class Glass:
    """Textured glass.

    Attributes
    ----------
    kinds : of the texture: "reeded", "hammered", "crackled", "wavy"; each piece has one of them.
    share : share of the pieces that are textured.
    pressure : on the texture's crests, share of that on lead.
    pitch_mm : from crest to crest.
    """

    kinds: tuple[str, ...]
    share: float
    pressure: float
    pitch_mm: float


@dataclass(frozen=True, slots=True)
class Faults:
    """Everything that a tier may do to a rubbing; lengths in mm, shares 0 .. 1.

    Attributes
    ----------
    unevenness, skipped : spread of the strokes' dose (log) and share of strokes left out.
    creep_mm : how far the paper creeps under the strokes (one deviation, each way).
    bow_mm : height of the panel's unevenness; the stick passes over what lies low.
    dents_per_m, dent_mm, dent_depth : low places along the leads, and how deep (in gives).
    blob_mm : height of solder over the lead.
    glass_tone, table_tone : dose on glass and on the bench outside, share of the dose on lead.
    texture : share of the glass's tone that follows a pattern of the glass.
    smudges, smudge_density : number and density of finger smears.
    notes, numbers, across : writings on the margin, on glass, across leads.
    tapes, creases, tears : number of each.
    join_mm : how far a second sheet lies out of register; 0 for one sheet.
    bars : iron bars or ties rubbed through.
    split_share : share of leads with a crack along the leaf.
    gradient, vignette, shadows : light falls off from side to side, from the middle; soft shadows.
    tilt_deg, k1 : largest tilt of the camera and radial coefficient.
    jpeg, noise, blur_px : quality; noise (deviation in grey levels); blur (deviation).
    glass : textured glass in some pieces, or None.
    """

    medium: Medium
    lead: Lead
    unevenness: float
    skipped: float
    creep_mm: float
    bow_mm: float
    dents_per_m: float
    dent_mm: tuple[float, float]
    dent_depth: tuple[float, float]
    blob_mm: tuple[float, float]
    glass_tone: float
    table_tone: float
    texture: float
    smudges: int
    smudge_density: float
    notes: int
    numbers: int
    across: int
    tapes: int
    creases: int
    tears: int
    join_mm: float
    bars: int
    split_share: float
    gradient: float
    vignette: float
    shadows: int
    tilt_deg: float
    k1: float
    jpeg: int
    noise: float
    blur_px: float
    glass: Glass | None = None


WHITE, BUFF, KRAFT = (0.86, 0.85, 0.82), (0.76, 0.69, 0.55), (0.58, 0.44, 0.29)
GREY, BLUE = (1.0, 1.0, 1.0), (1.15, 1.0, 0.8)


def faults_of(tier: str, rng: Rng) -> Faults:
    """Draw the faults of a tier."""
    if tier not in TIERS:
        raise ValueError(f"tier {tier} is none of {', '.join(TIERS)}")
    return {"clean": _clean, "everyday": _everyday, "hard": _hard}[tier](rng)


def _medium(
    rng: Rng, sticks: tuple[str, ...], papers: tuple[float, float, float], weak: float
) -> Medium:
    """Draw a stick and a paper.

    `papers` are the chances of white, buff and kraft; `weak` is how far the dose may fall below
    a firm hand's.
    """
    stick = str(rng.choice(sticks))
    if stick == "graphite":
        density, tint = rng.uniform(1.3, 1.8), GREY
    elif stick == "wax":
        density, tint = rng.uniform(2.0, 2.6), GREY
    else:
        density, tint = rng.uniform(1.7, 2.2), BLUE
    return Medium(
        stick,
        float(density),
        float(rng.uniform(2.4, 3.2) * (1 - weak * rng.random())),
        float(rng.uniform(0.45, 0.65) + (0.1 if stick == "wax" else 0.0)),
        float(rng.uniform(0.08, 0.14)),
        (WHITE, BUFF, KRAFT)[int(rng.choice(3, p=papers))],
        tint,
    )


def _clean(rng: Rng) -> Faults:
    return Faults(
        medium=_medium(rng, ("graphite", "graphite", "wax"), (1.0, 0.0, 0.0), 0.1),
        lead=Lead(
            lean_mm=0.02,
            crown=float(rng.uniform(0.05, 0.08)),
            hollow=float(rng.uniform(0.2, 0.4)),
            give_mm=float(rng.uniform(0.7, 0.9)),
        ),
        unevenness=float(rng.uniform(0.08, 0.14)),
        skipped=0.0,
        creep_mm=float(rng.uniform(0.01, 0.04)),
        bow_mm=float(rng.uniform(0.02, 0.05)),
        dents_per_m=0.0,
        dent_mm=(0.0, 0.0),
        dent_depth=(0.0, 0.0),
        blob_mm=(0.05, 0.3),
        glass_tone=float(rng.uniform(0.003, 0.012)),
        table_tone=float(rng.uniform(0.005, 0.03)),
        texture=0.0,
        smudges=0,
        smudge_density=0.0,
        notes=int(rng.random() < 0.4),
        numbers=0,
        across=0,
        tapes=0,
        creases=0,
        tears=0,
        join_mm=0.0,
        bars=0,
        split_share=0.0,
        gradient=float(rng.uniform(0.0, 0.12)),
        vignette=float(rng.uniform(0.02, 0.1)),
        shadows=0,
        tilt_deg=12.0,
        k1=0.06,
        jpeg=int(rng.integers(90, 96)),
        noise=float(rng.uniform(0.8, 1.8)),
        blur_px=float(rng.uniform(0.45, 0.7)),
    )


def _everyday(rng: Rng) -> Faults:
    return Faults(
        medium=_medium(rng, ("graphite", "wax"), (0.85, 0.15, 0.0), 0.45),
        lead=Lead(
            lean_mm=0.05,
            crown=float(rng.uniform(0.06, 0.1)),
            hollow=float(rng.uniform(0.4, 0.85)),
            give_mm=float(rng.uniform(0.5, 0.8)),
            drape_mm=float(rng.uniform(0.2, 0.35)),
            putty=float(rng.uniform(0.1, 0.35)) if rng.random() < 0.35 else 0.0,
        ),
        unevenness=float(rng.uniform(0.15, 0.35)),
        skipped=float(rng.uniform(0.0, 0.08)),
        creep_mm=float(rng.uniform(0.03, 0.1)),
        bow_mm=float(rng.uniform(0.05, 0.12)),
        dents_per_m=float(rng.uniform(0.2, 1.2)),
        dent_mm=(3.0, 15.0),
        dent_depth=(0.6, 1.5),
        blob_mm=(0.05, 0.5),
        glass_tone=float(rng.uniform(0.01, 0.06)),
        table_tone=float(rng.uniform(0.02, 0.25)),
        texture=float(rng.uniform(0.0, 0.25)),
        smudges=int(rng.integers(1, 7)),
        smudge_density=float(rng.uniform(0.08, 0.3)),
        notes=int(rng.integers(1, 3)),
        numbers=int(rng.integers(0, 6)),
        across=0,
        tapes=int(rng.choice([0, 2, 4])),
        creases=int(rng.random() < 0.6),
        tears=0,
        join_mm=0.0,
        bars=0,
        split_share=0.0,
        gradient=float(rng.uniform(0.08, 0.3)),
        vignette=float(rng.uniform(0.05, 0.2)),
        shadows=0,
        tilt_deg=12.0,
        k1=0.06,
        jpeg=int(rng.integers(85, 94)),
        noise=float(rng.uniform(1.2, 3.0)),
        blur_px=float(rng.uniform(0.5, 0.9)),
    )


def _hard(rng: Rng) -> Faults:
    return Faults(
        medium=_medium(rng, ("graphite", "wax", "blue-black"), (0.5, 0.3, 0.2), 0.65),
        lead=Lead(
            lean_mm=0.1,
            crown=float(rng.uniform(0.08, 0.15)),
            hollow=float(rng.uniform(0.5, 1.0)),
            give_mm=float(rng.uniform(0.4, 0.7)),
            drape_mm=float(rng.uniform(0.2, 0.5)),
            putty=float(rng.uniform(0.1, 0.5)) if rng.random() < 0.5 else 0.0,
        ),
        unevenness=float(rng.uniform(0.25, 0.55)),
        skipped=float(rng.uniform(0.03, 0.15)),
        creep_mm=float(rng.uniform(0.08, 0.25)),
        bow_mm=float(rng.uniform(0.08, 0.2)),
        dents_per_m=float(rng.uniform(0.5, 2.0)),
        dent_mm=(3.0, 40.0),
        dent_depth=(0.6, 2.0),
        blob_mm=(0.05, 0.7),
        glass_tone=float(rng.uniform(0.02, 0.12)),
        table_tone=float(rng.uniform(0.05, 0.4)),
        texture=float(rng.uniform(0.2, 1.0)),
        smudges=int(rng.integers(3, 14)),
        smudge_density=float(rng.uniform(0.15, 0.5)),
        notes=int(rng.integers(1, 4)),
        numbers=int(rng.integers(2, 12)),
        across=int(rng.integers(0, 4)),
        tapes=int(rng.choice([0, 2, 4])),
        creases=int(rng.integers(0, 3)),
        tears=int(rng.integers(0, 3)),
        join_mm=float(rng.uniform(1.0, 3.0)) if rng.random() < 0.35 else 0.0,
        bars=int(rng.random() < 0.4),
        split_share=float(rng.uniform(0.0, 0.1)),
        gradient=float(rng.uniform(0.15, 0.5)),
        vignette=float(rng.uniform(0.05, 0.3)),
        shadows=int(rng.integers(0, 3)),
        tilt_deg=25.0,
        k1=0.12,
        jpeg=75,
        noise=float(rng.uniform(1.5, 4.5)),
        blur_px=float(rng.uniform(0.6, 1.2)),
    )
