/** Converts the table of a plot to curves and panels, before drawing. */
import { type AxisSetting, type Plot, type PlotColumn, numberOf } from '../answers.ts';
import { numberText } from '../format/number.ts';
import { fieldText, nameText, valueWithUnit } from '../format/words.ts';

export interface Point {
  /** Row of the table. */
  row: number;
  x: number;
  y: number;
  low: number;
  high: number;
  spread: number;
  label: string;
  mark: string;
  /** Some runs of the point do not count; its value rests on the others. */
  someExcluded: boolean;
  /** Half the time step changes the value; it enters averages and lines all the same. */
  movesWithStep: boolean;
}

export interface Curve {
  /** Full name. */
  name: string;
  /** Name under a legend title that names the distinguishing fields. */
  shortName: string;
  settings: AxisSetting[];
  column: PlotColumn;
  points: Point[];
  /** Index of colour and shape within a panel. */
  style: number;
  /** Horizontal shift in pixels, so that points of several curves at the same position stay visible. */
  shift: number;
}

/** Curves that share a pair of axes. */
export interface Panel {
  title: string;
  x: PlotColumn;
  yName: string;
  yUnit: string;
  /** Fields that distinguish the curves; empty if none does. */
  legendTitle: string;
  curves: Curve[];
  /** Whether lines join points; single realizations are not joined. */
  joined: boolean;
}

/** Max curves in a panel; more are split over several panels if an axis allows it. */
const MOST_CURVES = 8;

function columnsOf(plot: Plot, role: string): number[] {
  return plot.columns.flatMap((column, i) => (column.role === role ? [i] : []));
}

/** Column of a role that belongs to a vertical position: between that column and the next vertical one. */
function beside(plot: Plot, y: number, role: string): number {
  for (let i = y + 1; i < plot.columns.length && plot.columns[i]!.role !== 'ROLE_Y'; ++i) {
    if (plot.columns[i]!.role === role) return i;
  }
  return -1;
}

function pointsOf(plot: Plot, rows: number[], x: number, y: number): Point[] {
  const [low, high, spread] = ['ROLE_LOW', 'ROLE_HIGH', 'ROLE_SPREAD'].map((role) => beside(plot, y, role));
  return rows.map((row) => {
    const {
      values,
      label,
      mark,
      some_runs_excluded: someExcluded = false,
      moves_with_step: movesWithStep = false,
    } = plot.rows[row]!;
    const at = (column: number | undefined) => numberOf(values[column ?? -1]);
    return {
      row,
      x: at(x),
      y: at(y),
      low: at(low),
      high: at(high),
      spread: at(spread),
      label,
      mark,
      someExcluded,
      movesWithStep,
    };
  });
}

/** Rows of each curve, in the order of their first rows. */
function rowsByCurve(plot: Plot): number[][] {
  const curveColumns = columnsOf(plot, 'ROLE_CURVE');
  const groups = new Map<string, number[]>();
  plot.rows.forEach((row, i) => {
    const key = curveColumns.map((column) => String(row.values[column])).join(' ');
    groups.set(key, [...(groups.get(key) ?? []), i]);
  });
  return [...groups.values()];
}

/** All curves: one for each set of values of the curve columns and each vertical position. */
export function curvesOf(plot: Plot): Curve[] {
  const [x = -1] = columnsOf(plot, 'ROLE_X');
  const ys = columnsOf(plot, 'ROLE_Y');
  const curveColumns = columnsOf(plot, 'ROLE_CURVE');
  const curves: Curve[] = [];
  for (const rows of rowsByCurve(plot)) {
    const values = plot.rows[rows[0]!]!.values;
    const settings = curveColumns.map((i) => ({ field: plot.columns[i]!.name, value: numberOf(values[i]) }));
    const short = settings.map((setting) => numberText(setting.value)).join(', ');
    const full = settings.map((setting, i) => {
      const { name, unit } = plot.columns[curveColumns[i]!]!;
      return `${fieldText(name)} = ${valueWithUnit(numberText(setting.value), unit)}`;
    });
    for (const y of ys) {
      const column = plot.columns[y]!;
      const own = ys.length > 1 ? [nameText(column.name)] : [];
      curves.push({
        name: [...full, ...own].join(', '),
        shortName: short,
        settings,
        column,
        points: pointsOf(plot, rows, x, y),
        style: curves.length,
        shift: 0,
      });
    }
  }
  return curves;
}

/** Words that all names begin or end with: "fraction" of fraction_mixed and fraction_stripes. */
export function commonName(names: string[]): string {
  const split = names.map((name) => name.split('_'));
  for (const parts of [split, split.map((words) => [...words].reverse())]) {
    const first = parts[0] ?? [];
    let count = 0;
    while (count < first.length && parts.every((words) => words[count] === first[count])) ++count;
    if (count > 0)
      return nameText((parts === split ? first.slice(0, count) : first.slice(0, count).reverse()).join('_'));
  }
  return 'value';
}

