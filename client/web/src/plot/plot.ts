/** Draws a figure with the panels of a plot. */
import type { Plot } from '../answers.ts';
import { drawAxes, leftRoom, xLabel, yLabel } from './axes.ts';
import { type Panel, panelsOf, type Point } from './curves.ts';
import { drawLegend } from './legend.ts';
import { drawLevels, markValues } from './levels.ts';
import { cross, drawLines, drawPoints, type Frame, type Spot, tagged } from './marks.ts';
import { makeScale } from './scale.ts';
import { drawSingles, type Singles, singleValues } from './singles.ts';
import { drawStages, stagesRoom } from './stages.ts';
import { FONT, svg, text, TEXT_SIZE, wrap } from './svg.ts';

/** A drawn figure with its interactive points. */
export interface Figure {
  element: SVGElement;
  width: number;
  height: number;
  spots: Spot[];
}

/** How a reader wants to see a plot. */
export interface View {
  /** Logarithmic axes or not; by default as the data ask. */
  logX?: boolean | undefined;
  logY?: boolean | undefined;
  /** Names of curves that are switched off. */
  hidden?: ReadonlySet<string>;
  /** Height of a panel in pixels. */
  height?: number | undefined;
  /** Whether the drawing has its legend, or the page shows it. */
  legend?: boolean;
  /** Panels share their ranges. */
  shared?: boolean;
  /** The single realizations behind the means. */
  singles?: Singles | undefined;
}

const PANEL_HEIGHT = 250;
/** Min width in pixels of panels placed side by side. */
const LEAST_PANEL_WIDTH = 330;
const GAP = 24;

let figureCount = 0;

/** The SVG element of a figure, with title and description for screen readers. */
export function figureElement(
  title: string,
  description: string,
  width: number,
  height: number,
  parts: SVGElement[],
): SVGElement {
  const id = `figure-${++figureCount}`;
  return svg(
    'svg',
    {
      xmlns: 'http://www.w3.org/2000/svg',
      width,
      height,
      viewBox: `0 0 ${width} ${Math.ceil(height)}`,
      role: 'img',
      'aria-labelledby': `${id}-title ${id}-description`,
      'font-family': FONT,
    },
    [
      svg('title', { id: `${id}-title` }, [title]),
      svg('desc', { id: `${id}-description` }, [description]),
      svg('rect', { width, height: Math.ceil(height), fill: '#ffffff' }),
      ...parts,
    ],
  );
}

/** Text description of a plot. */
export function describe(panels: Panel[]): string {
  return panels
    .map((panel) => {
      const count = panel.curves.reduce((sum, curve) => sum + curve.points.length, 0);
      const curves =
        panel.curves.length > 1 ? `, ${panel.curves.length} curves (${panel.legendTitle || 'by quantity'})` : '';
      const title = panel.title === '' ? '' : `${panel.title}: `;
      return `${title}${yLabel(panel)} against ${xLabel(panel)}${curves}, ${count} points.`;
    })
    .join(' ');
}

/** The panels of a plot without the curves that are switched off. */
function shownPanels(plot: Plot, view: View): Panel[] {
  return panelsOf(plot).map((panel) => ({
    ...panel,
    curves: panel.curves.filter((curve) => !view.hidden?.has(curve.name)),
  }));
}

export function drawPlot(plot: Plot, width: number, view: View = {}): Figure {
  const panels = shownPanels(plot, view);
  const columns = panels.length > 1 && width >= 2 * LEAST_PANEL_WIDTH + GAP ? 2 : 1;
  const panelWidth = (width - GAP * (columns - 1)) / columns;
  const parts: SVGElement[] = [];
  const spots: Spot[] = [];
  let top = 4;
  for (let i = 0; i < panels.length; i += columns) {
    const row = panels
      .slice(i, i + columns)
      .map((panel, j) =>
        drawPanel(
          { plot, panel, view, withLevels: i + j === 0 || panel.title !== '', peers: view.shared ? panels : [panel] },
          j * (panelWidth + GAP),
          top,
          panelWidth,
        ),
      );
    for (const drawn of row) {
      parts.push(...drawn.parts);
      spots.push(...drawn.spots);
    }
    top = Math.max(...row.map((drawn) => drawn.bottom)) + 10;
  }
  return {
    element: figureElement(plot.title, describe(panels), width, top, parts),
    width,
    height: Math.ceil(top),
    spots,
  };
}

interface Drawn {
  parts: SVGElement[];
  spots: Spot[];
  bottom: number;
}

interface Part {
  plot: Plot;
  panel: Panel;
  view: View;
  withLevels: boolean;
  /** Panels with the same ranges. */
  peers: Panel[];
}

