"""Seeded draws in the shape that pictures need: one value for each picture of a group.

Functions that are `fused` may be compiled: their many small steps over a picture become few.
"""

from __future__ import annotations

import functools
from collections.abc import Callable
from typing import ParamSpec, TypeVar

import torch

Tensor = torch.Tensor
Given = ParamSpec("Given")
Out = TypeVar("Out")
_fusing = {"on": False}


def fuse(*, on: bool) -> None:
    """Compile functions marked as `fused` from now on, or call them as they are."""
    _fusing["on"] = on
    torch._inductor.config.fallback_random = True  # the same draws either way
    torch._dynamo.config.cache_size_limit = 64


def fused(function: Callable[Given, Out]) -> Callable[Given, Out]:
    """Mark a function that is worth compiling."""
    compiled: Callable[Given, Out] = torch.compile(function)

    @functools.wraps(function)
    def called(*args: Given.args, **named: Given.kwargs) -> Out:
        if not _fusing["on"] or torch.compiler.is_compiling():
            return function(*args, **named)
        return compiled(*args, **named)

    return called


class Chance:
    """Draws for groups of `n` pictures, shaped (n, 1, 1) so that they spread over a picture.

    They come from the device's own generator, which a new `Chance` seeds.
    """

    def __init__(self, seed: int, device: str) -> None:
        self.device = device
        torch.manual_seed(seed)

    def uniform(self, n: int, low: float, high: float, *more: int) -> Tensor:
        """Return (n, 1, 1) or (n, *more) numbers between `low` and `high`."""
        shape = (n, *more) if more else (n, 1, 1)
        return low + (high - low) * torch.rand(shape, device=self.device)

    def spread(self, n: int, low: float, high: float, *more: int) -> Tensor:
        """Return numbers between `low` and `high` whose logarithm is uniform."""
        return low * (high / low) ** self.uniform(n, 0.0, 1.0, *more)

    def normal(self, n: int, sigma: float = 1.0, *more: int) -> Tensor:
        """Return normal numbers of mean 0."""
        shape = (n, *more) if more else (n, 1, 1)
        return sigma * torch.randn(shape, device=self.device)

    def yes(self, n: int, chance: float | Tensor, *more: int) -> Tensor:
        """Return booleans that are true with the chance given."""
        return self.uniform(n, 0.0, 1.0, *more) < chance

    def whole(self, n: int, low: int, high: int, *more: int) -> Tensor:
        """Return whole numbers from `low` up to but not including `high`."""
        shape = (n, *more) if more else (n, 1, 1)
        return torch.randint(low, high, shape, device=self.device)

    def sometimes(self, n: int, chance: float, low: float, high: float) -> Tensor:
        """Return 0, or with the chance given a number between `low` and `high`."""
        return self.yes(n, chance) * self.uniform(n, low, high)

    def pick(self, n: int, values: tuple[float, ...]) -> Tensor:
        """Return one of the values for each picture."""
        table = torch.tensor(values, device=self.device)
        return table[self.whole(n, 0, len(values))]


_ODD = (-7046029254386353131, -4417276706812531889, 1609587929392839161)


def mix(*parts: Tensor | int) -> Tensor:
    """Return a hash of whole numbers, int64; equal parts give equal hashes."""
    total: Tensor | int = 0
    for k, part in enumerate(parts):
        value = part.long() if isinstance(part, torch.Tensor) else part
        total = _wrapped(total * _ODD[2]) + _wrapped(value * _ODD[k % 2]) + (k + 1)
    assert isinstance(total, torch.Tensor)
    total = (total ^ (total >> 29)) * _ODD[1]
    return total ^ (total >> 32)


def _wrapped(value: Tensor | int) -> Tensor | int:
    """Let a Python integer overflow as those of a tensor do."""
    return (value + 2**63) % 2**64 - 2**63 if isinstance(value, int) else value


def share(hashed: Tensor, salt: int) -> Tensor:
    """Return a number of 0 .. 1 for each hash; another `salt` gives another number."""
    return (mix(hashed, salt) & 0xFFFFFF).float() / float(0x1000000)
