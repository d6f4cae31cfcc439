#!/usr/bin/env python3
"""A driven spinner bed on a GPU as one would write it with PyTorch alone, compiled by torch.compile.

The model of the 2D overdamped bed with its default parameters at temperature 0: exponential pair force, pair friction,
drags, one sweep of the friction system per step, spinners driven at a sine rate. The list of neighbours is fixed: the
six nearest of a triangular lattice, fewer than a bed in motion has, and no time is spent on building it.

Prints one JSON object: bead-steps per second.
"""

import argparse
import json
import math
import time

import torch

PACKING_FRACTION, SPINNER_FRACTION = 0.70, 0.30
FORCE, DECAY, CUTOFF = 20.0, 0.05, 1.3
TANGENTIAL, NORMAL, DRAG, SPIN_DRAG = 5.0, 5.0, 1.0, 1.0
AMPLITUDE, FREQUENCY, TIME_STEP = 20.0, 1.0, 5e-4
FORCE_AT_CUTOFF = math.exp(-(CUTOFF - 1) / DECAY)


def lattice(columns, rows):
    """Positions of a triangular lattice in a periodic domain, its sides, and the six neighbours of each bead."""
    spacing = math.sqrt(math.pi / (2 * math.sqrt(3) * PACKING_FRACTION))
    sides = torch.tensor([columns * spacing, rows * spacing * math.sqrt(3) / 2], device="cuda")
    row, column = torch.meshgrid(torch.arange(rows), torch.arange(columns), indexing="ij")
    x = (column + 0.5 * (row % 2)) * spacing
    y = row * spacing * math.sqrt(3) / 2
    odd = row % 2

    def at(r, c):
        return (r % rows) * columns + c % columns

    around = [at(row, column - 1), at(row, column + 1)]
    around += [at(row + dr, column + dc + odd) for dr in (-1, 1) for dc in (-1, 0)]
    positions = torch.stack((x.flatten(), y.flatten()), 1).float().cuda()
    neighbors = torch.stack([a.flatten() for a in around], 1).int().cuda()
    return positions, sides, neighbors


def step(positions, velocity, spin, spinner, sides, neighbors, rate):
    """One time step. (beads, 2) positions and velocities, (beads) spins; (beads, 6) neighbours."""
    spin = torch.where(spinner, rate, spin)
    d = positions[neighbors] - positions[:, None]
    d = d - sides * torch.round(d / sides)
    r = torch.sqrt((d * d).sum(-1))
    nx, ny, arm = d[..., 0] / r, d[..., 1] / r, 0.5 * r
    weight = torch.clamp(1 - r / CUTOFF, min=0)
    across, along = TANGENTIAL * weight, NORMAL * weight
    push = torch.where(r < CUTOFF, FORCE * (torch.exp((1 - r) / DECAY) - FORCE_AT_CUTOFF), 0)
    other, turning = velocity[neighbors], spin[neighbors]
    pull = along * (other[..., 0] * nx + other[..., 1] * ny) - push
    shove = across * (other[..., 1] * nx - other[..., 0] * ny - arm * turning)
    fx, fy = (pull * nx - shove * ny).sum(-1), (pull * ny + shove * nx).sum(-1)
    torque = (arm * shove).sum(-1)
    more, lever = across - along, across * arm
    axx = DRAG + (along + more * ny * ny).sum(-1)
    axy = -(more * nx * ny).sum(-1)
    ayy = DRAG + (along + more * nx * nx).sum(-1)
    bx, by = -(lever * ny).sum(-1), (lever * nx).sum(-1)
    c = SPIN_DRAG + (lever * arm).sum(-1)
    free = torch.where(spinner, 0.0, 1 / c)
    given = torch.where(spinner, rate, 0.0)
    fx, fy = fx - bx * (torque * free + given), fy - by * (torque * free + given)
    axx, axy, ayy = axx - bx * bx * free, axy - bx * by * free, ayy - by * by * free
    determinant = axx * ayy - axy * axy
    vx, vy = (ayy * fx - axy * fy) / determinant, (axx * fy - axy * fx) / determinant
    spin = torch.where(spinner, rate, (torque - bx * vx - by * vy) / c)
    velocity = torch.stack((vx, vy), 1)
    return torch.remainder(positions + TIME_STEP * velocity, sides), velocity, spin


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--columns", type=int, default=512)
    parser.add_argument("--rows", type=int, default=512, help="even")
    parser.add_argument("--steps", type=int, default=200)
    args = parser.parse_args()
    positions, sides, neighbors = lattice(args.columns, args.rows)
    n = positions.shape[0]
    velocity, spin = torch.zeros_like(positions), torch.zeros(n, device="cuda")
    spinner = torch.rand(n, device="cuda", generator=torch.Generator("cuda").manual_seed(1)) < SPINNER_FRACTION
    compiled = torch.compile(step)

    def run(first, steps):
        nonlocal positions, velocity, spin
        for k in range(first, first + steps):
            rate = AMPLITUDE * math.sin(2 * math.pi * FREQUENCY * (k + 0.5) * TIME_STEP)
            rate = torch.full((), rate, device="cuda")
            positions, velocity, spin = compiled(positions, velocity, spin, spinner, sides, neighbors, rate)
        torch.cuda.synchronize()

    run(0, 20)  # compiles
    begin = time.perf_counter()
    run(20, args.steps)
    seconds = time.perf_counter() - begin
    assert bool(torch.isfinite(velocity).all()) and float(velocity.abs().max()) > 0
    print(json.dumps({"bead_steps_per_second": n * args.steps / seconds, "beads": n, "steps": args.steps,
                      "device": torch.cuda.get_device_name()}))


if __name__ == "__main__":
    main()
