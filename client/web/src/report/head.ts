/** Provenance of a report: study, versions, runs, runs left out, the study file. */
import { type Answer, type Answers, type ReportData, numberOf } from '../answers.ts';
import { numberText } from '../format/number.ts';
import { fieldText, nameText, plural, runsText, valueWithUnit } from '../format/words.ts';
import { type Child, html, unfold } from './html.ts';

const STATES = ['finished', 'unstable', 'failed', 'cancelled', 'running', 'queued'];

export function runsLine(answers: Answers): string {
  const counts = answers.run_counts;
  const parts = STATES.filter((state) => counts[`${state}_count`]! > 0).map(
    (state) => `${counts[`${state}_count`]} ${state}`,
  );
  return `${plural(counts.total_count ?? 0, 'run')}: ${parts.join(', ')}`;
}

/** "6 runs (unstable): 25 to 30". */
export function leftOutText(answer: Pick<Answer, 'left_out'>): string {
  const parts = answer.left_out.map(({ count, reason, runs }) => {
    const more = count > runs.length ? ' and more' : '';
    return `${plural(count, 'run')} (${reason}): ${runsText(runs)}${more}`;
  });
  return parts.join('; ');
}

/** Runs left out of any answer, each reason once. */
function allLeftOut(answers: Answers): string {
  const byReason = new Map(
    answers.answers.flatMap((answer) => answer.left_out).map((out) => [`${out.reason} ${out.count}`, out]),
  );
  return byReason.size === 0 ? 'nothing' : leftOutText({ left_out: [...byReason.values()] });
}

/** "2026-03-01 14:05 UTC" from the time of a JSON message. */
export function timeText(time: string | undefined): string {
  return time === undefined ? '' : `${time.slice(0, 10)} ${time.slice(11, 16)} UTC`;
}

function axesText(answers: Answers): string {
  return answers.axes
    .map(({ field, unit, values }) => {
      const numbers = values.map((value) => numberText(numberOf(value)));
      const list =
        numbers.length > 8
          ? `${numbers[0]} to ${numbers[numbers.length - 1]} (${numbers.length} values)`
          : numbers.join(', ');
      return `${fieldText(field)}: ${valueWithUnit(list, unit)}`;
    })
    .join('; ');
}

function optionsText(answers: Answers): string {
  return Object.entries(answers.options)
    .filter(([name, value]) => value !== '' && name !== 'observable')
    .map(([name, value]) => `${nameText(name)} ${value}`)
    .join(', ');
}

function facts(data: ReportData): [string, string][] {
  const { answers, study } = data;
  const submitted = [timeText(study.create_time), study.owner && `by ${study.owner}`].filter(Boolean).join(' ');
  const all: [string, string][] = [
    ['Study', answers.study],
    ['Submitted', submitted],
    ['Last run ended', timeText(study.end_time)],
    ['Labels', (study.labels ?? []).join(', ')],
    ['Note', study.note ?? ''],
    ['Report written', data.written],
    ['Software', `Gyrebox ${answers.software_version}`],
    ['Runs', runsLine(answers)],
    ['Left out of averages', allLeftOut(answers)],
    ['Axes', axesText(answers)],
    ['Size', `${nameText(answers.observable.name)}: ${answers.observable.definition}`],
    [
      'Seeds',
      'runs.csv in this folder lists the seeds of every run; the study file lists those of the study. The same seeds on the same kind of machine reproduce the same numbers.',
    ],
    ['Options', optionsText(answers)],
  ];
  return all.filter(([, words]) => words !== '');
}

/** Provenance: what the numbers rest on. */
export function provenance(data: ReportData): Child[] {
  const list = facts(data).flatMap(([name, words]) => [html('dt', {}, name), html('dd', {}, words)]);
  const file = unfold('The study file', 'study-file', () => [
    html('pre', { tabindex: '0', role: 'region', 'aria-label': 'The study file' }, data.study_file),
  ]);
  return [
    html(
      'section',
      { id: 'provenance', 'aria-labelledby': 'heading-provenance' },
      html('h2', { id: 'heading-provenance' }, 'Provenance'),
      html('dl', { class: 'facts' }, ...list),
      file,
    ),
  ];
}
