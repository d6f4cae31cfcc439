/** Selected frames of beds. */
import { type Axis, type Frame, type ReportData, type Snapshot, numberOf } from '../answers.ts';
import { numberText } from '../format/number.ts';
import { capital, proseText, settingsText, valueWithUnit } from '../format/words.ts';
import { drawBed } from '../plot/bed.ts';
import { saveButtons } from './figure.ts';
import { type Child, html } from './html.ts';

/** Pixels; two stand side by side on most screens and on paper. */
const LARGEST = 400;

/** "Amplitude = 30 rad/τ. Size: 55.1 beads. Run 17 at 50 τ." */
function words(snapshot: Snapshot, frame: Frame, data: ReportData, axes: Axis[]): string {
  const { unit } = data.answers.observable;
  const value = numberOf(snapshot.value);
  const part =
    frame.width < frame.side_x
      ? `The middle ${valueWithUnit(numberText(frame.width), 'sigma')} of a bed of ${frame.bead_count} beads`
      : '';
  const sentences = [
    capital(settingsText(snapshot.at, axes)),
    Number.isFinite(value) ? `Size: ${valueWithUnit(numberText(value), unit)}` : '',
    `Run ${snapshot.run.slice(snapshot.run.lastIndexOf('/') + 1)} at ${valueWithUnit(numberText(frame.time), 'tau')}`,
    part,
  ];
  return proseText(`${sentences.filter(Boolean).join('. ')}.`);
}

function picture(snapshot: Snapshot, frame: Frame, number: number, data: ReportData): HTMLElement {
  const title = proseText(capital(snapshot.caption));
  const drawn = drawBed(frame, title, LARGEST);
  return html(
    'figure',
    { class: 'bed', 'data-run': snapshot.run },
    html('h3', {}, title),
    drawn,
    html('figcaption', {}, words(snapshot, frame, data, data.answers.axes)),
    html('div', { class: 'tools' }, ...saveButtons(title, `bed_${number}`, () => drawn)),
  );
}

/** The section with the available frames. */
export function bedsOf(data: ReportData): Child[] {
  const pictures = (data.answers.snapshots ?? []).flatMap((snapshot, i) => {
    const frame = data.frames[i];
    return frame ? [picture(snapshot, frame, i + 1, data)] : [];
  });
  if (pictures.length === 0) return [];
  return [
    html(
      'section',
      { id: 'beds', 'aria-labelledby': 'heading-beds' },
      html('h2', { id: 'heading-beds' }, 'Selected frames'),
      html('div', { class: 'beds' }, ...pictures),
    ),
  ];
}
