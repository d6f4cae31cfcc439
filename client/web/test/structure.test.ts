import { describe, expect, test } from 'vitest';
import type { Plot } from '../src/answers.ts';
import { decisive } from '../src/plot/plot.ts';
import { singlesOf, sameSettings } from '../src/plot/singles.ts';
import { nextFrame } from '../src/report/film.ts';
import { switchesOf } from '../src/report/controls.ts';
import { firstSentence } from '../src/report/lead.ts';
import { pointsOf, rowsAt, withoutEmptyEnd } from '../src/report/structure.ts';

function plotOf(roles: [string, string][], rows: number[][], labels: string[] = []): Plot {
  return {
    name: 'made_up',
    title: 'Made up',
    columns: roles.map(([name, role]) => ({
      name,
      role: `ROLE_${role}`,
      unit: '',
      definition: '',
      method: '',
      reference: '',
    })),
    rows: rows.map((values, i) => ({ values, label: labels[i] ?? '', mark: '' })),
    marks: [],
  };
}

const SPECTRUM: [string, string][] = [
  ['a.amplitude', 'CURVE'],
  ['k', 'X'],
  ['s', 'Y'],
];

describe('the structure of a point', () => {
  const plot = plotOf(SPECTRUM, [
    [1, 0.5, 10],
    [1, 1, 20],
    [2, 0.5, 30],
    [2, 1, 0],
  ]);
  test('is found by the settings of the point', () => {
    expect(pointsOf(plot)).toEqual([[{ field: 'a.amplitude', value: 1 }], [{ field: 'a.amplitude', value: 2 }]]);
    expect(rowsAt(plot, [{ field: 'a.amplitude', value: 2 }]).rows.map((row) => row.values[2])).toEqual([30, 0]);
  });
  test('ends with the last class that is not empty', () => {
    expect(withoutEmptyEnd(plot).rows.length).toBe(3);
    expect(withoutEmptyEnd({ ...plot, rows: [] }).rows.length).toBe(0);
  });
});

describe('single realizations', () => {
  test('are those of the rows with a value, with the settings of their run', () => {
    const plot = plotOf(
      [
        ['a.amplitude', 'X'],
        ['trial', 'UNSPECIFIED'],
        ['size', 'Y'],
      ],
      [
        [5, 1, 40],
        [5, 2, NaN],
      ],
      ['studies/1/runs/3', 'studies/1/runs/4'],
    );
    expect(singlesOf('size', plot)?.all).toEqual([
      { run: 'studies/1/runs/3', at: [{ field: 'a.amplitude', value: 5 }], value: 40 },
    ]);
    expect(singlesOf('size', undefined)).toBeUndefined();
  });
  test('belong to a curve if all its settings are theirs', () => {
    const at = [
      { field: 'a', value: 1 },
      { field: 'b', value: 2 },
    ];
    expect(sameSettings([{ field: 'b', value: 2 }], at)).toBe(true);
    expect(sameSettings([{ field: 'b', value: 3 }], at)).toBe(false);
    expect(sameSettings([], at)).toBe(true);
  });
});

describe('the range of an axis', () => {
  const point = (y: number, someExcluded = false, movesWithStep = false) => ({
    row: 0,
    x: 0,
    y,
    low: NaN,
    high: NaN,
    spread: NaN,
    label: '',
    mark: '',
    someExcluded,
    movesWithStep,
  });
  test('comes from sound points', () => {
    const points = [point(1), point(2), point(NaN), point(900, true), point(800, false, true)];
    expect(decisive(points).map(({ y }) => y)).toEqual([1, 2]);
  });
  test('comes from all points with a value where fewer than two are sound', () => {
    expect(decisive([point(1), point(900, true), point(NaN)]).map(({ y }) => y)).toEqual([1, 900]);
  });
});

describe('the first screen', () => {
  test('shows the first sentence of an answer, decimals and all', () => {
    expect(firstSentence('The mean is 66.61 beads. At frequency 2: more.')).toBe('The mean is 66.61 beads.');
    expect(firstSentence('Only one.')).toBe('Only one.');
  });
});

describe('a film', () => {
  test('begins again after its last frame', () => {
    expect([0, 1, 2].map((at) => nextFrame(at, 3))).toEqual([1, 2, 0]);
  });
});

describe('switches of curves', () => {
  const roles: [string, string][] = [
    ['x', 'X'],
    ['a', 'CURVE'],
    ['b', 'CURVE'],
    ['size', 'Y'],
  ];
  const of = (as: number[], bs: number[]) =>
    plotOf(
      roles,
      as.flatMap((a) => bs.map((b) => [1, a, b, 10 * a + b])),
    );
  test('switch the same curve of every panel', () => {
    // More than eight curves fill two panels, one for each value of a.
    const switches = switchesOf(of([1, 2], [1, 2, 3, 4, 5]));
    expect(switches.map(({ words }) => words)).toEqual(['1', '2', '3', '4', '5']);
    expect(switches[0]!.names).toEqual(['a = 1, b = 1', 'a = 2, b = 1']);
  });
  test('are none for a single curve', () => {
    expect(switchesOf(of([1], [1]))).toEqual([]);
  });
});
