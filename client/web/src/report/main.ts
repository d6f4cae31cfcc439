/** Fills the page from the data that the client inserted. */
import type { ReportData } from '../answers.ts';
import { answerSection, inShort, unanswered } from './answer.ts';
import { bedsOf } from './beds.ts';
import { headOf } from './head.ts';
import { FILL, html } from './html.ts';

/** Opens the short collapsible elements for printing. */
function unfoldForPrint(): void {
  let opened: HTMLDetailsElement[] = [];
  addEventListener('beforeprint', () => {
    opened = [
      ...document.querySelectorAll<HTMLDetailsElement>('details.meanings:not([open]), details.study-file:not([open])'),
    ];
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
  const { answers, title, study, axes } = data.answers;
  const answered = answers.filter((answer) => answer.why_not === '');
  document.title = title || study;
  page.append(
    ...headOf(data),
    ...inShort(answered),
    ...bedsOf(data),
    ...answered.map((answer) => answerSection(answer, axes)),
    ...unanswered(answers.filter((answer) => answer.why_not !== '')),
    html(
      'footer',
      {},
      'All numbers are in reduced units: lengths in bead diameters σ, energies in ε, times in τ. The same numbers are in this folder as CSV files and answers.json. To make a PDF, print this page to a file.',
    ),
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
