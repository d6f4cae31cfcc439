/** The first screen: title, one sentence of answer, the figure, the beds beside it. */
import { type Answer, type Plot } from '../answers.ts';
import { proseText } from '../format/words.ts';
import { singlesOf } from '../plot/singles.ts';
import { bedsBeside } from './bed_map.ts';
import type { Context } from './context.ts';
import { plotFigure } from './figure.ts';
import { type Child, html } from './html.ts';
import { runsLine } from './head.ts';

/** The plot that answers a study first, by topic; and its column with the size of single runs. */
const FIRST = [
  { topic: 'TOPIC_MEMORY', plot: 'memory', column: 'last_plateau' },
  { topic: 'TOPIC_MAP', plot: 'map', column: 'size' },
  { topic: 'TOPIC_SWITCHING', plot: 'courses', column: '' },
];

export interface Main {
  answer: Answer;
  plot: Plot;
  column: string;
}

/** The answer and the plot that come first; none if the study has no plot. */
export function mainOf(answers: Answer[]): Main | undefined {
  for (const { topic, plot: name, column } of FIRST) {
    const answer = answers.find((one) => one.topic === topic && one.why_not === '');
    const plot = answer?.plots.find((one) => one.name === name && one.rows.length > 0);
    if (answer && plot) return { answer, plot, column };
  }
  const answer = answers.find((one) => one.why_not === '' && one.plots.some((plot) => plot.rows.length > 0));
  return answer && { answer, plot: answer.plots.find((plot) => plot.rows.length > 0)!, column: '' };
}

/** The first sentence: up to a full stop before a capital letter. */
export function firstSentence(text: string): string {
  const end = /\.\s+(?=[A-Z])/.exec(text);
  return end ? text.slice(0, end.index + 1) : text;
}

export function leadOf(context: Context): Child[] {
  const { answers } = context.data;
  const main = mainOf(answers.answers);
  const running = ['STATE_QUEUED', 'STATE_RUNNING', 'STATE_PAUSED'].includes(answers.state);
  const header = html(
    'header',
    {},
    html('h1', {}, answers.title || answers.study),
    ...(main ? [html('p', { class: 'answer' }, proseText(firstSentence(main.answer.summary)))] : []),
    ...(running
      ? [html('p', { class: 'caution' }, 'The study is still running: the answers will change as its runs end.')]
      : []),
  );
  const meta = html('p', { class: 'meta' }, `${answers.study}. ${runsLine(answers)}.`);
  if (!main) return [header, meta];
  const x = main.plot.columns.find((column) => column.role === 'ROLE_X')?.name ?? '';
  const figure = plotFigure(main.plot, context, {
    singles: main.column === '' ? undefined : singlesOf(main.column, context.plot('plateaus')),
    tall: true,
  });
  const beds = bedsBeside(context, context.axes.some((axis) => axis.field === x) ? x : (context.axes[0]?.field ?? ''));
  return [header, html('div', { class: `lead${beds.length > 0 ? ' two' : ''}` }, figure, ...beds), meta];
}
