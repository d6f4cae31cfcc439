/** One question and its answer. */
import type { Answer } from '../answers.ts';
import { proseText } from '../format/words.ts';
import type { Context } from './context.ts';
import { figuresOf } from './figure.ts';
import { leftOutText } from './head.ts';
import { type Child, html } from './html.ts';
import { quantitiesOf } from './quantities.ts';

export function anchorOf(answer: Answer): string {
  return answer.topic.replace('TOPIC_', '').toLowerCase();
}

function cautionsOf(answer: Answer): HTMLElement[] {
  if (answer.cautions.length === 0) return [];
  const items = answer.cautions.map((words) => html('li', {}, proseText(words)));
  return [html('div', { class: 'caution' }, html('p', {}, html('strong', {}, 'Cautions')), html('ul', {}, ...items))];
}

function leftOutOf(answer: Answer): HTMLElement[] {
  return answer.left_out.length === 0 ? [] : [html('p', { class: 'left-out' }, `Left out: ${leftOutText(answer)}`)];
}

export function answerSection(answer: Answer, context: Context, shownAbove: string): HTMLElement {
  const heading = `heading-${anchorOf(answer)}`;
  return html(
    'section',
    { id: anchorOf(answer), 'aria-labelledby': heading },
    html('h2', { id: heading }, answer.title),
    html('p', { class: 'summary' }, proseText(answer.summary)),
    ...cautionsOf(answer),
    ...quantitiesOf(answer, context.axes),
    ...leftOutOf(answer),
    ...answer.plots.flatMap((plot) => figuresOf(plot, context, shownAbove)),
  );
}

/** Summaries of the answers, each with a link to the full answer. */
export function inShort(answers: Answer[]): Child[] {
  if (answers.length === 0) return [];
  const items = answers.flatMap((answer) => [
    html('dt', {}, html('a', { href: `#${anchorOf(answer)}` }, answer.title)),
    html('dd', {}, proseText(answer.summary)),
  ]);
  return [
    html(
      'section',
      { 'aria-labelledby': 'in-short' },
      html('h2', { id: 'in-short' }, 'In short'),
      html('dl', { class: 'in-short' }, ...items),
    ),
  ];
}

/** Questions without an answer, and why. */
export function unanswered(answers: Answer[]): Child[] {
  if (answers.length === 0) return [];
  const items = answers.flatMap((answer) => [
    html('dt', {}, answer.title),
    html('dd', {}, `No answer: ${answer.why_not}.`),
  ]);
  return [
    html(
      'section',
      { 'aria-labelledby': 'unanswered' },
      html('h2', { id: 'unanswered' }, 'Not answered by this study'),
      html('dl', {}, ...items),
    ),
  ];
}
