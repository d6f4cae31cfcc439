/** Real beds on the plane of the axes of a study: small pictures that open large. */
import { type AxisSetting, numberOf } from '../answers.ts';
import { numberText } from '../format/number.ts';
import { capital, fieldText, proseText, settingsText, valueWithUnit, withUnit } from '../format/words.ts';
import { drawThumbnail } from '../plot/bed.ts';
import { type Bed, type Context } from './context.ts';
import { type Child, html } from './html.ts';

function valueAt(settings: AxisSetting[], field: string): number {
  return numberOf(settings.find((setting) => setting.field === field)?.value);
}

/** A small picture of a bed that opens large. */
function small(bed: Bed, context: Context, words: string): HTMLElement {
  const size = numberOf(bed.snapshot.value);
  const about = Number.isFinite(size) ? `${numberText(size, 3)}` : '';
  const made = html(
    'button',
    { type: 'button', class: 'small-bed', 'aria-label': `Show the bed large: ${words}` },
    drawThumbnail(bed.frame),
    ...(about === '' ? [] : [html('span', {}, about)]),
  );
  made.addEventListener('click', () => context.showBed(bed));
  return made;
}

/** Values of one axis that have beds, in order. */
function valuesOf(beds: Bed[], field: string): number[] {
  return [...new Set(beds.map(({ snapshot }) => valueAt(snapshot.at, field)))].sort((a, b) => a - b);
}

/** The settings apart from those of one field, as a key and as words. */
function others(bed: Bed, field: string): AxisSetting[] {
  return bed.snapshot.at.filter((setting) => setting.field !== field);
}

function noBed(context: Context, settings: AxisSetting[]): string {
  const runs = context.runsAt(settings);
  return runs.length === 0 ? '' : runs.every((run) => run.state === 'unstable') ? 'unstable' : 'no frame';
}

/** A table of beds: x along its columns, the other axes along its rows, largest first. */
function planeOf(context: Context, x: string): HTMLElement {
  const { beds, axes } = context;
  const columns = valuesOf(
    context.data.runs.length > 0 && beds.length < 64
      ? context.data.runs.map((run) => ({ snapshot: { at: context.settingsOf(run) } }) as Bed)
      : beds,
    x,
  );
  const rows = new Map<string, AxisSetting[]>();
  for (const bed of beds) rows.set(JSON.stringify(others(bed, x).map((at) => numberOf(at.value))), others(bed, x));
  const ordered = [...rows.values()].sort((a, b) => numberOf(b[0]?.value) - numberOf(a[0]?.value));
  const unit = axes.find((axis) => axis.field === x)?.unit ?? '';
  const side = axes.filter((axis) => axis.field !== x);
  const corner = side.map((axis) => withUnit(fieldText(axis.field), axis.unit)).join(', ');
  const body = ordered.map((row) =>
    html(
      'tr',
      {},
      html('th', { scope: 'row' }, row.map((at) => numberText(numberOf(at.value))).join(', ')),
      ...columns.map((value) => {
        const settings = [...row, { field: x, value }];
        const bed = context.bedAt(settings);
        return html(
          'td',
          {},
          bed ? small(bed, context, settingsText(bed.snapshot.at, axes)) : noBed(context, settings),
        );
      }),
    ),
  );
  const foot = html(
    'tr',
    {},
    html('td', {}),
    ...columns.map((value) => html('th', { scope: 'col' }, numberText(value))),
  );
  const along = html('p', { class: 'axis-name' }, `${withUnit(fieldText(x), unit)} →`);
  const table = html('table', { class: 'plane' }, html('tbody', {}, ...body), html('tfoot', {}, foot));
  const label = `Beds by ${[fieldText(x), ...side.map((axis) => fieldText(axis.field))].join(' and ')}`;
  return html(
    'div',
    { class: 'plane-holder' },
    html('p', { class: 'axis-name' }, `↑ ${corner}`),
    html('div', { class: 'plane-scroll', tabindex: '0', role: 'region', 'aria-label': label }, table),
    along,
  );
}

/** Beds in a row that wraps, each with its words. */
function stripOf(beds: Bed[], context: Context, wordsOf: (bed: Bed) => string): HTMLElement {
  const items = beds.map((bed) => html('li', {}, small(bed, context, wordsOf(bed)), html('p', {}, wordsOf(bed))));
  return html('ul', { class: 'strip' }, ...items);
}

function picturesOf(context: Context, x: string): HTMLElement {
  if (context.beds.length < 2) {
    return stripOf(context.selected, context, ({ snapshot }) => proseText(capital(snapshot.caption)));
  }
  if (context.axes.length > 1) return planeOf(context, x);
  const [axis] = context.axes;
  const value = ({ snapshot }: Bed) => valueWithUnit(numberText(valueAt(snapshot.at, axis!.field)), axis!.unit);
  return html(
    'div',
    {},
    html('p', { class: 'axis-name' }, `By ${fieldText(axis!.field)}:`),
    stripOf(context.beds, context, value),
  );
}

/** Beds for the first screen: by point if there are several, else the selected frames. */
export function bedsBeside(context: Context, x: string): Child[] {
  const byPoint = context.beds.length > 1;
  if (!byPoint && context.selected.length === 0) return [];
  const age = context.beds[0]?.frame.time ?? 0;
  const when = byPoint ? ` at ${valueWithUnit(numberText(age), 'tau')}` : '';
  const unit = context.data.answers.observable.unit;
  const title = byPoint ? `Beds${when}, with the size${unit === '' ? '' : ` in ${unit}`}` : 'Beds';
  return [
    html(
      'section',
      { class: 'beds-beside', 'aria-labelledby': 'beds-beside' },
      html('h2', { id: 'beds-beside' }, title),
      picturesOf(context, x),
      html('p', { class: 'hint' }, 'Blue: spinners; grey: passive beads. Select a bed to see it large.'),
    ),
  ];
}
