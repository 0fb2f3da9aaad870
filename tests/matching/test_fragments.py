"""Fragments are put together where they belong, and strangers are left on the bench."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
import shapely
from scipy.spatial.transform import Rotation
from shapely import affinity
from shapely.geometry import Polygon

from rubbing2pattern.geometry.frame import Placement
from rubbing2pattern.matching.fragment_choice import Choice, chosen_with_margins
from rubbing2pattern.matching.fragment_edges import Glass, alike_stretches
from rubbing2pattern.matching.fragments import assemble
from rubbing2pattern.matching.loose import Assembly, LoosePiece, Opening
from rubbing2pattern.options.fragments import FragmentOptions
from tests.matching import breaking

OFF_MM = 0.7
OFF_DEG = 1.0
OPTIONS = FragmentOptions()


@cache
def bench(seed: int) -> tuple[tuple[Opening, ...], tuple[breaking.Fragment, ...]]:
    """Nine openings, three broken pieces in two to four parts, and three fragments of strangers."""
    rng = np.random.default_rng(seed)
    openings = breaking.openings(rng, 3, 3)
    others = breaking.openings(rng, 1, 2)
    chosen = [openings[k] for k in rng.permutation(9)[:3]]
    found = breaking.fragments(chosen, [2, 3, 4], rng)
    found += breaking.fragments(list(others), [2, 2], rng, belongs=False)[:3]
    return openings, tuple(found[k] for k in rng.permutation(len(found)))


@cache
def assembled(seed: int) -> tuple[Assembly, ...]:
    openings, found = bench(seed)
    return assemble([each.loose for each in found], openings, OPTIONS)


def rightly_placed(
    assemblies: tuple[Assembly, ...], found: tuple[breaking.Fragment, ...]
) -> tuple[set[str], set[str]]:
    """Return the ids of the fragments that lie where they belong, and of those that do not."""
    of = {each.loose.id: each for each in found}
    right, wrong = set(), set()
    for assembly in assemblies:
        for name, placed in zip(assembly.pieces, assembly.parts, strict=True):
            fragment = of[name]
            at_home = fragment.number == assembly.number
            off_mm, off_deg = breaking.off(placed.placement, fragment)
            (right if at_home and off_mm < OFF_MM and off_deg < OFF_DEG else wrong).add(name)
    return right, wrong


@pytest.mark.parametrize("seed", [11, 12])
def test_fragments_lie_where_they_belong_and_strangers_nowhere(seed: int) -> None:
    _, found = bench(seed)
    right, wrong = rightly_placed(assembled(seed), found)
    belonging = {each.loose.id for each in found if each.number is not None}
    assert not wrong
    assert len(right) >= 0.9 * len(belonging)


def test_the_outline_is_the_loose_one_moved_by_the_placement() -> None:
    _, found = bench(11)
    of = {each.loose.id: each.loose.outline for each in found}
    for assembly in assembled(11):
        for name, placed in zip(assembly.pieces, assembly.parts, strict=True):
            moved = shapely.transform(of[name], placed.placement.apply)
            assert placed.outline.symmetric_difference(moved).area < 1e-3


def test_parts_cover_each_other_next_to_nowhere() -> None:
    for assembly in assembled(11):
        for k, part in enumerate(assembly.parts):
            for other in assembly.parts[:k]:
                common = part.outline.intersection(other.outline)
                assert common.buffer(-0.3).is_empty


def test_a_part_that_is_not_there_is_outlined() -> None:
    openings, found = bench(11)
    (number,) = {a.number for a in assembled(11) if len(a.parts) == 4}
    own = [each for each in found if each.number == number]
    lost = min(own, key=lambda each: each.loose.outline.area)
    left = [each.loose for each in found if each is not lost]
    assemblies = {a.number: a for a in assemble(left, openings, OPTIONS)}
    whole = next(a for a in assembled(11) if a.number == number)
    assert whole.missing.area < 0.02 * shapely.union_all([p.outline for p in whole.parts]).area
    gap = shapely.transform(lost.loose.outline, lost.truth.apply)
    missing = assemblies[number].missing
    assert missing.area == pytest.approx(gap.area, rel=0.15)
    assert missing.intersection(gap).area > 0.85 * gap.area
    cut = next(opening.cut for opening in openings if opening.number == number)
    assert assemblies[number].filled == pytest.approx(1.0 - gap.area / cut.area, abs=0.05)


def test_a_fragment_that_lies_turned_over_is_placed_only_where_that_is_allowed() -> None:
    openings, found = bench(12)
    number = next(a.number for a in assembled(12) if len(a.parts) == 2)
    own = [each for each in found if each.number == number]
    turned = [
        LoosePiece(f.loose.id, "a.png", affinity.scale(f.loose.outline, -1.0, origin=(0, 0)), 0.15)
        for f in own
    ]
    near = [opening for opening in openings if opening.number == number]
    assert assemble(turned, near, OPTIONS) == ()
    (assembly,) = assemble(turned, near, OPTIONS, turning_over=True)
    assert all(part.over for part in assembly.parts)
    right, _ = rightly_placed((assembly,), tuple(own))
    assert len(right) == 2


def test_openings_that_are_alike_do_not_make_each_other_doubtful() -> None:
    openings, found = bench(11)
    number = next(a.number for a in assembled(11) if len(a.parts) == 3)
    own = [each.loose for each in found if each.number == number]
    one = next(opening for opening in openings if opening.number == number)
    moved = affinity.translate(one.cut, 500.0, 0.0)
    twin = Opening(99, moved.buffer(0.5), moved, moved.buffer(-3.0), 0.2)
    (assembly,) = assemble(own, [one, twin], OPTIONS)
    assert len(assembly.parts) == 3


def test_nothing_comes_of_nothing_and_of_glass_that_is_cut_off() -> None:
    openings, found = bench(11)
    assert assemble([], openings, OPTIONS) == ()
    assert assemble([found[0].loose], [], OPTIONS) == ()
    cut_off = [LoosePiece(f.loose.id, "a.png", f.loose.outline, 0.15, whole=False) for f in found]
    assert assemble(cut_off, openings, OPTIONS) == ()


def test_the_same_again_gives_the_same() -> None:
    openings, found = bench(12)
    number = assembled(12)[0].number
    own = [each.loose for each in found if each.number == number]
    near = [opening for opening in openings if opening.number == number]
    first, second = assemble(own, near, OPTIONS), assemble(own, near, OPTIONS)
    assert [p.placement for a in first for p in a.parts] == [
        p.placement for a in second for p in a.parts
    ]


def test_a_pose_from_a_stretch_is_the_closed_solution_of_a_rigid_fit() -> None:
    """Kabsch 1976, Acta Crystallographica A 32, 922-923; Umeyama 1991, IEEE PAMI 13, 376-380.

    The outside check is scipy's `Rotation.align_vectors`, which solves the same problem by singular
    values.
    """
    rng = np.random.default_rng(5)
    angle = np.sort(rng.uniform(0.0, 2.0 * np.pi, 14))
    far = rng.uniform(30.0, 45.0, 14)
    hole = Polygon(np.column_stack((far * np.cos(angle), far * np.sin(angle))))
    truth = Placement(73.0, 12.0, -5.0)
    glass = Glass.of(0, shapely.transform(hole, truth.inverse().apply), False, OPTIONS)
    poses = alike_stretches([glass], hole, OPTIONS)
    want = truth.apply([glass.centre])[0]
    off = np.hypot(*(poses.centre - want).T)
    best = int(off.argmin())
    own = np.column_stack((glass.places, np.zeros(len(glass.places))))
    there = np.column_stack((truth.apply(glass.places + glass.centre) - want, np.zeros(len(own))))
    closed, _ = Rotation.align_vectors(there, own)
    turn = closed.as_euler("zyx", degrees=True)[0]
    assert off[best] < 0.6
    assert np.degrees(poses.turn[best]) % 360.0 == pytest.approx(turn % 360.0, abs=1.5)


def test_the_choice_is_the_one_of_trying_all_ways() -> None:
    rng = np.random.default_rng(3)
    for _ in range(20):
        choices = [
            Choice(
                int(rng.integers(3)),
                frozenset(int(p) for p in rng.choice(5, rng.integers(1, 4), replace=False)),
                float(rng.uniform(1.0, 30.0)),
            )
            for _ in range(9)
        ]
        found = chosen_with_margins(choices, [0, 1, 2], 2.0, 0.0)
        gained = sum(choices[k.choice].value - 2.0 * len(choices[k.choice].pieces) for k in found)
        assert gained == pytest.approx(_most(choices, 2.0))


def test_a_set_that_lies_as_well_in_another_opening_is_reported_for_both_and_not_doubtful() -> None:
    here, there = frozenset({0, 1}), frozenset({2, 3})
    choices = [
        Choice(0, here, 60.0),
        Choice(1, here, 52.0),  # less by more than the margin, but so is the other set there
        Choice(1, there, 50.0),
        Choice(0, there, 57.0),
        Choice(2, frozenset({0}), 12.0),
    ]
    found = chosen_with_margins(choices, [0, 1, 2], 2.0, 5.0)
    assert [(f.choice, f.openings, f.doubtful) for f in found] == [
        (0, (0, 1), frozenset()),
        (2, (0, 1), frozenset()),
    ]


def test_a_fragment_that_goes_with_two_sets_is_doubtful() -> None:
    choices = [
        Choice(0, frozenset({0, 1}), 40.0),
        Choice(0, frozenset({0, 2}), 38.0),
    ]
    (only,) = chosen_with_margins(choices, [0], 2.0, 5.0)
    assert only.doubtful == {1}


def test_small_fragments_of_quarries_that_are_nearly_alike_go_together() -> None:
    """All quarries that the set fits are reported, never one of them as a guess."""
    rng = np.random.default_rng(5)
    quarries = []
    for k in range(4):
        side = 44.0 + 0.5 * k
        cell = Polygon([(0, 0), (side, 0), (side, 58.0), (0, 58.0)])
        quarries.append(breaking.opening(k + 1, affinity.translate(cell, 80.0 * k, 0.0)))
    found = breaking.fragments([quarries[0], quarries[2]], [4, 3], rng)
    assemblies = assemble([each.loose for each in found], quarries, OPTIONS)
    sets = {frozenset(a.pieces): a for a in assemblies}
    for number, count in ((1, 4), (3, 3)):
        own = frozenset(each.loose.id for each in found if each.number == number)
        assert len(own) == count
        assert number in sets[own].numbers
        assert len(sets[own].numbers) > 1
        assert sets[own].number in sets[own].numbers
        assert sets[own].filled > 0.97


def _most(choices: list[Choice], cost: float) -> float:
    best = 0.0
    for bits in range(1 << len(choices)):
        taken = [c for k, c in enumerate(choices) if bits >> k & 1]
        pieces = [p for c in taken for p in c.pieces]
        openings = [c.opening for c in taken]
        if len(set(pieces)) == len(pieces) and len(set(openings)) == len(openings):
            best = max(best, sum(c.value - cost * len(c.pieces) for c in taken))
    return best
