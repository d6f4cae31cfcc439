/** Names of the schema as text for users. */
import { type Axis, type AxisSetting, numberOf } from '../answers.ts';
import { numberText } from './number.ts';

const GREEK: Record<string, string> = { tau: 'τ', sigma: 'σ', epsilon: 'ε', zeta: 'ζ' };

/** rad/τ from rad/tau. */
export function unitText(unit: string): string {
  return unit.replace(/[a-z]+/g, (word) => GREEK[word] ?? word);
}

/** A sentence of the server with Greek letters for its units, as elsewhere in a report. */
export function proseText(sentence: string): string {
  return sentence.replace(/\b(tau|sigma|epsilon)\b/g, (word) => GREEK[word]!);
}

/** With a capital letter. */
export function capital(words: string): string {
  return words.charAt(0).toUpperCase() + words.slice(1);
}

/** "rise time" from rise_time. */
export function nameText(name: string): string {
  return name.replaceAll('_', ' ');
}

/** "amplitude" from drive.sine.amplitude; "amplitude of stage 2" from schedule.stages[1].step.amplitude. */
export function fieldText(field: string): string {
  const last = nameText(field.slice(field.lastIndexOf('.') + 1));
  const stage = /stages\[(\d+)\]/.exec(field);
  return stage ? `${last} of stage ${Number(stage[1]) + 1}` : last;
}

/** "amplitude [rad/τ]"; only the name if there is no unit. */
export function withUnit(name: string, unit: string): string {
  return unit === '' ? name : `${name} [${unitText(unit)}]`;
}

/** "46.8 beads" with a non-breaking space; only the value if there is no unit. */
export function valueWithUnit(value: string, unit: string): string {
  return unit === '' ? value : `${value}\u00a0${unitText(unit)}`;
}

/** "frequency = 0.5 cycles/τ, amplitude = 18 rad/τ". */
export function settingsText(settings: AxisSetting[], axes: Axis[]): string {
  return settings
    .map((setting) => {
      const unit = axes.find((axis) => axis.field === setting.field)?.unit ?? '';
      return `${fieldText(setting.field)} = ${valueWithUnit(numberText(numberOf(setting.value)), unit)}`;
    })
    .join(', ');
}

/** "1 run", "3 runs". */
export function plural(count: number, noun: string): string {
  return `${count} ${noun}${count === 1 ? '' : 's'}`;
}

/** "25 to 30, 33" from the names of runs. */
export function runsText(names: string[]): string {
  const numbers = names.map((name) => Number(name.slice(name.lastIndexOf('/') + 1))).sort((a, b) => a - b);
  const parts: string[] = [];
  for (let i = 0; i < numbers.length; ) {
    let end = i;
    while (numbers[end + 1] === numbers[end]! + 1) ++end;
    parts.push(end > i ? `${numbers[i]} to ${numbers[end]}` : `${numbers[i]}`);
    i = end + 1;
  }
  return parts.join(', ');
}
