"""Train the network: ``python -m training.train --seconds 520 --out FOLDER [--resume FOLDER]``.

On several accelerators start it with ``torchrun --nproc-per-node N -m training.train …``; each
draws rubbings of its own. A run ends after `--seconds`; its learning rate falls over that time.
The next run goes on from the averaged weights with another seed. With `--teachers` the truth that
was drawn is mixed with the mean of what trained networks say of the same rubbing.
"""

from __future__ import annotations

import argparse
import math
import os
import time
from pathlib import Path

import torch
import torch.distributed as dist

from training import validate
from training.chance import Chance, fuse
from training.generator import Batch, Pool, render
from training.network import LOGITS, OUTPUTS, LeadNetwork, blocks_of, loss_of, unfolded
from training.writing import atlas

DECAY = 0.01
WRITTEN = 1.0
"""So much more a cell counts beside writing, which is what a map mistakes most."""
KEPT = 0.998
"""Share of the averaged weights that each step keeps."""


def main() -> None:
    """Read the command line and train."""
    args = _arguments()
    rank, world, device = _placed(args.device)
    torch.backends.cudnn.benchmark = True
    torch.manual_seed(args.seed)
    network = _begun(args, device)
    averaged = torch.optim.swa_utils.AveragedModel(
        network, multi_avg_fn=torch.optim.swa_utils.get_ema_multi_avg_fn(KEPT), use_buffers=True
    )
    model = network
    if world > 1:
        model = torch.nn.parallel.DistributedDataParallel(network)
    chance = Chance(args.seed * 1000 + rank + 17, device)
    steps = _run(args, model, network, averaged, chance, device, rank)
    fuse(on=False)
    if rank == 0:
        args.out.mkdir(parents=True, exist_ok=True)
        torch.save(averaged.module.state_dict(), args.out / "weights.pt")
        averaged.module.eval()
        figures = validate.figures_of(averaged.module, device, args.validation)
        print(f"{steps} steps", *(f"{k} {v:.4f}" for k, v in figures.items()), flush=True)
    if world > 1:
        dist.destroy_process_group()


def _begun(args: argparse.Namespace, device: str) -> LeadNetwork:
    """Return the network that training goes on from; more blocks may go on from fewer."""
    state = {}
    if args.resume:
        state = torch.load(args.resume / "weights.pt", map_location=device, weights_only=True)
    had = blocks_of(state)
    network = LeadNetwork(deep=args.deep or had["deep"], fine=args.fine or had["fine"])
    if state:
        more = {n: v for n, v in network.state_dict().items() if n.startswith("more_")}
        network.load_state_dict({**more, **state})
    return network.to(device, memory_format=torch.channels_last)


def _run(
    args: argparse.Namespace,
    model: torch.nn.Module,
    network: LeadNetwork,
    averaged: torch.optim.swa_utils.AveragedModel,
    chance: Chance,
    device: str,
    rank: int,
) -> int:
    """Train until the time is over; return the number of steps."""
    began, step, shown = time.monotonic(), 0, 0.0
    fuse(on=_compiles(args, device, 0.0))
    glyphs = atlas(args.seed, device)
    teachers = [LeadNetwork.trained(folder, device) for folder in args.teachers]
    pool = Pool(chance, args.pool, args.fresh)
    optimiser = torch.optim.AdamW(network.parameters(), lr=args.rate, weight_decay=DECAY)
    done = torch.zeros(1, device=device)
    while True:
        past = time.monotonic() - began
        part = past / args.seconds
        fuse(on=_compiles(args, device, past))
        done.fill_(float(part >= 1.0))
        if dist.is_initialized():
            dist.broadcast(done, 0)
        if bool(done):
            return step
        if step // args.times % args.each == 0:
            pool.refresh()
        rate = args.last + 0.5 * (args.rate - args.last) * (1 + math.cos(math.pi * min(part, 1.0)))
        rate *= min(1.0, (step + 1) / 200)
        for group in optimiser.param_groups:
            group["lr"] = rate
        with torch.no_grad():
            batch = render(chance, pool.draw(args.batch), glyphs)
        given, targets = batch.given, batch.targets()
        if teachers:
            targets = taught(batch, teachers, _falling(args.belief, part), device)
        targets = torch.cat((targets, 1.0 + WRITTEN * batch.written[:, None]), dim=1)
        for again in range(args.times):
            loss = _stepped(model, optimiser, given, targets, device)
            averaged.update_parameters(network)
            step += 1
            if again + 1 < args.times:
                given, targets = flipped(given, targets, int(chance.whole(1, 0, 3)))
        if rank == 0 and step % 100 == 0:
            now = time.monotonic() - began
            print(f"{now:6.0f} s  step {step}  loss {float(loss):.4f}  rate {rate:.5f}", flush=True)
            if now - shown > 120:
                shown = now
                args.out.mkdir(parents=True, exist_ok=True)
                torch.save(averaged.module.state_dict(), args.out / "weights.pt")


def _compiles(args: argparse.Namespace, device: str, past: float) -> bool:
    return device.startswith("cuda") and past >= args.eager


