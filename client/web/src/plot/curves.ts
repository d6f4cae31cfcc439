/** From the table of a plot to curves and panels: what is drawn, before anything is drawn. */
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
}

export interface Curve {
  /** What it is, in full. */
  name: string;
  /** What it is, beside the name of what tells curves apart. */
  shortName: string;
  settings: AxisSetting[];
  column: PlotColumn;
  points: Point[];
  /** Picks colour and shape; alike in all panels. */
  style: number;
  /** Pixels to the side, so that points of several curves at the same place are all seen. */
  shift: number;
}

/** Curves that share a pair of axes. */
export interface Panel {
  title: string;
  x: PlotColumn;
  yName: string;
  yUnit: string;
  /** What tells curves apart; empty where nothing does. */
  legendTitle: string;
  curves: Curve[];
  /** Whether lines join points: single trials are not joined. */
  joined: boolean;
}

/** More curves than this in one panel are split over several, where there is something to split by. */
const MOST_CURVES = 8;

function columnsOf(plot: Plot, role: string): number[] {
  return plot.columns.flatMap((column, i) => (column.role === role ? [i] : []));
}

/** Column of a role that belongs to a vertical place: between it and the next one. */
function beside(plot: Plot, y: number, role: string): number {
  for (let i = y + 1; i < plot.columns.length && plot.columns[i]!.role !== 'ROLE_Y'; ++i) {
    if (plot.columns[i]!.role === role) return i;
  }
  return -1;
}

function pointsOf(plot: Plot, rows: number[], x: number, y: number): Point[] {
  const [low, high, spread] = ['ROLE_LOW', 'ROLE_HIGH', 'ROLE_SPREAD'].map((role) => beside(plot, y, role));
  return rows.map((row) => {
    const { values, label, mark } = plot.rows[row]!;
    const at = (column: number | undefined) => numberOf(values[column ?? -1]);
    return { row, x: at(x), y: at(y), low: at(low), high: at(high), spread: at(spread), label, mark };
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

/** All curves: one for each set of values of the curve columns and each vertical place. */
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

/** The words that all names begin or end with: "share" of share_mixed and share_stripes. */
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

/** Splits curves of one unit so that a panel stays readable; with what is the same in each part. */
function split(curves: Curve[]): { title: string; curves: Curve[] }[] {
  const places = groupBy(curves, (curve) => curve.column.name);
  const sets = groupBy(curves, settingsKey);
  if (places.length > 1 && sets.length > 1) {
    if (sets.length <= places.length) return sets.map((part) => ({ title: settingsTitle(part[0]!), curves: part }));
    return places.flatMap((part) =>
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

/** What tells the curves of a panel apart, and the short name of each. */
function nameCurves(curves: Curve[]): string {
  const fields = (curves[0]?.settings ?? []).map((_, i) => i);
  const varying = fields.filter((i) => new Set(curves.map((curve) => curve.settings[i]!.value)).size > 1);
  const places = new Set(curves.map((curve) => curve.column.name)).size;
  for (const curve of curves) {
    const values = varying.map((i) => numberText(numberOf(curve.settings[i]!.value)));
    const own = places > 1 ? [nameText(curve.column.name)] : [];
    curve.shortName = [...values, ...own].join(', ');
  }
  return varying.map((i) => fieldText(curves[0]!.settings[i]!.field)).join(', ');
}

/** Shifts to the side for curves that have few places and share them. */
function shiftsOf(curves: Curve[]): number[] {
  const places = curves.map((curve) => new Set(curve.points.map((point) => point.x)));
  const all = places.reduce((sum, own) => sum + own.size, 0);
  const distinct = new Set(places.flatMap((own) => [...own])).size;
  const step = distinct > 12 || distinct === all ? 0 : Math.min(7, 28 / curves.length);
  return curves.map((_, i) => (i - (curves.length - 1) / 2) * step);
}

/** The panels of a plot: one for each unit, and more where one would hold too much. */
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

/** Whether a point has no part in an average and so no part in a line. */
export function isUnsound(point: Point): boolean {
  return /unstable|failed|cancelled/.test(point.mark);
}

/** Whether the value of a point is another one with half the time step. It is averaged all the same, and joined. */
export function movesWithStep(point: Point): boolean {
  return point.mark.includes('moves with the time step');
}

/** Stretches that a line may join: no stretch reaches over a point without a value or one that is unsound. */
export function stretchesOf(points: Point[]): Point[][] {
  const stretches: Point[][] = [[]];
  for (const point of points) {
    if (Number.isFinite(point.x) && Number.isFinite(point.y) && !isUnsound(point))
      stretches[stretches.length - 1]!.push(point);
    else stretches.push([]);
  }
  return stretches.filter((stretch) => stretch.length > 1);
}
