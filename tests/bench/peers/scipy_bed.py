#!/usr/bin/env python3
"""A driven spinner bed as one would write it with NumPy and SciPy alone.

The model of the 2D overdamped bed with its default parameters: exponential pair force, pair friction across and along
the line of centres, drags, thermal forces for all of them, one sweep of the friction system per step, spinners driven
at a sine rate. Neighbours come from a periodic k-d tree and are reused until a bead has moved half the skin.

Prints one JSON object: bead-steps per second, and the figures of the last step.
"""

import argparse
import json
import time

import numpy as np
from scipy.spatial import cKDTree

PACKING_FRACTION, SPINNER_FRACTION = 0.70, 0.30
FORCE, DECAY, CUTOFF, SKIN = 20.0, 0.05, 1.3, 0.4
TANGENTIAL, NORMAL = 5.0, 5.0
DRAG, SPIN_DRAG = 1.0, 1.0
AMPLITUDE, FREQUENCY, TIME_STEP = 20.0, 1.0, 5e-4
FORCE_AT_CUTOFF = np.exp(-(CUTOFF - 1) / DECAY)


def nearest_image(d, side):
    return d - side * np.rint(d / side)


def separated_positions(n, side, rng):
    """Random positions, pushed apart until no pair is closer than 0.9."""
    positions = rng.random((n, 2)) * side
    for _ in range(20000):
        pairs = cKDTree(positions, boxsize=side).query_pairs(1.0, output_type="ndarray")
        d = nearest_image(positions[pairs[:, 1]] - positions[pairs[:, 0]], side)
        r = np.maximum(np.hypot(d[:, 0], d[:, 1]), 1e-9)
        if r.size == 0 or r.min() > 0.9:
            break
        push = (0.2 * (1.0 - r) / r)[:, None] * d
        for axis in (0, 1):
            positions[:, axis] += np.bincount(pairs[:, 1], push[:, axis], n) - np.bincount(pairs[:, 0], push[:, axis], n)
        positions %= side
    return positions


