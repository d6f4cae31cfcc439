/** A dialog with one bed, as large as the screen allows; arrow keys go to the next bed. */
import { numberOf } from '../answers.ts';
import { numberText } from '../format/number.ts';
import { capital, proseText, settingsText, valueWithUnit } from '../format/words.ts';
import { drawBed } from '../plot/bed.ts';
import { type Bed, type Context, numberOfRun } from './context.ts';
import { html } from './html.ts';
import { goToRun } from './runs.ts';

/** "Amplitude = 30 rad/τ. Size: 55.1 beads. Run 17 at 50 τ." */
export function bedWords({ snapshot, frame }: Bed, context: Context): string {
  const { observable } = context.data.answers;
  const value = numberOf(snapshot.value);
  const part =
    frame.width < frame.side_x
      ? `The middle ${valueWithUnit(numberText(frame.width), 'sigma')} of a bed of ${frame.bead_count} beads`
      : '';
  const sentences = [
    capital(settingsText(snapshot.at, context.axes)),
    Number.isFinite(value) ? `Size: ${valueWithUnit(numberText(value), observable.unit)}` : '',
    `Run ${numberOfRun(snapshot.run)} at ${valueWithUnit(numberText(frame.time), 'tau')}`,
    part,
  ];
  return proseText(`${sentences.filter(Boolean).join('. ')}.`);
}

/** Adds the dialog to the page and lets the context open it. */
export function largeBed(context: Context): HTMLDialogElement {
  const picture = html('div', { class: 'large-picture' });
  const words = html('p', { 'aria-live': 'polite' });
  const button = (text: string, act: () => void) => {
    const made = html('button', { type: 'button' }, text);
    made.addEventListener('click', act);
    return made;
  };
  const all = [...context.beds, ...context.selected];
  let at = 0;
  const show = (i: number) => {
    at = (i + all.length) % all.length;
    const bed = all[at]!;
    const size = Math.max(240, Math.min(innerWidth - 48, innerHeight - 190, 900));
    picture.replaceChildren(drawBed(bed.frame, proseText(capital(bed.snapshot.caption)), size));
    words.textContent = `${bedWords(bed, context)} ${proseText(capital(bed.snapshot.caption))}.`;
  };
  const dialog = html(
    'dialog',
    { class: 'large', 'aria-label': 'Bed' },
    picture,
    words,
    html(
      'div',
      { class: 'tools' },
      button('Previous bed', () => show(at - 1)),
      button('Next bed', () => show(at + 1)),
      button('Go to its run', () => {
        dialog.close();
        goToRun(numberOfRun(all[at]!.snapshot.run));
      }),
      button('Close', () => dialog.close()),
    ),
  );
  dialog.addEventListener('keydown', (event) => {
    if (event.key === 'ArrowRight') show(at + 1);
    if (event.key === 'ArrowLeft') show(at - 1);
  });
  dialog.addEventListener('click', (event) => {
    if (event.target === dialog) dialog.close();
  });
  context.showBed = (bed) => {
    show(all.indexOf(bed));
    dialog.showModal();
  };
  return dialog;
}
