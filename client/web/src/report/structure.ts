/** Growth with time, and the structure of a point that the reader chooses. */
import { type AxisSetting, type Plot, numberOf } from '../answers.ts';
import { sameSettings } from '../plot/singles.ts';
import type { Context } from './context.ts';
import { plotFigure } from './figure.ts';
import { type Child, html } from './html.ts';

/** Settings of the points of a plot, in the order of its rows. */
export function pointsOf(plot: Plot): AxisSetting[][] {
  const fields = plot.columns.flatMap(({ name, role }, i) => (role === 'ROLE_CURVE' ? [{ name, i }] : []));
  const points = new Map<string, AxisSetting[]>();
  for (const row of plot.rows) {
    const settings = fields.map(({ name, i }) => ({ field: name, value: numberOf(row.values[i]) }));
    points.set(JSON.stringify(settings), settings);
  }
  return [...points.values()];
}

/** The rows of one point. */
export function rowsAt(plot: Plot, settings: AxisSetting[]): Plot {
  const at = (field: string) => plot.columns.findIndex((column) => column.name === field);
  const rows = plot.rows.filter((row) =>
    settings.every((setting) => numberOf(row.values[at(setting.field)]) === numberOf(setting.value)),
  );
  return { ...plot, rows };
}

/** Without the last rows whose vertical positions are all 0: the empty classes of the largest sizes. */
export function withoutEmptyEnd(plot: Plot): Plot {
  const ys = plot.columns.flatMap((column, i) => (column.role === 'ROLE_Y' ? [i] : []));
  let count = plot.rows.length;
  while (count > 0 && ys.every((y) => numberOf(plot.rows[count - 1]!.values[y]) === 0)) --count;
  return { ...plot, rows: plot.rows.slice(0, count) };
}

function chooser(points: AxisSetting[][], start: number, context: Context, chosen: (i: number) => void): HTMLElement {
  const options = points.map((settings, i) => html('option', { value: String(i) }, context.pointText(settings)));
  const select = html('select', {}, ...options);
  select.value = String(start);
  select.addEventListener('change', () => chosen(Number(select.value)));
  context.onPoint((settings) => {
    const i = points.findIndex((point) => sameSettings(settings, point));
    if (i < 0) return;
    select.value = String(i);
    chosen(i);
  });
  return html('p', {}, html('label', {}, 'Point: ', select));
}

/** S(k), g(r) and cluster sizes of one point, with a chooser. */
function structureOf(plots: Plot[], context: Context): Child[] {
  if (plots.length === 0) return [];
  const points = pointsOf(plots[0]!);
  const holder = html('div', { class: 'pair' });
  const show = (i: number) =>
    holder.replaceChildren(
      ...plots.map((plot) =>
        plotFigure(withoutEmptyEnd(points[i] ? rowsAt(plot, points[i]) : plot), context, { log: isLog(plot) }),
      ),
    );
  const first = context.selected[0]?.snapshot.at ?? [];
  const start = Math.max(
    0,
    points.findIndex((point) => sameSettings(first, point)),
  );
  show(start);
  return [
    html(
      'section',
      { id: 'structure', 'aria-labelledby': 'heading-structure' },
      html('h2', { id: 'heading-structure' }, 'Structure of a point'),
      html('p', {}, 'Means over the plateau and the realizations.'),
      ...(points.length > 1 ? [chooser(points, start, context, show)] : []),
      holder,
    ),
  ];
}

/** Whether a plot of structure is shown on logarithmic axes at first. */
function isLog(plot: Plot): boolean {
  return plot.name !== 'pair_correlation_means';
}

function growthOf(plot: Plot | undefined, context: Context): Child[] {
  if (!plot) return [];
  return [
    html(
      'section',
      { id: 'growth', 'aria-labelledby': 'heading-growth' },
      html('h2', { id: 'heading-growth' }, 'How does the size grow?'),
      plotFigure(plot, context, { log: true, shared: true }),
    ),
  ];
}

export function seriesSections(context: Context): Child[] {
  const { plots } = context.data;
  return [
    ...growthOf(
      plots.find((plot) => plot.name === 'growth'),
      context,
    ),
    ...structureOf(
      plots.filter((plot) => plot.name !== 'growth'),
      context,
    ),
  ];
}
