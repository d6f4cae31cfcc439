/** Horizontal levels and vertical positions in a panel, such as an onset with its interval or a reference band. */
import { type Plot, type PlotMark, numberOf } from '../answers.ts';
import type { Curve, Panel } from './curves.ts';
import type { Frame } from './marks.ts';
import { colourOf } from './palette.ts';
import { svg } from './svg.ts';

const NEUTRAL = '#5b6670';
export const DASHES = ['6 4', '2 3', '9 3 2 3', '1 5'];

/** The labels of all marks, in order; each has its own dash pattern. */
export function markLabels(plot: Plot): string[] {
  return [...new Set(plot.marks.map((mark) => mark.label))];
}

/** Curve of a mark: the one with the same axis values. */
function curveOf(mark: PlotMark, panel: Panel): Curve | undefined {
  return panel.curves.find((curve) =>
    mark.at.every((at) =>
      curve.settings.some((own) => own.field === at.field && numberOf(own.value) === numberOf(at.value)),
    ),
  );
}

function isMeant(mark: PlotMark, panel: Panel): boolean {
  return mark.at.length === 0 || curveOf(mark, panel) !== undefined;
}

/** Values of marks, which the axes must include. */
export function markValues(plot: Plot, panel: Panel, vertical: boolean): number[] {
  const marks = plot.marks.filter((mark) => mark.vertical === vertical && isMeant(mark, panel));
  return marks.map((mark) => numberOf(mark.value));
}

export function drawLevels(plot: Plot, panel: Panel, frame: Frame): SVGElement {
  const group = svg('g');
  const labels = markLabels(plot);
  let height = frame.top + 7;
  for (const mark of plot.marks) {
    if (!isMeant(mark, panel)) continue;
    const colour = mark.at.length > 0 ? colourOf(curveOf(mark, panel)!.style) : NEUTRAL;
    const dashes = DASHES[labels.indexOf(mark.label) % DASHES.length]!;
    group.append(
      ...(mark.vertical ? position(mark, frame, colour, dashes, height) : level(mark, frame, colour, dashes)),
    );
    if (mark.vertical) height += 9;
  }
  return group;
}

function level(mark: PlotMark, frame: Frame, colour: string, dashes: string): SVGElement[] {
  const y = frame.y.toPixel(numberOf(mark.value));
  const parts = [
    svg('path', {
      d: `M${frame.left} ${y}H${frame.right}`,
      stroke: colour,
      'stroke-width': 1.4,
      'stroke-dasharray': dashes,
    }),
  ];
  const [low, high] = [numberOf(mark.low), numberOf(mark.high)];
  if (Number.isFinite(low) && Number.isFinite(high) && !(frame.y.log && low <= 0)) {
    const top = frame.y.toPixel(high);
    const size = { x: frame.left, y: top, width: frame.right - frame.left, height: frame.y.toPixel(low) - top };
    parts.unshift(svg('rect', { ...size, fill: colour, 'fill-opacity': 0.12 }));
  }
  return parts;
}

/** A dashed line with a bar over the interval near its top; the bar runs to the edge at an open end. */
function position(mark: PlotMark, frame: Frame, colour: string, dashes: string, height: number): SVGElement[] {
  const x = frame.x.toPixel(numberOf(mark.value));
  const look = { stroke: colour, 'stroke-width': 1.4, fill: 'none' };
  const parts = [svg('path', { d: `M${x} ${frame.top}V${frame.bottom}`, 'stroke-dasharray': dashes, ...look })];
  const ends = [mark.low, mark.high].map(numberOf);
  if (!ends.some(Number.isFinite)) return parts;
  const [left, right] = ends.map((end, i) => {
    if (!Number.isFinite(end) || (frame.x.log && end <= 0)) return i === 0 ? frame.left : frame.right;
    return frame.x.toPixel(end);
  }) as [number, number];
  let d = `M${left} ${height}H${right}`;
  if (Number.isFinite(ends[0])) d += `M${left} ${height - 3}v6`;
  if (Number.isFinite(ends[1])) d += `M${right} ${height - 3}v6`;
  parts.push(svg('path', { d, ...look }));
  return parts;
}
