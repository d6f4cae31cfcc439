/** Draws points and curves: markers, bars, bands, lines. */
import { type Curve, type Panel, type Point, stretchesOf } from './curves.ts';
import { colourOf, type Shape, shapeOf } from './palette.ts';
import type { Scale } from './scale.ts';
import { path, svg } from './svg.ts';

/** Axes of a panel and its bounds in pixels. */
export interface Frame {
  left: number;
  right: number;
  top: number;
  bottom: number;
  x: Scale;
  y: Scale;
  /** Pixel height of points without a value. */
  floor: number;
}

/** A drawn point. */
export interface Spot {
  x: number;
  y: number;
  point: Point;
  curve: Curve;
  panel: Panel;
}

const OUTLINES: Record<Shape, [number, number][]> = {
  circle: [],
  square: [
    [-0.9, -0.9],
    [0.9, -0.9],
    [0.9, 0.9],
    [-0.9, 0.9],
  ],
  diamond: [
    [0, -1.25],
    [1.25, 0],
    [0, 1.25],
    [-1.25, 0],
  ],
  triangle: [
    [0, -1.2],
    [1.15, 0.85],
    [-1.15, 0.85],
  ],
  down: [
    [0, 1.2],
    [1.15, -0.85],
    [-1.15, -0.85],
  ],
  plus: [
    [-0.4, -1.2],
    [0.4, -1.2],
    [0.4, -0.4],
    [1.2, -0.4],
    [1.2, 0.4],
    [0.4, 0.4],
    [0.4, 1.2],
    [-0.4, 1.2],
    [-0.4, 0.4],
    [-1.2, 0.4],
    [-1.2, -0.4],
    [-0.4, -0.4],
  ],
  star: Array.from({ length: 10 }, (_, i) => polar(i % 2 === 0 ? 1.35 : 0.6, (i * Math.PI) / 5)),
  hexagon: Array.from({ length: 6 }, (_, i) => polar(1.1, (i * Math.PI) / 3)),
};

function polar(radius: number, angle: number): [number, number] {
  return [radius * Math.sin(angle), -radius * Math.cos(angle)];
}

/** Pixel of a point along x. */
function positionOf(point: Point, curve: Curve, frame: Frame): number {
  return frame.x.toPixel(point.x) + curve.shift;
}

/** The marker of a curve; hollow for a point with runs that are left out. */
export function marker(style: number, x: number, y: number, size: number, hollow = false): SVGElement {
  const colour = colourOf(style);
  const look = { fill: hollow ? '#ffffff' : colour, stroke: colour, 'stroke-width': hollow ? 1.6 : 0.8 };
  const shape = shapeOf(style);
  if (shape === 'circle') return svg('circle', { cx: x, cy: y, r: size, ...look });
  const positions = OUTLINES[shape].map(([dx, dy]) => [x + dx * size, y + dy * size] as const);
  return svg('path', { d: `${path(positions)}Z`, ...look });
}

/** A ring around a point whose value changes with half the time step. */
export function ring(style: number, x: number, y: number, size: number): SVGElement {
  return svg('circle', { cx: x, cy: y, r: size + 3.5, fill: 'none', stroke: colourOf(style), 'stroke-width': 1.2 });
}

/** A cross for a point without a value. */
export function cross(style: number, x: number, y: number): SVGElement {
  const d = `M${x - 4} ${y - 4}L${x + 4} ${y + 4}M${x - 4} ${y + 4}L${x + 4} ${y - 4}`;
  return svg('path', { d, stroke: colourOf(style), 'stroke-width': 2, fill: 'none' });
}

/** An arrow at the edge of a panel for a point beyond it. */
export function arrow(style: number, x: number, y: number, up: boolean): SVGElement {
  const d = up ? `M${x} ${y + 4}v-11m-4 5l4 -5l4 5` : `M${x} ${y - 7}v11m-4 -5l4 5l4 -5`;
  return svg('path', { d, stroke: colourOf(style), 'stroke-width': 2, fill: 'none', 'data-beyond': '' });
}

/** Curves with more points than this have small markers and a band instead of bars. */
export const MANY_POINTS = 25;

/** The lines and bars of a curve, clipped to the panel. */
export function drawLines(curve: Curve, frame: Frame, joined: boolean): SVGElement {
  const many = curve.points.length > MANY_POINTS;
  const group = svg('g');
  const colour = colourOf(curve.style);
  for (const stretch of joined ? stretchesOf(curve.points) : []) {
    if (many) group.append(band(stretch, frame, colour));
    const d = path(stretch.map((point) => [positionOf(point, curve, frame), frame.y.toPixel(point.y)] as const));
    group.append(svg('path', { d, fill: 'none', stroke: colour, 'stroke-width': 1.5, 'stroke-opacity': 0.75 }));
  }
  if (!many || !joined) for (const point of curve.points) group.append(...bars(point, curve, frame));
  return group;
}

