/** The quantities of an answer, with interval, confidence, realizations and notes. */
import { type Answer, type Axis, type Quantity, numberOf } from '../answers.ts';
import { intervalText, numberText } from '../format/number.ts';
import { nameText, proseText, settingsText, unitText } from '../format/words.ts';
import { type Child, definitions, html, table, unfold } from './html.ts';

const HEADS = ['Quantity', 'Where', 'Value', 'Confidence', 'Realizations', 'Note'];

/** "95 %"; a confidence of 0 marks a grid bracket. */
function confidenceText(quantity: Quantity): string {
  if (quantity.low === undefined && quantity.high === undefined) return '';
  const confidence = numberOf(quantity.confidence);
  return confidence > 0 ? `${numberText(100 * confidence)} %` : 'grid bracket';
}

function row(quantity: Quantity, axes: Axis[]): Child[] {
  const where = [settingsText(quantity.at, axes), quantity.label].filter(Boolean).join('; ');
  const [value, low, high] = [quantity.value, quantity.low, quantity.high].map(numberOf) as [number, number, number];
  const starts = quantity.trial_count > 0 ? String(quantity.trial_count) : '';
  return [
    nameText(quantity.name),
    where === '' ? '' : html('span', { class: 'where' }, proseText(where)),
    html('span', { class: 'value' }, html('b', {}, intervalText(value, low, high)), ` ${unitText(quantity.unit)}`),
    confidenceText(quantity),
    starts,
    quantity.note === '' ? '' : html('span', { class: 'note' }, proseText(quantity.note)),
  ];
}

/** One entry per name and definition. */
function meanings(quantities: Quantity[]) {
  const byName = new Map(quantities.map((quantity) => [`${quantity.name} ${quantity.definition}`, quantity]));
  return [...byName.values()].map((quantity) => ({ ...quantity, name: nameText(quantity.name) }));
}

export function quantitiesOf(answer: Answer, axes: Axis[]): HTMLElement[] {
  if (answer.quantities.length === 0) return [];
  const rows = answer.quantities.map((quantity) => row(quantity, axes));
  // Omits empty columns.
  const kept = HEADS.map((_, i) => i).filter((i) => rows.some((cells) => cells[i] !== ''));
  const caption = `Numbers: ${answer.title}`;
  const numbers = table(
    caption,
    kept.map((i) => HEADS[i]!),
    rows.map((cells) => kept.map((i) => cells[i]!)),
  );
  return [numbers, unfold('Definitions and methods', 'meanings', () => [definitions(meanings(answer.quantities))])];
}
