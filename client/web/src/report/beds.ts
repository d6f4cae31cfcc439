/** Selected frames of beds. */
import { capital, proseText } from '../format/words.ts';
import { drawBed } from '../plot/bed.ts';
import type { Bed, Context } from './context.ts';
import { saveButtons } from './figure.ts';
import { type Child, html } from './html.ts';
import { bedWords } from './large_bed.ts';

/** Pixels; two stand side by side on most screens and on paper. */
const LARGEST = 400;

function picture(bed: Bed, number: number, context: Context): HTMLElement {
  const title = proseText(capital(bed.snapshot.caption));
  const drawn = drawBed(bed.frame, title, LARGEST);
  return html(
    'figure',
    { class: 'bed', 'data-run': bed.snapshot.run },
    html('h3', {}, title),
    drawn,
    html('figcaption', {}, bedWords(bed, context)),
    html('div', { class: 'tools' }, ...saveButtons(title, `bed_${number}`, () => drawn)),
  );
}

/** The section with the selected frames. */
export function bedsOf(context: Context): Child[] {
  if (context.selected.length === 0) return [];
  return [
    html(
      'section',
      { id: 'beds', 'aria-labelledby': 'heading-beds' },
      html('h2', { id: 'heading-beds' }, 'Selected frames'),
      html('div', { class: 'beds' }, ...context.selected.map((bed, i) => picture(bed, i + 1, context))),
    ),
  ];
}