function drawPanel({ plot, panel, view, withLevels, peers }: Part, left: number, top: number, width: number): Drawn {
  const title = wrap(panel.title, width).map((line, i) => text(line, left, top + 14 + 18 * i, { 'font-weight': 600 }));
  const titled = panel.title === '' ? 0 : 18 * title.length + 4;
  const withCurves = view.legend ?? true;
  const legend = drawLegend(plot, panel, { curves: withCurves, levels: withLevels }, left, top + titled, width);
  const frame = makeFrame(
    plot,
    panel,
    peers,
    view,
    left,
    top + titled + legend.height + stagesRoom(plot, panel) + 10,
    width,
  );
  const lines = panel.curves.map((curve) => drawLines(curve, frame, panel.joined));
  const points = panel.curves.map((curve) => ({ curve, ...drawPoints(curve, frame, panel) }));
  const spots = points.flatMap((drawn) => drawn.spots);
  const clip = `panel-${figureCount + 1}-${Math.round(left)}-${Math.round(top)}`;
  const box = { x: frame.left, y: frame.top, width: frame.right - frame.left, height: frame.bottom - frame.top };
  const parts = [
    ...(panel.title === '' ? [] : title),
    ...legend.elements,
    svg('clipPath', { id: clip }, [svg('rect', box)]),
    ...drawStages(plot, panel, frame),
    drawAxes(panel, frame),
    svg('g', { 'clip-path': `url(#${clip})` }, [
      drawLevels(plot, panel, frame),
      ...drawSingles(view.singles, panel, frame),
      ...lines,
    ]),
    ...points.flatMap((drawn) => drawn.elements),
  ];
  let bottom =
    frame.bottom + 46 + 16 * (wrap(`${xLabel(panel)}, logarithmic`, frame.right - frame.left + 30).length - 1);
  const unplaced = points.flatMap(({ curve, unplaced: none }) => none.map((point) => ({ curve, point })));
  if (unplaced.length > 0) {
    bottom += 20;
    parts.push(...drawUnplaced(unplaced, panel, frame.left, bottom - 6, frame.right, spots));
  }
  return { parts, spots, bottom };
}

/** A line of crosses under the panel for points without an x position. */
function drawUnplaced(
  points: Pick<Spot, 'curve' | 'point'>[],
  panel: Panel,
  left: number,
  y: number,
  right: number,
  spots: Spot[],
) {
  const words = 'without position:';
  const start = left + 100;
  const step = Math.min(13, (right - start) / points.length);
  const crosses = points.map(({ curve, point }, i) => {
    const x = start + step * i;
    spots.push({ x, y, point, curve, panel });
    return tagged(cross(curve.style, x, y), point, curve, false);
  });
  return [text(words, left, y + 4, { 'font-size': 12, fill: '#5b6670' }), ...crosses];
}

/** The points that decide the range of an axis: sound ones, if there are two. */
export function decisive(points: Point[]): Point[] {
  const values = points.filter((point) => Number.isFinite(point.y));
  const sound = values.filter((point) => !point.someExcluded && !point.movesWithStep);
  return sound.length > 1 ? sound : values;
}

function makeFrame(
  plot: Plot,
  panel: Panel,
  peers: Panel[],
  view: View,
  left: number,
  top: number,
  width: number,
): Frame {
  const points = peers.flatMap((peer) => peer.curves.flatMap((curve) => curve.points));
  const deciding = decisive(points);
  const bottom = top + (view.height ?? PANEL_HEIGHT);
  const missing = points.some((point) => Number.isFinite(point.x) && !Number.isFinite(point.y));
  const levels = markValues(plot, panel, false);
  const ends = deciding.flatMap((point) => [point.low, point.high, point.y - point.spread, point.y + point.spread]);
  const y = makeScale(
    deciding.map((point) => point.y),
    [...ends, ...levels, ...singleValues(view.singles, panel)],
    [missing ? bottom - 20 : bottom, top],
    (view.height ?? 0) > PANEL_HEIGHT ? 9 : 6,
    { log: view.logY },
  );
  const inner: [number, number] = [left + leftRoom(y.ticks), left + width - 12];
  const positions = markValues(plot, panel, true);
  const ticks = Math.max(3, Math.min(8, Math.floor((inner[1] - inner[0]) / (5 * TEXT_SIZE))));
  const xs = points.map((point) => point.x);
  const x = makeScale([...xs, ...positions], [], inner, ticks, { log: view.logX, zeros: true });
  // Integer quantities, such as the index of a switch, get only integer ticks.
  if (panel.x.unit === '' && xs.every((value) => Number.isInteger(value))) x.ticks = x.ticks.filter(Number.isInteger);
  return { left: inner[0], right: inner[1], top, bottom, x, y, floor: bottom - 8 };
}
