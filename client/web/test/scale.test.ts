import { describe, expect, test } from 'vitest';
import { linearTicks, logTicks, makeScale, wantsLog } from '../src/plot/scale.ts';
import { COLOURS, contrast, rampColour, SHAPES } from '../src/plot/palette.ts';

describe('ticks', () => {
  test('step by 1, 2 or 5 times a power of ten, within the domain', () => {
    expect(linearTicks(0, 100, 5)).toEqual([0, 20, 40, 60, 80, 100]);
    expect(linearTicks(-0.25, 1.1, 5)).toEqual([0, 0.5, 1]);
    expect(linearTicks(0.1, 0.3, 4)).toEqual([0.1, 0.15, 0.2, 0.25, 0.3]);
    expect(linearTicks(5, 5, 4)).toEqual([5]);
  });
  test('of decades are 1, 2, 5 where there are few, powers alone where there are many', () => {
    expect(logTicks(1, 100, 6)).toEqual([1, 2, 5, 10, 20, 50, 100]);
    expect(logTicks(1e-4, 1e4, 5)).toEqual([1e-4, 1e-2, 1, 100, 1e4]);
  });
});

describe('an axis', () => {
  test('is logarithmic if positive values span more than a factor of 5', () => {
    expect(wantsLog([1, 3, 6])).toBe(true);
    expect(wantsLog([1, 3, 4.9])).toBe(false);
    expect(wantsLog([0, 3, 400])).toBe(false);
    expect(wantsLog([-1, 3, 400])).toBe(false);
    expect(wantsLog([1, NaN, 400])).toBe(true);
    expect(wantsLog([NaN])).toBe(false);
  });
  test('of evenly spaced times is linear', () => {
    expect(wantsLog(Array.from({ length: 100 }, (_, i) => 0.15 + 0.3 * i))).toBe(false);
  });
  test('runs from pixel to pixel and holds values and ends of intervals', () => {
    const scale = makeScale([10, 20], [5, 30, NaN], [100, 0], 5);
    expect(scale.log).toBe(false);
    for (const value of [5, 10, 20, 30]) {
      expect(scale.toPixel(value)).toBeGreaterThanOrEqual(0);
      expect(scale.toPixel(value)).toBeLessThanOrEqual(100);
    }
    expect(scale.toPixel(20)).toBeLessThan(scale.toPixel(10));
  });
  test('puts equal ratios at equal distances if it is logarithmic', () => {
    const scale = makeScale([1, 10, 100], [0.0001], [0, 300], 5);
    expect(scale.log).toBe(true);
    expect(scale.toPixel(100) - scale.toPixel(10)).toBeCloseTo(scale.toPixel(10) - scale.toPixel(1), 9);
    // An end near 0 does not compress the values.
    expect(scale.toPixel(100) - scale.toPixel(1)).toBeGreaterThan(150);
  });
  test('gives 0 a place before a logarithmic axis where it is asked to', () => {
    expect(wantsLog([0, 3, 400], true)).toBe(true);
    const scale = makeScale([0, 3, 30, 400], [], [50, 450], 5, { zeros: true });
    expect(scale.log).toBe(true);
    expect(scale.toPixel(0)).toBeGreaterThan(50);
    expect(scale.toPixel(0)).toBeLessThan(scale.breakAt!);
    expect(scale.breakAt!).toBeLessThan(scale.toPixel(3));
    expect(scale.ticks[0]).toBe(0);
    expect(makeScale([-1, 3, 400], [], [50, 450], 5, { log: true, zeros: true }).log).toBe(false);
  });
  test('is linear or logarithmic as a reader asks, where the values allow it', () => {
    expect(makeScale([1, 2, 3], [], [0, 100], 5, { log: true }).log).toBe(true);
    expect(makeScale([1, 30, 500], [], [0, 100], 5, { log: false }).log).toBe(false);
    expect(makeScale([0, 30, 500], [], [0, 100], 5, { log: true }).log).toBe(false);
  });
  test('of one value, or of none, has a width', () => {
    expect(Number.isFinite(makeScale([7], [], [0, 100], 5).toPixel(7))).toBe(true);
    expect(Number.isFinite(makeScale([NaN], [], [0, 100], 5).toPixel(0.5))).toBe(true);
  });
});

function channels(colour: string): number[] {
  if (colour.startsWith('rgb')) return colour.match(/\d+/g)!.map(Number);
  return [1, 3, 5].map((i) => parseInt(colour.slice(i, i + 2), 16));
}

describe('colours', () => {
  test('contrast has its known values', () => {
    // WCAG 2.2: black on white is 21 to 1; #767676 is the palest grey that passes 4.5 to 1 on white.
    expect(contrast([0, 0, 0], [255, 255, 255])).toBeCloseTo(21, 6);
    expect(contrast([0x76, 0x76, 0x76], [255, 255, 255])).toBeGreaterThan(4.5);
    expect(contrast([0x77, 0x77, 0x77], [255, 255, 255])).toBeLessThan(4.5);
  });
  test('of curves stand out from white by 3 to 1: WCAG 2.2, 1.4.11', () => {
    for (const colour of COLOURS) expect(contrast(channels(colour), [255, 255, 255]), colour).toBeGreaterThanOrEqual(3);
  });
  test('of maps carry readable words: WCAG 2.2, 1.4.3', () => {
    for (let fraction = 0; fraction <= 1; fraction += 0.02) {
      const { fill, ink } = rampColour(fraction);
      expect(contrast(channels(fill), channels(ink)), `${fraction}`).toBeGreaterThanOrEqual(4.5);
    }
  });
  test('and shapes repeat together only after all pairs', () => {
    const pairs = new Set(
      Array.from({ length: COLOURS.length * SHAPES.length }, (_, i) => `${i % COLOURS.length} ${i % SHAPES.length}`),
    );
    expect(pairs.size).toBe(COLOURS.length * SHAPES.length);
  });
});
