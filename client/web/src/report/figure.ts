/** A figure of the report: the plot, its caption, its data on demand, and buttons that save it. */
import { type Plot, numberOf } from '../answers.ts';
import { numberText } from '../format/number.ts';
import { fieldText, withUnit } from '../format/words.ts';
import { panelsOf } from '../plot/curves.ts';
import { drawMap, mapPanel } from '../plot/heat.ts';
import { interactive } from '../plot/hover.ts';
import { MANY_POINTS, type Spot } from '../plot/marks.ts';
import { drawPlot, type Figure, type View } from '../plot/plot.ts';
import { savePdf, saveSvg } from '../plot/save.ts';
import type { Singles } from '../plot/singles.ts';
import type { Context } from './context.ts';
import { controlsOf, switchesOf } from './controls.ts';
import { showPicked } from './picked.ts';
import { definitions, html, table, unfold } from './html.ts';

/** Min and max width of a figure in pixels; figures are redrawn when the width of the page changes. */
const LEAST_WIDTH = 300;
const LARGEST_WIDTH = 860;
const TALL_WIDTH = 900;

/** "Thin bars: 95 % interval." by the definition of the lower end. */
export function intervalWords(plot: Plot, bands: boolean): string {
  const low = plot.columns.find((column) => column.role === 'ROLE_LOW');
  if (!low) return '';
  const confidence = /(\d+(?:\.\d+)?) % interval/.exec(low.definition)?.[1];
  const what = confidence
    ? `${confidence} % interval`
    : /standard error/.test(low.definition)
      ? '± one standard error'
      : 'interval';
  return `${bands ? 'Bands' : 'Thin bars'}: ${what}.`;
}

/** Explains the symbols that occur in a plot. */
export function caption(plot: Plot): string {
  const points = panelsOf(plot).flatMap((panel) => panel.curves.flatMap((curve) => curve.points));
  const many = panelsOf(plot).some(
    (panel) => panel.joined && panel.curves.some((curve) => curve.points.length > MANY_POINTS),
  );
  const roles = new Set(plot.columns.map((column) => column.role));
  const sentences = [
    intervalWords(plot, many),
    roles.has('ROLE_SPREAD') && !many ? 'Thick pale bars: ± one standard deviation.' : '',
    plot.marks.some((mark) => mark.vertical && (mark.low !== undefined || mark.high !== undefined))
      ? 'Bars across dashed lines: their intervals.'
      : '',
    panelsOf(plot).some((panel) => panel.curves.some((curve) => curve.shift !== 0))
      ? 'Points of several curves at the same position are drawn side by side.'
      : '',
    points.some((point) => !Number.isFinite(point.y))
      ? 'Crosses: points without a value, such as unstable ones; no line joins them.'
      : '',
    points.some((point) => point.mark !== '' && Number.isFinite(point.y))
      ? 'Hover for notes; hollow: some runs excluded.'
      : '',
    points.some((point) => point.movesWithStep && Number.isFinite(point.y))
      ? 'Ringed points, and framed cells in maps, move with the time step.'
      : '',
    points.some((point) => (point.movesWithStep || point.someExcluded) && Number.isFinite(point.y))
      ? 'Hollow and ringed points do not set the range of the axis; an arrow shows one beyond it.'
      : '',
  ];
  return sentences.filter(Boolean).join(' ');
}

/** Fits a figure to the available width; `redraw` draws it again. */
function fitted(
  draw: (width: number) => Figure,
  largest: number,
  show: (figure: Figure) => HTMLElement,
): { room: HTMLElement; redraw: () => void } {
  const room = html('div', { class: 'room' });
  let drawn = 0;
  const redraw = () => room.replaceChildren(show(draw(drawn)));
  const fit = () => {
    const width = Math.round(Math.min(largest, Math.max(LEAST_WIDTH, room.clientWidth)));
    if (room.clientWidth === 0 || width === drawn) return;
    drawn = width;
    redraw();
  };
  new ResizeObserver(fit).observe(room);
  return { room, redraw };
}

/** Max rows of a table of data; its CSV file has all. */
const MOST_ROWS = 200;

function dataOf(plot: Plot): HTMLElement[] {
  const names = plot.columns.map((column) => withUnit(fieldText(column.name), column.unit));
  const rows = plot.rows
    .slice(0, MOST_ROWS)
    .map((row) => [
      ...row.values.map((value) => (Number.isNaN(numberOf(value)) ? '–' : numberText(numberOf(value), 5))),
      row.label,
      row.mark,
    ]);
  const numeric = plot.columns.map(() => true);
  const meanings = plot.columns.map((column, i) => ({ ...column, name: names[i]! }));
  const more =
    plot.rows.length > MOST_ROWS ? [html('p', {}, `The first ${MOST_ROWS} rows; ${plot.name}.csv has all.`)] : [];
  return [table(`Data: ${plot.title}`, [...names, 'label', 'mark'], rows, numeric), ...more, definitions(meanings)];
}