class Bed:
    def __init__(self, n, temperature, positions, side, spinner, rng):
        self.n, self.temperature, self.side, self.spinner, self.rng = n, temperature, side, spinner, rng
        self.positions = positions
        self.velocity = np.zeros((n, 2))
        self.spin = np.zeros(n)
        self.time = 0.0
        self.listed = None

    def pairs(self):
        """Pairs within the cut-off, from a list that is reused while valid."""
        if self.listed is not None:
            moved = nearest_image(self.positions - self.listed, self.side)
            if (moved * moved).sum(axis=1).max() < (SKIN / 2) ** 2:
                return self.i, self.j
        listed = cKDTree(self.positions, boxsize=self.side).query_pairs(CUTOFF + SKIN, output_type="ndarray")
        listed = listed[np.argsort(listed[:, 0], kind="stable")]  # for memory locality
        self.i, self.j = np.ascontiguousarray(listed[:, 0]), np.ascontiguousarray(listed[:, 1])
        self.listed = self.positions.copy()
        return self.i, self.j

    def step(self):
        n, dt = self.n, TIME_STEP
        i, j = self.pairs()
        dx = self.positions[j, 0] - self.positions[i, 0]
        dy = self.positions[j, 1] - self.positions[i, 1]
        dx -= self.side * np.rint(dx / self.side)
        dy -= self.side * np.rint(dy / self.side)
        squared = dx * dx + dy * dy
        near = np.flatnonzero(squared < CUTOFF * CUTOFF)
        i, j, dx, dy = i[near], j[near], dx[near], dy[near]
        r = np.sqrt(squared[near])
        nx, ny, arm = dx / r, dy / r, 0.5 * r
        weight = 1.0 - r / CUTOFF
        across, along = TANGENTIAL * weight, NORMAL * weight

        # Forces on the first bead of a pair: `pull` towards the other, `shove` along t = (-ny, nx).
        pull = FORCE * (FORCE_AT_CUTOFF - np.exp((1.0 - r) / DECAY))
        shove = np.zeros_like(r)
        force_x, force_y, torque = np.zeros(n), np.zeros(n), np.zeros(n)
        if self.temperature > 0:
            scale = np.sqrt(2.0 * self.temperature / dt)
            pull += scale * np.sqrt(along) * self.rng.standard_normal(r.size)
            shove += scale * np.sqrt(across) * self.rng.standard_normal(r.size)
            force_x += scale * np.sqrt(DRAG) * self.rng.standard_normal(n)
            force_y += scale * np.sqrt(DRAG) * self.rng.standard_normal(n)
            torque += scale * np.sqrt(SPIN_DRAG) * self.rng.standard_normal(n)

        rate = AMPLITUDE * np.sin(2.0 * np.pi * FREQUENCY * (self.time + 0.5 * dt))
        spin = self.spin
        spin[self.spinner] = rate
        vx, vy = self.velocity[:, 0], self.velocity[:, 1]

        def drag_along(of):  # contribution of a neighbour's motion to the force along n
            return along * (vx[of] * nx + vy[of] * ny)

        slip_i = across * (-vx[i] * ny + vy[i] * nx + arm * spin[i])  # as the second bead feels the first
        slip_j = across * (-vx[j] * ny + vy[j] * nx - arm * spin[j])  # as the first bead feels the second
        on_i, on_j = pull + drag_along(j), drag_along(i) - pull
        turn_i, turn_j = shove + slip_j, slip_i - shove
        both = np.concatenate((i, j))

        def summed(a, b):
            return np.bincount(both, np.concatenate((a, b)), n)

        force_x += summed(on_i * nx - turn_i * ny, on_j * nx - turn_j * ny)
        force_y += summed(on_i * ny + turn_i * nx, on_j * ny + turn_j * nx)
        torque += summed(arm * turn_i, -arm * turn_j)

        # Diagonal block of each bead's rows.
        more = across - along
        xx, xy, yy = along + more * ny * ny, -more * nx * ny, along + more * nx * nx
        lever = across * arm
        axx, axy, ayy = DRAG + summed(xx, xx), summed(xy, xy), DRAG + summed(yy, yy)
        bx, by = summed(-lever * ny, lever * ny), summed(lever * nx, -lever * nx)
        c = SPIN_DRAG + summed(lever * arm, lever * arm)

        # Imposed spins move to the right-hand side; free ones are eliminated.
        s = self.spinner
        fx, fy = force_x - bx * torque / c, force_y - by * torque / c
        fx[s], fy[s] = force_x[s] - bx[s] * rate, force_y[s] - by[s] * rate
        bx2, bxy, by2 = bx * bx / c, bx * by / c, by * by / c
        bx2[s] = bxy[s] = by2[s] = 0.0
        axx, axy, ayy = axx - bx2, axy - bxy, ayy - by2
        determinant = axx * ayy - axy * axy
        new_vx, new_vy = (ayy * fx - axy * fy) / determinant, (axx * fy - axy * fx) / determinant
        self.spin = np.where(s, rate, (torque - bx * new_vx - by * new_vy) / c)
        self.velocity[:, 0], self.velocity[:, 1] = new_vx, new_vy
        self.positions += dt * self.velocity
        self.positions %= self.side
        self.time += dt


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--beads", type=int, default=1536)
    parser.add_argument("--steps", type=int, default=500)
    parser.add_argument("--temperature", type=float, default=0.0, help="k_B T in epsilon")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--positions", help="file of x, y and 0 or 1 a line (1 for a spinner) to start from")
    parser.add_argument("--save", help="file to write x, y, vx, vy and spin of the last step to, a bead a line")
    args = parser.parse_args()

    rng = np.random.default_rng(args.seed)
    side = np.sqrt(args.beads * np.pi / 4 / PACKING_FRACTION)
    if args.positions:
        table = np.loadtxt(args.positions, ndmin=2)
        positions, spinner = table[:, :2].copy(), table[:, 2] > 0
    else:
        positions = separated_positions(args.beads, side, rng)
        spinner = np.zeros(args.beads, dtype=bool)
        spinner[rng.permutation(args.beads)[: round(SPINNER_FRACTION * args.beads)]] = True
    bed = Bed(args.beads, args.temperature, positions, side, spinner, rng)
    bed.step()  # the first list is built outside the timing
    start = time.perf_counter()
    for _ in range(args.steps - 1):
        bed.step()
    seconds = time.perf_counter() - start
    if args.save:
        np.savetxt(args.save, np.column_stack((bed.positions, bed.velocity, bed.spin)), fmt="%.17g")
    print(
        json.dumps(
            {
                "bead_steps_per_second": args.beads * max(args.steps - 1, 0) / max(seconds, 1e-9),
                "beads": args.beads,
                "steps": args.steps,
                "temperature": args.temperature,
                "seconds": seconds,
                "fastest_bead": float(np.hypot(*bed.velocity.T).max()),
            }
        )
    )


if __name__ == "__main__":
    main()