/** Pixel of an end of an interval; the edge of the panel if it is open or not positive on a logarithmic axis. */
function endPixel(value: number, frame: Frame, edge: number): number {
  if (!Number.isFinite(value) || (frame.y.log && value <= 0)) return edge;
  return Math.min(Math.max(frame.y.toPixel(value), frame.top - 9), frame.bottom + 9);
}

function band(points: Point[], frame: Frame, colour: string): SVGElement {
  const sides = points.filter((point) => Number.isFinite(point.low) && Number.isFinite(point.high));
  const upper = sides.map((point) => [frame.x.toPixel(point.x), endPixel(point.high, frame, frame.top)] as const);
  const lower = sides.map((point) => [frame.x.toPixel(point.x), endPixel(point.low, frame, frame.bottom)] as const);
  const d = upper.length > 1 ? `${path([...upper, ...lower.reverse()])}Z` : '';
  return svg('path', { d, fill: colour, 'fill-opacity': 0.13, stroke: 'none' });
}

/** A thin bar with caps over the interval, and a thick one over ± one standard deviation. */
function bars(point: Point, curve: Curve, frame: Frame): SVGElement[] {
  if (!Number.isFinite(point.x) || !Number.isFinite(point.y)) return [];
  const x = positionOf(point, curve, frame);
  const colour = colourOf(curve.style);
  const parts: SVGElement[] = [];
  const vertical = (low: number, high: number, width: number, opacity: number) => {
    const d = `M${x} ${endPixel(low, frame, frame.bottom)}V${endPixel(high, frame, frame.top)}`;
    parts.push(svg('path', { d, stroke: colour, 'stroke-width': width, 'stroke-opacity': opacity, fill: 'none' }));
  };
  if (point.spread > 0) vertical(point.y - point.spread, point.y + point.spread, 6, 0.25);
  if (!Number.isFinite(point.low) && !Number.isFinite(point.high)) return parts;
  vertical(point.low, point.high, 1.3, 0.9);
  for (const end of [point.low, point.high]) {
    if (!Number.isFinite(end) || (frame.y.log && end <= 0)) continue;
    const d = `M${x - 4} ${frame.y.toPixel(end)}h8`;
    parts.push(svg('path', { d, stroke: colour, 'stroke-width': 1.3, 'stroke-opacity': 0.9, fill: 'none' }));
  }
  return parts;
}

/**
 * The points of a curve, each an element with its row index; those without a value are crosses at the bottom of the
 * panel. Points without an x position are returned to the caller.
 */
export function drawPoints(
  curve: Curve,
  frame: Frame,
  panel: Panel,
): { elements: SVGElement[]; spots: Spot[]; unplaced: Point[] } {
  const elements: SVGElement[] = [];
  const spots: Spot[] = [];
  const unplaced: Point[] = [];
  const size = curve.points.length > MANY_POINTS && panel.joined ? 1.6 : 4;
  for (const point of curve.points) {
    if (!Number.isFinite(point.x)) {
      unplaced.push(point);
      continue;
    }
    const x = positionOf(point, curve, frame);
    const has = Number.isFinite(point.y);
    const exact = has ? frame.y.toPixel(point.y) : frame.floor;
    const y = Math.min(Math.max(exact, frame.top + 8), frame.bottom - 2);
    const beyond = has && (exact < frame.top - 1 || exact > frame.bottom + 1);
    const element = beyond
      ? arrow(curve.style, x, y, exact < frame.top)
      : has
        ? marker(curve.style, x, exact, size, point.someExcluded)
        : cross(curve.style, x, y);
    const shown = beyond || !has ? y : exact;
    if (has && point.movesWithStep) elements.push(ring(curve.style, x, shown, size));
    elements.push(tagged(element, point, curve, has));
    spots.push({ x, y: shown, point, curve, panel });
  }
  return { elements, spots, unplaced };
}

/** Tags an element with its row and column. */
export function tagged(element: SVGElement, point: Point, curve: Curve, has: boolean): SVGElement {
  element.setAttribute('data-row', String(point.row));
  element.setAttribute('data-column', curve.column.name);
  if (!has) element.setAttribute('data-missing', '');
  return element;
}