/** Buttons that save the present drawing. */
export function saveButtons(title: string, name: string, drawn: () => SVGElement | undefined): HTMLElement[] {
  const button = (kind: string, save: (element: SVGElement, name: string) => void) => {
    const made = html('button', { type: 'button', 'aria-label': `Save as ${kind}: ${title}` }, `Save as ${kind}`);
    made.addEventListener('click', () => {
      const element = drawn();
      if (element) save(element, name);
    });
    return made;
  };
  return [button('SVG', saveSvg), button('PDF', savePdf)];
}

/** What a figure shows beside its plot. */
export interface Extras {
  singles?: Singles | undefined;
  /** Uses the height of the screen. */
  tall?: boolean;
  /** Logarithmic axes at first; by default as the data ask. */
  log?: boolean;
  /** Panels share their ranges. */
  shared?: boolean;
}

/** Heights of a panel on the first screen: what a title and an answer of a few lines leave. */
function tallHeight(width: number): number {
  return innerWidth < 600
    ? Math.max(190, Math.min(270, innerHeight - 560))
    : Math.max(260, Math.min(width * 0.72, innerHeight - 440));
}

function figure(
  parts: { plot: Plot; title: string; name: string; words: string; tall?: boolean },
  draw: (width: number, legend: boolean) => Figure,
  around: { before?: (redraw: () => void) => HTMLElement[]; pick?: (spot: Spot) => void; after?: HTMLElement[] } = {},
): HTMLElement {
  const { plot, title, name, words } = parts;
  let width = 0;
  const { room, redraw } = fitted(
    (given) => draw((width = given), false),
    parts.tall ? TALL_WIDTH : LARGEST_WIDTH,
    (made) => interactive(made, title, around.pick),
  );
  return html(
    'figure',
    { 'data-plot': name, id: `plot-${name}` },
    html(parts.tall ? 'h2' : 'h3', {}, title),
    ...(around.before?.(redraw) ?? []),
    room,
    ...(around.after ?? []),
    html('figcaption', {}, words),
    html(
      'div',
      { class: 'tools' },
      ...saveButtons(title, name, () => (width > 0 ? draw(width, true).element : undefined)),
      unfold('Data and definitions', 'data', () => dataOf(plot)),
    ),
  );
}

/** A figure of curves, with switches for its axes and its curves. */
export function plotFigure(plot: Plot, context: Context, extras: Extras = {}): HTMLElement {
  const hidden = new Set<string>();
  const view: View = {
    hidden,
    shared: extras.shared ?? false,
    singles: extras.singles,
    logX: extras.log,
    logY: extras.log,
  };
  const draw = (width: number, legend: boolean) => {
    const height = extras.tall ? tallHeight(width) : undefined;
    return drawPlot(plot, width, { ...view, height, legend: legend || switchesOf(plot).length === 0 });
  };
  const picked = html('div', { class: 'picked', 'aria-live': 'polite' });
  const before = (redraw: () => void) => [controlsOf(plot, view, hidden, redraw)];
  const pick = (spot: Spot) => showPicked(picked, spot, context);
  const words = [extras.singles ? 'Small dots: single realizations.' : '', caption(plot)].filter(Boolean).join(' ');
  const parts = { plot, title: plot.title, name: plot.name, words, tall: extras.tall ?? false };
  return figure(parts, draw, { before, pick, after: [picked] });
}

/** The figures of a plot: as curves, and as a map if it is one quantity over two axes. */
export function figuresOf(plot: Plot, context: Context, shownAbove = ''): HTMLElement[] {
  if (plot.rows.length === 0) return [];
  // Without a horizontal position there is nothing to draw against: its data are a table.
  if (panelsOf(plot).length === 0) {
    return [html('div', { 'data-plot': plot.name }, html('h3', {}, plot.title), ...dataOf(plot))];
  }
  const above = html('p', {}, html('a', { href: `#plot-${plot.name}` }, plot.title), ': the figure at the top.');
  const figures = [plot.name === shownAbove ? above : plotFigure(plot, context)];
  const panel = mapPanel(plot, context.axes);
  if (panel) {
    const words = 'One cell per point; dashed cells have no value and state the reason.';
    const parts = { plot, title: `${plot.title}, as a map`, name: `${plot.name}_as_map`, words };
    figures.push(figure(parts, (width) => drawMap(plot, panel, context.axes, width)));
  }
  return figures;
}
