import { describe, expect, test } from 'vitest';
import { decimalsOf, fixedText, intervalText, numberText } from '../src/format/number.ts';

describe('a number', () => {
  test('has the requested digits and no trailing zeros', () => {
    expect(numberText(46.789)).toBe('46.79');
    expect(numberText(0.5)).toBe('0.5');
    expect(numberText(-12)).toBe('−12');
    expect(numberText(0)).toBe('0');
  });
  test('far from 1 has a power of ten', () => {
    expect(numberText(3.14159e-7)).toBe('3.142·10⁻⁷');
    expect(numberText(2.5e9)).toBe('2.5·10⁹');
    expect(numberText(0.0021)).toBe('0.0021');
  });
  test('that is not finite says so', () => {
    expect(numberText(NaN)).toBe('none');
    expect(numberText(-Infinity)).toBe('−infinite');
  });
});

// Two significant digits of the uncertainty, the value to the same decimal: JCGM 100:2008 (GUM), section 7.2.6, whose
// example is 100.021 47 g with 0.35 mg, there given as 100.021 47(35).
describe('a value with its interval', () => {
  test('has two significant digits of its half width', () => {
    expect(intervalText(100.02147, 100.02147 - 0.00035, 100.02147 + 0.00035)).toBe('100.02147 ± 0.00035');
    expect(intervalText(46.789, 43.689, 49.889)).toBe('46.8 ± 3.1');
    expect(intervalText(1234, 1234 - 567, 1234 + 567)).toBe('1230 ± 570');
  });
  test('counts digits after the uncertainty is rounded', () => {
    expect(decimalsOf(0.0996)).toBe(2);
    expect(decimalsOf(0.0994)).toBe(3);
    expect(intervalText(5, 5 - 0.0996, 5 + 0.0996)).toBe('5.00 ± 0.10');
  });
  test('names both ends of an asymmetric interval', () => {
    expect(intervalText(26.04, 14.9, 38.7)).toBe('26 (15 to 39)');
    expect(intervalText(-0.5, -1.5, 0.1)).toBe('−0.50 (−1.50 to 0.10)');
  });
  test('shows an open end', () => {
    expect(intervalText(12.96, NaN, 29.1)).toBe('13 (up to 29)');
    expect(intervalText(12.96, 10.1, NaN)).toBe('13.0 (from 10.1)');
    expect(intervalText(NaN, 28, NaN)).toBe('– (from 28)');
    expect(intervalText(NaN, 6, 45)).toBe('6 to 45');
    expect(intervalText(NaN, 150, 150)).toBe('150');
    expect(intervalText(NaN, NaN, NaN)).toBe('–');
    expect(intervalText(14.312, NaN, NaN)).toBe('14.31');
  });
  test('of no width names its ends, not a spread of 0', () => {
    expect(intervalText(45, 45, 45)).toBe('45 (45 to 45)');
  });
  test('far from 1 has the same power of ten in both', () => {
    expect(intervalText(2.5e7, 2.4e7, 2.6e7)).toBe('2.50·10⁷ ± 1.0·10⁶');
  });
});

test('a value that rounds to zero has no sign', () => {
  expect(fixedText(-0.001, 1)).toBe('0.0');
  expect(fixedText(-1234, -2)).toBe('−1200');
});
