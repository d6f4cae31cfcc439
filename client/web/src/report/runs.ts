/** The table of runs: where points of figures lead. */
import { numberText } from '../format/number.ts';
import { fieldText, withUnit } from '../format/words.ts';
import type { Context } from './context.ts';
import { type Child, html, table } from './html.ts';

export function runAnchor(number: number): string {
  return `run-${number}`;
}

/** Shows the table of runs and goes to the row of one. */
export function goToRun(number: number): void {
  const row = document.getElementById(runAnchor(number));
  const details = row?.closest('details');
  if (details) details.open = true;
  row?.scrollIntoView({ block: 'center' });
  row?.closest<HTMLElement>('.table')?.focus({ preventScroll: true });
  document.querySelectorAll('tr.chosen').forEach((other) => other.classList.remove('chosen'));
  row?.classList.add('chosen');
}

export function runsSection(context: Context): Child[] {
  const { runs } = context.data;
  if (runs.length === 0) return [];
  const heads = [
    'Run',
    ...context.axes.map((axis) => withUnit(fieldText(axis.field), axis.unit)),
    'Realization',
    'State',
    'Age [τ]',
    'Samples',
    'Note',
    'Bed',
  ];
  const rows = runs.map((run) => {
    const bed = context.bedOfRun(run.number);
    const button = html('button', { type: 'button', 'aria-label': `Show the bed of run ${run.number}` }, 'bed');
    if (bed) button.addEventListener('click', () => context.showBed(bed));
    return [
      String(run.number),
      ...run.at.map((value) => numberText(value)),
      String(run.trial),
      run.state,
      numberText(run.time),
      String(run.samples),
      run.note,
      bed ? button : '',
    ];
  });
  const made = table('Runs', heads, rows, [true]);
  made.querySelectorAll('tbody tr').forEach((row, i) => row.setAttribute('id', runAnchor(runs[i]!.number)));
  const more = context.data.answers.run_counts.total_count ?? 0;
  const all = more > runs.length ? ` The first ${runs.length} of ${more}.` : '';
  return [
    html(
      'section',
      { id: 'runs', 'aria-labelledby': 'heading-runs' },
      html('h2', { id: 'heading-runs' }, 'Runs'),
      html('details', { class: 'runs' }, html('summary', {}, `${runs.length} runs, one a row`), made),
      html('p', { class: 'source' }, `Seeds and devices: runs.csv; every sample: samples.csv.${all}`),
    ),
  ];
}
