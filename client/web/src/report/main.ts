/** Fills the page from the data that the client inserted. */
import type { ReportData } from '../answers.ts';
import { answerSection, inShort, unanswered } from './answer.ts';
import { bedsOf } from './beds.ts';
import { Context } from './context.ts';
import { provenance } from './head.ts';
import { filmOf } from './film.ts';
import { FILL, html } from './html.ts';
import { largeBed } from './large_bed.ts';
import { leadOf, mainOf } from './lead.ts';
import { runsSection } from './runs.ts';
import { seriesSections } from './structure.ts';

/** Opens the short collapsible elements for printing. */
function unfoldForPrint(): void {
  let opened: HTMLDetailsElement[] = [];
  addEventListener('beforeprint', () => {
    opened = [...document.querySelectorAll<HTMLDetailsElement>('details.meanings:not([open])')];
    for (const details of opened) {
      details.dispatchEvent(new Event(FILL));
      details.open = true;
    }
  });
  addEventListener('afterprint', () => {
    for (const details of opened) details.open = false;
  });
}

function show(data: ReportData, page: HTMLElement): void {
  const { answers, title, study } = data.answers;
  const context = new Context(data);
  const answered = answers.filter((answer) => answer.why_not === '');
  const first = mainOf(answers)?.plot.name ?? '';
  document.title = title || study;
  page.append(
    ...leadOf(context),
    ...inShort(answered),
    ...answered.map((answer) => answerSection(answer, context, first)),
    ...seriesSections(context),
    ...filmOf(context),
    ...bedsOf(context),
    ...runsSection(context),
    ...unanswered(answers.filter((answer) => answer.why_not !== '')),
    ...provenance(data),
    html(
      'footer',
      {},
      'Reduced units: lengths in bead diameters σ, energies in ε, times in τ. The same numbers are in this folder as CSV files, described in codebook.csv. To make a PDF, print this page to a file.',
    ),
    largeBed(context),
  );
  unfoldForPrint();
}

const text = document.getElementById('report-data')?.textContent ?? '';
const page = document.getElementById('report')!;
try {
  show(JSON.parse(text) as ReportData, page);
} catch (error) {
  page.append(html('p', { class: 'caution' }, 'This report cannot be shown: the data in this file cannot be read.'));
  throw error;
}