def _falling(ends: list[float], part: float) -> float:
    """Return what lies at a part of the way from the first to the last of one or two numbers."""
    return ends[0] + (ends[-1] - ends[0]) * min(part, 1.0)


def _stepped(
    model: torch.nn.Module,
    optimiser: torch.optim.Optimizer,
    given: torch.Tensor,
    targets: torch.Tensor,
    device: str,
) -> torch.Tensor:
    given = given.contiguous(memory_format=torch.channels_last)
    with _mixed(device):
        folded = model(given)
    maps, weight = targets[:, : len(OUTPUTS)], targets[:, len(OUTPUTS)] * given[:, 1]
    loss = loss_of(unfolded(folded).float(), maps, weight)
    optimiser.zero_grad(set_to_none=True)
    loss.backward()
    torch.nn.utils.clip_grad_norm_(model.parameters(), 1.0)
    optimiser.step()
    return loss.detach()


def taught(batch: Batch, teachers: list[LeadNetwork], belief: float, device: str) -> torch.Tensor:
    """Return targets whose shares are mixed with the teachers' mean, `belief` of 0 .. 1.

    Each teacher looks three times: at the rubbing, at it mirrored and turned by a quarter. Beside
    writing none is believed: teachers that take it for lead would hand that on.
    """
    given, targets = batch.given, batch.targets()
    with torch.no_grad(), _mixed(device):
        said = torch.stack([_seen(t, given, how) for t in teachers for how in (1, 2, 3)])
    shares = torch.sigmoid(said.mean(dim=0))
    trust = belief * (1.0 - batch.written)[:, None]
    return torch.cat((torch.lerp(targets[:, :LOGITS], shares, trust), targets[:, LOGITS:]), dim=1)


def _seen(teacher: LeadNetwork, given: torch.Tensor, how: int) -> torch.Tensor:
    """Return the log odds of a teacher who looks at a rubbing that is `_turned`."""
    shown = _turned(given, how).contiguous(memory_format=torch.channels_last)
    return _turned(unfolded(teacher(shown))[:, :LOGITS].float(), how, back=True)


def _mixed(device: str) -> torch.autocast:
    return torch.autocast("cuda" if device.startswith("cuda") else "cpu", torch.bfloat16)


def flipped(
    given: torch.Tensor, targets: torch.Tensor, how: int
) -> tuple[torch.Tensor, torch.Tensor]:
    """Return a batch mirrored (0, 1) or turned by a quarter (2), its directions along with it."""
    turn = torch.ones(targets.shape[1], device=targets.device)
    turn[6] = -1.0
    if how == 2:
        turn[5] = -1.0
    return _turned(given, how), _turned(targets, how) * turn[None, :, None, None]


def _turned(grids: torch.Tensor, how: int, *, back: bool = False) -> torch.Tensor:
    """Mirror a batch (0, 1), turn it by a quarter or back (2), or leave it as it is (3)."""
    if how == 2:
        return torch.rot90(grids, -1 if back else 1, (2, 3))
    return torch.flip(grids, (2 + how,)) if how < 2 else grids


def _placed(wanted: str) -> tuple[int, int, str]:
    """Return rank, number of processes and device; begin the group where there are several."""
    rank, world = int(os.environ.get("RANK", "0")), int(os.environ.get("WORLD_SIZE", "1"))
    device = wanted or ("cuda" if torch.cuda.is_available() else "cpu")
    if device == "cuda" and torch.cuda.device_count() > 1:
        device = f"cuda:{rank}"
        torch.cuda.set_device(rank)
    if world > 1:
        dist.init_process_group("nccl" if device.startswith("cuda") else "gloo")
    return rank, world, device


def _arguments() -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="python -m training.train", description=__doc__)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--resume", type=Path)
    parser.add_argument("--teachers", type=Path, nargs="*", default=[], help="folders of runs")
    belief = "share of what teachers say; of two the second holds at the end"
    parser.add_argument("--belief", type=float, nargs="+", default=[0.5], help=belief)
    parser.add_argument("--seconds", type=float, default=520)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--rate", type=float, default=3e-3)
    parser.add_argument("--last", type=float, default=2e-4, help="learning rate at the end")
    parser.add_argument("--batch", type=int, default=64, help="rubbings a step and device")
    parser.add_argument("--times", type=int, default=2, help="steps that use a rubbing")
    parser.add_argument("--pool", type=int, default=384, help="designs held a device")
    parser.add_argument("--fresh", type=int, default=16, help="designs drawn anew at a time")
    parser.add_argument("--each", type=int, default=4, help="steps between fresh designs")
    parser.add_argument("--validation", type=int, default=128, help="rubbings of the fixed set")
    parser.add_argument("--deep", action="store_true", help="with more blocks that see far")
    parser.add_argument("--fine", action="store_true", help="with more blocks for detail")
    eager = "compile nothing in so many seconds, say while other processes fill the cache, or ever"
    parser.add_argument("--eager", type=float, nargs="?", const=math.inf, default=0.0, help=eager)
    parser.add_argument("--device", default="")
    return parser.parse_args()


if __name__ == "__main__":
    main()