/** Groups in the order of their first members. */
function groupBy<T>(items: T[], key: (item: T) => string): T[][] {
  const groups = new Map<string, T[]>();
  for (const item of items) groups.set(key(item), [...(groups.get(key(item)) ?? []), item]);
  return [...groups.values()];
}

const settingsKey = (curve: Curve) => curve.settings.map((setting) => setting.value).join(' ');

/** Splits curves of one unit into readable panels; each title names what its curves share. */
function split(curves: Curve[]): { title: string; curves: Curve[] }[] {
  const positions = groupBy(curves, (curve) => curve.column.name);
  const sets = groupBy(curves, settingsKey);
  if (positions.length > 1 && sets.length > 1) {
    if (sets.length <= positions.length) return sets.map((part) => ({ title: settingsTitle(part[0]!), curves: part }));
    return positions.flatMap((part) =>
      split(part).map((each) => ({
        ...each,
        title: [nameText(part[0]!.column.name), each.title].filter(Boolean).join(', '),
      })),
    );
  }
  const byField = (curves[0]?.settings ?? []).map((_, i) =>
    groupBy(curves, (curve) => String(curve.settings[i]!.value)),
  );
  const parts = byField.filter((groups) => groups.length > 1).sort((a, b) => a.length - b.length)[0];
  if (curves.length <= MOST_CURVES || byField.length < 2 || !parts || parts.length === curves.length) {
    return [{ title: '', curves }];
  }
  const field = byField.indexOf(parts);
  return parts.map((part) => ({ title: settingTitle(part[0]!, field), curves: part }));
}

function settingTitle(curve: Curve, field: number): string {
  const setting = curve.settings[field]!;
  return `${fieldText(setting.field)} = ${numberText(numberOf(setting.value))}`;
}

function settingsTitle(curve: Curve): string {
  return curve.settings.map((_, i) => settingTitle(curve, i)).join(', ');
}

/** Sets the short names of the curves of a panel. @returns the fields that distinguish them. */
function nameCurves(curves: Curve[]): string {
  const fields = (curves[0]?.settings ?? []).map((_, i) => i);
  const varying = fields.filter((i) => new Set(curves.map((curve) => curve.settings[i]!.value)).size > 1);
  const positions = new Set(curves.map((curve) => curve.column.name)).size;
  for (const curve of curves) {
    const values = varying.map((i) => numberText(numberOf(curve.settings[i]!.value)));
    const own = positions > 1 ? [nameText(curve.column.name)] : [];
    curve.shortName = [...values, ...own].join(', ');
  }
  return varying.map((i) => fieldText(curves[0]!.settings[i]!.field)).join(', ');
}

/** Horizontal shifts of curves that share a few positions. */
function shiftsOf(curves: Curve[]): number[] {
  const positions = curves.map((curve) => new Set(curve.points.map((point) => point.x)));
  const all = positions.reduce((sum, own) => sum + own.size, 0);
  const distinct = new Set(positions.flatMap((own) => [...own])).size;
  const step = distinct > 12 || distinct === all ? 0 : Math.min(7, 28 / curves.length);
  return curves.map((_, i) => (i - (curves.length - 1) / 2) * step);
}

/** The panels of a plot: one per unit, or more if one would hold too many curves. */
export function panelsOf(plot: Plot): Panel[] {
  const x = plot.columns.find((column) => column.role === 'ROLE_X');
  if (!x) return [];
  const joined = !plot.columns.some((column) => column.name === 'trial');
  const parts = groupBy(curvesOf(plot), (curve) => curve.column.unit).flatMap(split);
  return parts.map(({ title, curves }) => {
    const names = [...new Set(curves.map((curve) => curve.column.name))];
    const yName = names.length > 1 ? commonName(names) : nameText(names[0]!);
    const shifts = shiftsOf(curves);
    curves.forEach((curve, i) => Object.assign(curve, { style: i, shift: shifts[i] }));
    return {
      title: title === '' && parts.length > 1 ? yName : title,
      x,
      yName,
      yUnit: curves[0]!.column.unit,
      legendTitle: nameCurves(curves),
      curves,
      joined,
    };
  });
}

/** Stretches that a line may join, interrupted at points without a value. */
export function stretchesOf(points: Point[]): Point[][] {
  const stretches: Point[][] = [[]];
  for (const point of points) {
    if (Number.isFinite(point.x) && Number.isFinite(point.y)) stretches[stretches.length - 1]!.push(point);
    else stretches.push([]);
  }
  return stretches.filter((stretch) => stretch.length > 1);
}
