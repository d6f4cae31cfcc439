import { describe, expect, test } from 'vitest';
import type { Plot, PlotRow } from '../src/answers.ts';
import { mapPanel } from '../src/plot/heat.ts';
import { commonName, curvesOf, panelsOf, stretchesOf } from '../src/plot/curves.ts';

type Column = [name: string, role: string, unit?: string];

function plotOf(columns: Column[], rows: (number | string)[][], marks: Partial<PlotRow>[] = []): Plot {
  return {
    name: 'made_up',
    title: 'Made up',
    columns: columns.map(([name, role, unit]) => ({
      name,
      role: `ROLE_${role}`,
      unit: unit ?? '',
      definition: '',
      method: '',
      reference: '',
    })),
    rows: rows.map((values, i) => ({ values, label: '', mark: '', ...marks[i] })),
    marks: [],
  };
}

const SIZE: Column[] = [
  ['a.amplitude', 'X'],
  ['a.frequency', 'CURVE'],
  ['size', 'Y'],
  ['low', 'LOW'],
  ['high', 'HIGH'],
  ['sd', 'SPREAD'],
];

describe('curves', () => {
  test('are distinguished by the curve columns, in any order of rows', () => {
    const curves = curvesOf(
      plotOf(SIZE, [
        [1, 5, 10, 9, 11, 1],
        [1, 7, 20, 19, 21, 2],
        [2, 5, 12, 11, 13, 1],
      ]),
    );
    expect(curves.map((curve) => curve.points.map((point) => point.y))).toEqual([[10, 12], [20]]);
    expect(curves.map((curve) => curve.name)).toEqual(['frequency = 5', 'frequency = 7']);
  });
  test('take the interval and the spread of their own vertical position', () => {
    const plot = plotOf(
      [
        ['t', 'X'],
        ['a', 'Y'],
        ['a_low', 'LOW'],
        ['b', 'Y'],
        ['b_low', 'LOW'],
        ['b_sd', 'SPREAD'],
      ],
      [[0, 1, 0.5, 2, 1.5, 0.1]],
    );
    expect(curvesOf(plot).map(({ points }) => [points[0]!.y, points[0]!.low, points[0]!.spread])).toEqual([
      [1, 0.5, NaN],
      [2, 1.5, 0.1],
    ]);
  });
  test('keep every row, even one without a value', () => {
    const [curve] = curvesOf(
      plotOf(
        SIZE,
        [
          [1, 5, 10, 9, 11, 1],
          [2, 5, 'NaN', 'NaN', 'NaN', 'NaN'],
        ],
        [{}, { mark: 'unstable 3/3' }],
      ),
    );
    expect(curve!.points.map((point) => point.mark)).toEqual(['', 'unstable 3/3']);
    expect(curve!.points[1]!.y).toBeNaN();
  });
  test('are not joined over points without a value', () => {
    const rows = [1, 2, 3, 4, 5].map((x) => [x, 5, x === 3 ? 'NaN' : x, 'NaN', 'NaN', 'NaN']);
    const marks = [{}, {}, { mark: 'unstable 3/3', some_runs_excluded: true }];
    const [curve] = curvesOf(plotOf(SIZE, rows, marks));
    expect(stretchesOf(curve!.points).map((stretch) => stretch.map((point) => point.x))).toEqual([
      [1, 2],
      [4, 5],
    ]);
  });
  test('are joined over points some of whose runs are excluded, since their averages count', () => {
    const rows = [1, 2, 3].map((x) => [x, 5, x, 'NaN', 'NaN', 'NaN']);
    const [curve] = curvesOf(plotOf(SIZE, rows, [{}, { mark: 'unstable 1/3', some_runs_excluded: true }]));
    expect(curve!.points.map((point) => point.someExcluded)).toEqual([false, true, false]);
    expect(stretchesOf(curve!.points).map((stretch) => stretch.length)).toEqual([3]);
  });
  test('are joined over points that move with the time step, which averages keep', () => {
    const rows = [1, 2, 3].map((x) => [x, 5, x, 'NaN', 'NaN', 'NaN']);
    const marks = [{}, { mark: 'waiting 1/3, moves with the time step', moves_with_step: true }];
    const [curve] = curvesOf(plotOf(SIZE, rows, marks));
    expect(curve!.points.map((point) => point.movesWithStep)).toEqual([false, true, false]);
    expect(stretchesOf(curve!.points).map((stretch) => stretch.length)).toEqual([3]);
  });
});

describe('panels', () => {
  test('have one unit each', () => {
    const panels = panelsOf(
      plotOf(
        [
          ['t', 'X'],
          ['size', 'Y', 'beads'],
          ['time', 'Y', 'tau'],
        ],
        [[0, 1, 2]],
      ),
    );
    expect(panels.map((panel) => [panel.yName, panel.yUnit])).toEqual([
      ['size', 'beads'],
      ['time', 'tau'],
    ]);
  });
  test('split many curves by the axis that makes the fewest parts', () => {
    const rows = [1, 2, 3, 4, 5, 6].flatMap((a) => [1, 2].map((b) => [0, a, b, 1]));
    const panels = panelsOf(
      plotOf(
        [
          ['phase', 'X'],
          ['a', 'CURVE'],
          ['b', 'CURVE'],
          ['size', 'Y'],
        ],
        rows,
      ),
    );
    expect(panels.map((panel) => [panel.title, panel.curves.length])).toEqual([
      ['b = 1', 6],
      ['b = 2', 6],
    ]);
  });
  test('hold each row once for each vertical position', () => {
    const rows = [1, 2, 3].flatMap((a) => [0, 1].map((t) => [t, a, 1, 2]));
    const panels = panelsOf(
      plotOf(
        [
          ['t', 'X'],
          ['a', 'CURVE'],
          ['old_size', 'Y'],
          ['new_size', 'Y'],
        ],
        rows,
      ),
    );
    const count = panels.reduce(
      (sum, panel) => sum + panel.curves.reduce((all, curve) => all + curve.points.length, 0),
      0,
    );
    expect(count).toBe(2 * rows.length);
  });
  test('do not join single realizations', () => {
    expect(
      panelsOf(
        plotOf(
          [
            ['t', 'X'],
            ['trial', 'UNSPECIFIED'],
            ['size', 'Y'],
          ],
          [[0, 1, 2]],
        ),
      )[0]!.joined,
    ).toBe(false);
  });
});

test('the common name of several columns names their axis', () => {
  expect(commonName(['fraction_mixed', 'fraction_stripes'])).toBe('fraction');
  expect(commonName(['old_size', 'new_size'])).toBe('size');
  expect(commonName(['up', 'down'])).toBe('value');
});

describe('a map', () => {
  const axes = ['a.amplitude', 'a.frequency'].map((field) => ({ field, unit: '', values: [1, 2] }));
  const rows = [1, 2].flatMap((x) => [5, 7].map((f) => [x, f, 1, 1, 1, 1]));
  test('is drawn of one quantity over two axes of the study', () => {
    expect(mapPanel(plotOf(SIZE, rows), axes)).toBeDefined();
  });
  test('is not drawn if points repeat or x is not an axis', () => {
    expect(mapPanel(plotOf(SIZE, [...rows, ...rows]), axes)).toBeUndefined();
    expect(mapPanel(plotOf(SIZE, rows), axes.slice(1))).toBeUndefined();
  });
});
