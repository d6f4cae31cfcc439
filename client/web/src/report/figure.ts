/** A figure of the report: the plot, its caption, its data on demand, and buttons that save it. */
import { type Axis, type Plot, numberOf } from '../answers.ts';
import { numberText } from '../format/number.ts';
import { fieldText, withUnit } from '../format/words.ts';
import { panelsOf } from '../plot/curves.ts';
import { drawMap, mapPanel } from '../plot/heat.ts';
import { interactive } from '../plot/hover.ts';
import { drawPlot, type Figure } from '../plot/plot.ts';
import { savePdf, saveSvg } from '../plot/save.ts';
import { definitions, html, table, unfold } from './html.ts';

/** Min and max width of a figure in pixels; figures are redrawn when the width of the page changes. */
const LEAST_WIDTH = 300;
const LARGEST_WIDTH = 860;

/** Explains the symbols that occur in a plot. */
export function caption(plot: Plot): string {
  const points = panelsOf(plot).flatMap((panel) => panel.curves.flatMap((curve) => curve.points));
  const roles = new Set(plot.columns.map((column) => column.role));
  const sentences = [
    roles.has('ROLE_LOW') ? 'Thin bars or pale bands: interval.' : '',
    roles.has('ROLE_SPREAD') ? 'Thick pale bars: ± one standard deviation.' : '',
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
  ];
  return sentences.filter(Boolean).join(' ');
}

/** Fits a figure to the available width. */
function fitted(draw: (width: number) => Figure, title: string, onDrawn: (figure: Figure) => void): HTMLElement {
  const room = html('div', { class: 'room' });
  let drawn = 0;
  const fit = () => {
    const width = Math.round(Math.min(LARGEST_WIDTH, Math.max(LEAST_WIDTH, room.clientWidth)));
    if (room.clientWidth === 0 || width === drawn) return;
    drawn = width;
    const figure = draw(width);
    onDrawn(figure);
    room.replaceChildren(interactive(figure, title));
  };
  new ResizeObserver(fit).observe(room);
  return room;
}

function dataOf(plot: Plot): HTMLElement[] {
  const names = plot.columns.map((column) => withUnit(fieldText(column.name), column.unit));
  const rows = plot.rows.map((row) => [
    ...row.values.map((value) => (Number.isNaN(numberOf(value)) ? '–' : numberText(numberOf(value), 5))),
    row.label,
    row.mark,
  ]);
  const numeric = plot.columns.map(() => true);
  const meanings = plot.columns.map((column, i) => ({ ...column, name: names[i]! }));
  return [table(`Data: ${plot.title}`, [...names, 'label', 'mark'], rows, numeric), definitions(meanings)];
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

function figure(plot: Plot, title: string, name: string, words: string, draw: (width: number) => Figure): HTMLElement {
  let shown: Figure | undefined;
  return html(
    'figure',
    { 'data-plot': name, id: `plot-${name}` },
    html('h3', {}, title),
    fitted(draw, title, (made) => (shown = made)),
    html('figcaption', {}, words),
    html(
      'div',
      { class: 'tools' },
      ...saveButtons(title, name, () => shown?.element),
      unfold('Data and definitions', 'data', () => dataOf(plot)),
    ),
  );
}

/** The figures of a plot: as curves, and as a map if it is one quantity over two axes. */
export function figuresOf(plot: Plot, axes: Axis[]): HTMLElement[] {
  if (plot.rows.length === 0 || panelsOf(plot).length === 0) return [];
  const figures = [figure(plot, plot.title, plot.name, caption(plot), (width) => drawPlot(plot, width))];
  const panel = mapPanel(plot, axes);
  if (panel) {
    const words = 'One cell per point; dashed cells have no value and state the reason.';
    figures.push(
      figure(plot, `${plot.title}, as a map`, `${plot.name}_as_map`, words, (width) =>
        drawMap(plot, panel, axes, width),
      ),
    );
  }
  return figures;
}
