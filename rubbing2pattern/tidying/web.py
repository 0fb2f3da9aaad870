"""A planar net that can be changed while it is tidied. Never leaves the tidy stage."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, field

import numpy as np

from rubbing2pattern.curves import polyline_length
from rubbing2pattern.frame import Array
from rubbing2pattern.reading import RawNet


@dataclass(slots=True)
class Strand:
    """One edge of the net: nodes `a` and `b`, a path from a to b in mm, what is known of it."""

    a: int
    b: int
    path: Array
    left: int
    right: int
    width_mm: float = 5.0
    seen: dict[str, float] = field(default_factory=dict)

    @property
    def length_mm(self) -> float:
        """Length of the path."""
        return polyline_length(self.path)

    def reverse(self) -> None:
        """Run the other way."""
        self.a, self.b = self.b, self.a
        self.left, self.right = self.right, self.left
        self.path = self.path[::-1]


@dataclass(slots=True)
class Web:
    """Nodes and strands by number; numbers are never used twice.

    `anchors` keeps where a node was before its place was solved for the first time. Two strands
    that are left alone at a node become one, unless they meet at a sharper bend than `elbow_deg`.
    """

    nodes: dict[int, Array]
    strands: dict[int, Strand]
    incident: dict[int, set[int]]
    next_number: int
    anchors: dict[int, Array] = field(default_factory=dict)
    elbow_deg: float = 180.0

    @classmethod
    def of(cls, net: RawNet, elbow_deg: float = 180.0) -> Web:
        """Copy a raw net."""
        strands = {
            k: Strand(int(a), int(b), np.array(path), int(left), int(right))
            for k, ((a, b), path, (left, right)) in enumerate(
                zip(net.ends, net.paths, net.sides, strict=True)
            )
        }
        incident: dict[int, set[int]] = defaultdict(set)
        for k, strand in strands.items():
            incident[strand.a].add(k)
            incident[strand.b].add(k)
        nodes = {k: np.array(p) for k, p in enumerate(net.nodes)}
        number = max(len(nodes), len(strands))
        return cls(nodes, strands, incident, number, elbow_deg=elbow_deg)

    def new_number(self) -> int:
        """Return a number not used before, for a node or a strand."""
        self.next_number += 1
        return self.next_number

    def degree(self, node: int) -> int:
        """Return the number of strand ends at a node; a ring counts twice."""
        return sum(
            (self.strands[k].a == node) + (self.strands[k].b == node) for k in self.incident[node]
        )

    def ends_at(self, node: int) -> list[tuple[int, bool]]:
        """Return (strand, starts here) for every strand end at a node, in order of number."""
        out = []
        for k in sorted(self.incident[node]):
            strand = self.strands[k]
            if strand.a == node:
                out.append((k, True))
            if strand.b == node:
                out.append((k, False))
        return out

    def away(self, strand: int, starts_here: bool) -> Array:
        """Path of a strand as walked away from the end named."""
        path = self.strands[strand].path
        return path if starts_here else path[::-1]

    def bend_deg(self, one: tuple[int, bool], two: tuple[int, bool]) -> float:
        """Angle by which two strand ends that meet differ from one lead running straight on."""
        u, v = (
            path[min(len(path) - 1, 16)] - path[0] for path in (self.away(*one), self.away(*two))
        )
        cosine = float(u @ v) / max(float(np.hypot(*u) * np.hypot(*v)), 1e-9)
        return float(np.degrees(np.arccos(np.clip(-cosine, -1.0, 1.0))))

    def add(self, strand: Strand) -> int:
        """Add a strand; return its number."""
        k = self.new_number()
        self.strands[k] = strand
        self.incident[strand.a].add(k)
        self.incident[strand.b].add(k)
        return k

    def remove(self, k: int, join: bool = True) -> list[int]:
        """Remove a strand; what is left of a joint of three is joined. Return strands made new."""
        strand = self.strands.pop(k)
        made = []
        for node in {strand.a, strand.b}:
            self.incident[node].discard(k)
        for node in sorted({strand.a, strand.b}):
            if not self.incident[node]:
                del self.incident[node]
                self.nodes.pop(node, None)
            elif join and not self.is_elbow(node):
                new = self.join(node)
                if new is not None:
                    made.append(new)
        return [m for m in made if m in self.strands]

    def is_elbow(self, node: int) -> bool:
        """Whether two strands meet alone at a node, and at a sharp bend."""
        at = self.ends_at(node)
        return len(at) == 2 and at[0][0] != at[1][0] and self.bend_deg(*at) > self.elbow_deg

    def join(self, node: int) -> int | None:
        """Make one strand of the two that meet at a node, unless it is the node of a ring."""
        at = self.ends_at(node)
        if len(at) != 2 or at[0][0] == at[1][0]:
            return None
        first, second = self.strands[at[0][0]], self.strands[at[1][0]]
        if at[0][1]:
            first.reverse()
        if not at[1][1]:
            second.reverse()
        u, v = first.length_mm, second.length_mm
        merged = Strand(
            first.a,
            second.b,
            np.vstack((first.path, second.path[1:])),
            first.left,
            first.right,
            (first.width_mm * u + second.width_mm * v) / max(u + v, 1e-9),
        )
        for k, _ in at:
            gone = self.strands.pop(k)
            self.incident[gone.a].discard(k)
            self.incident[gone.b].discard(k)
        del self.incident[node]
        self.nodes.pop(node, None)
        return self.add(merged)

    def fuse(self, k: int) -> int:
        """Shrink strand `k` to nothing and return the node in its middle that its two become."""
        strand = self.strands[k]
        keep, gone = strand.a, strand.b
        place = 0.5 * (self.nodes[keep] + self.nodes[gone])
        self.strands.pop(k)
        self.incident[keep].discard(k)
        self.incident[gone].discard(k)
        for other in sorted(self.incident[gone]):
            s = self.strands[other]
            s.a = keep if s.a == gone else s.a
            s.b = keep if s.b == gone else s.b
            self.incident[keep].add(other)
        del self.incident[gone]
        del self.nodes[gone]
        self.nodes[keep] = place
        self.anchors.pop(keep, None)
        return keep

    def detach(self, k: int) -> None:
        """Take a strand away and leave its nodes, even bare ones."""
        strand = self.strands.pop(k)
        for node in {strand.a, strand.b}:
            self.incident[node].discard(k)

    def attach(self, end: tuple[int, bool], node: int, place: Array) -> None:
        """Tie one end of a strand to another node, which is made at `place` if it is new."""
        k, starts = end
        strand = self.strands[k]
        old = strand.a if starts else strand.b
        self.nodes[node] = np.array(place)
        strand.path = np.array(strand.path)
        strand.path[0 if starts else -1] = place
        if starts:
            strand.a = node
        else:
            strand.b = node
        if old not in (strand.a, strand.b):
            self.incident[old].discard(k)
        self.incident[node].add(k)

    def forget(self, node: int) -> None:
        """Drop a node that no strand is tied to."""
        if not self.incident[node]:
            del self.incident[node]
            self.nodes.pop(node, None)

    def split(self, k: int, index: int) -> int:
        """Cut a strand at a point of its path; return the new node."""
        strand = self.strands.pop(k)
        self.incident[strand.a].discard(k)
        self.incident[strand.b].discard(k)
        node = self.new_number()
        self.nodes[node] = np.array(strand.path[index])
        head, tail = strand.path[: index + 1], strand.path[index:]
        for a, b, path in ((strand.a, node, head), (node, strand.b, tail)):
            new = Strand(a, b, path, strand.left, strand.right, strand.width_mm)
            self.add(new)
        return node

    def parts(self) -> list[set[int]]:
        """Return the connected parts as sets of nodes, largest (by lead length) first."""
        left = set(self.nodes)
        out: list[tuple[float, set[int]]] = []
        while left:
            stack = [min(left)]
            part: set[int] = set()
            while stack:
                node = stack.pop()
                if node in part:
                    continue
                part.add(node)
                for k in self.incident[node]:
                    stack.extend((self.strands[k].a, self.strands[k].b))
            left -= part
            lengths = {k for n in part for k in self.incident[n]}
            out.append((sum(self.strands[k].length_mm for k in lengths), part))
        out.sort(key=lambda item: (-item[0], min(item[1])))
        return [part for _, part in out]
