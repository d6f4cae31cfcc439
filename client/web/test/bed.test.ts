import { describe, expect, test } from 'vitest';
import type { Frame } from '../src/answers.ts';
import { barLength, beadsOf, withImages } from '../src/plot/bed.ts';

function frameOf(positions: [number, number, number][], width = 10, height = 20, side = width): Frame {
  const bytes = positions.flatMap(([x, y]) =>
    [x / width, y / height].flatMap((fraction) => {
      const steps = Math.floor(fraction * 65536);
      return [steps & 255, steps >> 8];
    }),
  );
  return {
    step: 0,
    time: 0,
    bead_count: positions.length,
    side_x: side,
    side_y: height,
    width,
    height,
    positions: btoa(String.fromCharCode(...bytes)),
    kinds: btoa(String.fromCharCode(...positions.map(([, , kind]) => kind))),
  };
}

describe('beds', () => {
  test('are decoded to a ten-thousandth of the window', () => {
    const beads = beadsOf(
      frameOf([
        [2.5, 19.99, 1],
        [0, 7, 0],
      ]),
    );
    expect(beads.map((bead) => bead.spinner)).toEqual([true, false]);
    expect(beads[0]!.x).toBeCloseTo(2.5, 3);
    expect(beads[0]!.y).toBeCloseTo(19.99, 2);
    expect(beads[1]!.x).toBeCloseTo(0, 3);
  });
  test('repeat beads at a side on the other side, at a corner on all four', () => {
    const corner = frameOf([[0.1, 19.9, 1]]);
    const images = withImages(beadsOf(corner), corner);
    expect(images.map(({ x, y }) => [Math.abs(Math.round(x)), Math.abs(Math.round(y))])).toEqual([
      [0, 20],
      [0, 0],
      [10, 20],
      [10, 0],
    ]);
    const part = frameOf([[0.1, 19.9, 1]], 10, 20, 30);
    expect(withImages(beadsOf(part), part)).toHaveLength(1);
  });
  test('have a scale bar of round length, at most a third of the width', () => {
    expect([3, 5.9, 6, 40, 60, 1000].map(barLength)).toEqual([1, 1, 2, 10, 20, 200]);
  });
});
