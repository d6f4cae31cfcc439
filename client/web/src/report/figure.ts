/** A figure of the report: the plot, what is drawn how, its data on demand, and buttons that save it. */
import { type Axis, type Plot, numberOf } from '../answers.ts';
import { numberText } from '../format/number.ts';
import { fieldText, withUnit } from '../format/words.ts';
import { movesWithStep, panelsOf } from '../plot/curves.ts';
import { drawMap, mapPanel } from '../plot/heat.ts';
import { interactive } from '../plot/hover.ts';
import { drawPlot, type Figure } from '../plot/plot.ts';
import { savePdf, saveSvg } from '../plot/save.ts';
import { definitions, html, table, unfold } from './html.ts';

/** Figures are drawn anew where the page becomes wider or narrower; none is narrower or wider than this. */
const LEAST_WIDTH = 300;
const LARGEST_WIDTH = 860;

/** What is drawn how, in as far as this plot has it. */
export function caption(plot: Plot): string {
  const points = panelsOf(plot).flatMap((panel) => panel.curves.flatMap((curve) => curve.points));
  const roles = new Set(plot.columns.map((column) => column.role));
  const sentences = [
    roles.has('ROLE_LOW') ? 'Thin bars or pale bands reach over the interval.' : '',
    roles.has('ROLE_SPREAD') ? 'Thick pale bars reach one standard deviation to both sides.' : '',
    plot.marks.some((mark) => mark.vertical && (mark.low !== undefined || mark.high !== undefined))
      ? 'Bars across dashed lines are their intervals.'
      : '',
    panelsOf(plot).some((panel) => panel.curves.some((curve) => curve.shift !== 0))
      ? 'Points of several curves at the same place are drawn side by side.'
      : '',
    points.some((point) => !Number.isFinite(point.y))
      ? 'Crosses are points without a value, such as unstable ones: no line joins them.'
      : '',
    points.some((point) => point.mark !== '' && Number.isFinite(point.y))
      ? 'What is to be known of a point shows where it is pointed at; at hollow points some runs were left out.'
      : '',
    points.some((point) => movesWithStep(point) && Number.isFinite(point.y))
      ? 'Points with a ring, in maps cells with an inner frame, move with the time step.'
      : '',
  ];
  return sentences.filter(Boolean).join(' ');
}

/** Keeps a figure as wide as the room that it has. */
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

/** Buttons that save what is drawn when they are clicked. */
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

/** The figures of a plot: as curves, and as a map where it is one quantity over two axes. */
export function figuresOf(plot: Plot, axes: Axis[]): HTMLElement[] {
  if (plot.rows.length === 0 || panelsOf(plot).length === 0) return [];
  const figures = [figure(plot, plot.title, plot.name, caption(plot), (width) => drawPlot(plot, width))];
  const panel = mapPanel(plot, axes);
  if (panel) {
    const words = 'A cell for each point; cells without a value are dashed and say why.';
    figures.push(
      figure(plot, `${plot.title}, as a map`, `${plot.name}_as_map`, words, (width) =>
        drawMap(plot, panel, axes, width),
      ),
    );
  }
  return figures;
}
