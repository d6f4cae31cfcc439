/** A map of one quantity over two axes: one cell per point, with its value as text. */
import { type Axis, type Plot, numberOf } from '../answers.ts';
import { numberText } from '../format/number.ts';
import { fieldText, withUnit } from '../format/words.ts';
import { labelled } from './axes.ts';
import { type Curve, type Panel, panelsOf } from './curves.ts';
import { type Figure, figureElement } from './plot.ts';
import { tagged, type Spot } from './marks.ts';
import { rampColour } from './palette.ts';
import { makeScale, type Scale } from './scale.ts';
import { type Attributes, svg, text, widthOf } from './svg.ts';

/** The panel of a plot of one quantity over two axes of the study with each point once; else none. */
export function mapPanel(plot: Plot, axes: Axis[]): Panel | undefined {
  const fields = new Set(axes.map((axis) => axis.field));
  const panels = panelsOf(plot);
  const panel = panels[0];
  if (panels.length !== 1 || !panel || !fields.has(panel.x.name) || panel.curves.length < 2) return undefined;
  const oneAxis = panel.curves.every((curve) => curve.settings.length === 1 && fields.has(curve.settings[0]!.field));
  const onePosition = new Set(panel.curves.map((curve) => curve.column.name)).size === 1;
  const once = panel.curves.every(
    (curve) => new Set(curve.points.map((point) => point.x)).size === curve.points.length,
  );
  const wide = panel.curves.some((curve) => curve.points.length > 1);
  return oneAxis && onePosition && once && wide ? panel : undefined;
}

interface Grid {
  xs: number[];
  curves: Curve[];
  left: number;
  top: number;
  cellWidth: number;
  cellHeight: number;
}

export function drawMap(plot: Plot, panel: Panel, axes: Axis[], width: number): Figure {
  const curves = [...panel.curves].sort((a, b) => numberOf(b.settings[0]!.value) - numberOf(a.settings[0]!.value));
  const xs = [...new Set(curves.flatMap((curve) => curve.points.map((point) => point.x)))].sort((a, b) => a - b);
  const left = Math.max(...curves.map((curve) => widthOf(settingOf(curve), 12))) + 14;
  const cellHeight = Math.max(16, Math.min(48, 320 / curves.length));
  const grid: Grid = { xs, curves, left, top: 30, cellWidth: (width - left - 12) / xs.length, cellHeight };
  const bottom = grid.top + cellHeight * curves.length;
  const colours = makeScale(
    curves.flatMap((curve) => curve.points.map((point) => point.y)),
    [],
    [0, 1],
    5,
  );
  const spots: Spot[] = [];
  const cells = curves.flatMap((curve, i) =>
    curve.points.flatMap((point) => {
      const x = left + (xs.indexOf(point.x) + 0.5) * grid.cellWidth;
      const y = grid.top + (i + 0.5) * cellHeight;
      spots.push({ x, y, point, curve, panel });
      return drawCell(grid, colours, x, y, curve, point);
    }),
  );
  const parts = [
    ...cells,
    ...drawNames(grid, panel, axes, width),
    ...drawKey(colours, panel, left, bottom + 56, width - left - 12),
  ];
  const height = bottom + 104;
  const title = `${plot.title}, as a map`;
  const words = `${panel.yName} at every point of ${fieldText(panel.x.name)} and ${panel.legendTitle}, darker where it is larger.`;
  return { element: figureElement(title, words, width, height, parts), width, height, spots };
}

function settingOf(curve: Curve): string {
  return numberText(numberOf(curve.settings[0]!.value));
}

function drawCell(grid: Grid, colours: Scale, x: number, y: number, curve: Curve, point: Spot['point']): SVGElement[] {
  const has = Number.isFinite(point.y);
  const { fill, ink } = has ? rampColour(colours.toPixel(point.y)) : { fill: '#ffffff', ink: '#22282e' };
  const box = { x: x - grid.cellWidth / 2, y: y - grid.cellHeight / 2, width: grid.cellWidth, height: grid.cellHeight };
  const outline: Attributes = has ? { stroke: '#ffffff' } : { stroke: '#5b6670', 'stroke-dasharray': '3 3' };
  const words = has ? numberText(point.y, 3) : point.mark.split(' ')[0] || 'none';
  const cell = tagged(svg('rect', { ...box, fill, ...outline }), point, curve, has);
  const short = widthOf(words, 12) < grid.cellWidth - 4 ? words : has ? '' : '×';
  const cells = has && point.movesWithStep ? [cell, inset(box, ink)] : [cell];
  return short === ''
    ? cells
    : [...cells, text(short, x, y + 4, { 'text-anchor': 'middle', 'font-size': 12, fill: ink })];
}

/** An inner outline for a cell whose value changes with half the time step. */
function inset(box: { x: number; y: number; width: number; height: number }, ink: string): SVGElement {
  const [x, y, width, height] = [box.x + 3, box.y + 3, box.width - 6, box.height - 6];
  return svg('rect', { x, y, width, height, fill: 'none', stroke: ink, 'stroke-width': 1.2 });
}

/** Numbers and names along both axes. */
function drawNames(grid: Grid, panel: Panel, axes: Axis[], width: number): SVGElement[] {
  const bottom = grid.top + grid.cellHeight * grid.curves.length;
  const positions = grid.xs.map((x, i) => ({ at: grid.left + (i + 0.5) * grid.cellWidth, words: numberText(x) }));
  const shown = labelled(positions);
  const field = grid.curves[0]!.settings[0]!.field;
  const side = withUnit(fieldText(field), axes.find((axis) => axis.field === field)?.unit ?? '');
  const look = { 'font-size': 12, fill: '#5b6670' };
  return [
    ...positions.flatMap(({ at, words }, i) =>
      shown[i] ? [text(words, at, bottom + 17, { ...look, 'text-anchor': 'middle' })] : [],
    ),
    ...grid.curves.map((curve, i) =>
      text(settingOf(curve), grid.left - 8, grid.top + (i + 0.5) * grid.cellHeight + 4, {
        ...look,
        'text-anchor': 'end',
      }),
    ),
    text(withUnit(fieldText(panel.x.name), panel.x.unit), (grid.left + width - 12) / 2, bottom + 38, {
      'text-anchor': 'middle',
    }),
    text(side, 0, 16),
  ];
}

/** The colour key. */
function drawKey(colours: Scale, panel: Panel, left: number, top: number, width: number): SVGElement[] {
  const steps = 40;
  const size = Math.min(width, 320);
  const swatches = Array.from({ length: steps }, (_, i) =>
    svg('rect', {
      x: left + (i * size) / steps,
      y: top,
      width: size / steps + 0.5,
      height: 10,
      fill: rampColour((i + 0.5) / steps).fill,
    }),
  );
  const positions = colours.ticks.map((tick) => ({
    at: left + colours.toPixel(tick) * size,
    words: numberText(tick, 12),
  }));
  const shown = labelled(positions);
  const numbers = positions.flatMap(({ at, words }, i) =>
    shown[i] ? [text(words, at, top + 25, { 'text-anchor': 'middle', 'font-size': 12, fill: '#5b6670' })] : [],
  );
  return [
    ...swatches,
    ...numbers,
    text(withUnit(panel.yName, panel.yUnit) + (colours.log ? ', logarithmic' : ''), left, top + 43),
  ];
}
