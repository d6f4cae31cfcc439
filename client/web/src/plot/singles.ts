/** The single realizations behind the means of a plot. */
import { type AxisSetting, type Plot, numberOf } from '../answers.ts';
import type { Curve, Panel } from './curves.ts';
import { colourOf } from './palette.ts';
import type { Frame } from './marks.ts';
import { svg } from './svg.ts';

export interface Single {
  run: string;
  at: AxisSetting[];
  value: number;
}

export interface Singles {
  /** Column of the plot whose realizations these are. */
  column: string;
  all: Single[];
}

/** Realizations of a column from the plot with a row for each run. */
export function singlesOf(column: string, plateaus: Plot | undefined): Singles | undefined {
  const y = plateaus?.columns.findIndex((one) => one.role === 'ROLE_Y') ?? -1;
  if (!plateaus || y < 0) return undefined;
  const fields = plateaus.columns.flatMap(({ name, role }, i) =>
    role === 'ROLE_X' || role === 'ROLE_CURVE' ? [{ name, i }] : [],
  );
  const all = plateaus.rows.map((row) => ({
    run: row.label,
    at: fields.map(({ name, i }) => ({ field: name, value: numberOf(row.values[i]) })),
    value: numberOf(row.values[y]),
  }));
  return { column, all: all.filter((single) => Number.isFinite(single.value)) };
}

export function sameSettings(some: AxisSetting[], all: AxisSetting[]): boolean {
  return some.every((own) => all.some((at) => at.field === own.field && numberOf(at.value) === numberOf(own.value)));
}

function ofCurve(singles: Singles | undefined, curve: Curve): Single[] {
  if (singles?.column !== curve.column.name) return [];
  return singles.all.filter((single) => sameSettings(curve.settings, single.at));
}

function positionOf(single: Single, panel: Panel): number {
  return numberOf(single.at.find((at) => at.field === panel.x.name)?.value);
}

export function singleValues(singles: Singles | undefined, panel: Panel): number[] {
  return panel.curves.flatMap((curve) => ofCurve(singles, curve).map((single) => single.value));
}

/** A small ring for each realization, in the colour of its curve. */
export function drawSingles(singles: Singles | undefined, panel: Panel, frame: Frame): SVGElement[] {
  return panel.curves.flatMap((curve) =>
    ofCurve(singles, curve).flatMap((single) => {
      const x = positionOf(single, panel);
      if (!Number.isFinite(x) || (frame.y.log && single.value <= 0)) return [];
      const colour = colourOf(curve.style);
      const place = { cx: frame.x.toPixel(x) + curve.shift, cy: frame.y.toPixel(single.value), r: 2.6 };
      const look = { fill: colour, 'fill-opacity': 0.28, stroke: colour, 'stroke-opacity': 0.55, 'stroke-width': 0.7 };
      return [svg('circle', { ...place, ...look, 'data-run': single.run })];
    }),
  );
}
