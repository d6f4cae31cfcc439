import { expect, test } from 'vitest';
import { fieldText, proseText, runsText, settingsText, unitText, withUnit } from '../src/format/words.ts';

test('fields are named by their last part, and stages are counted from 1', () => {
  expect(fieldText('drive.disorder.amplitude_spread')).toBe('amplitude spread');
  expect(fieldText('schedule.stages[1].step.amplitude')).toBe('amplitude of stage 2');
  expect(fieldText('size')).toBe('size');
});

test('units have Greek letters, words that hold their names do not', () => {
  expect(unitText('rad/tau')).toBe('rad/τ');
  expect(withUnit('spacing', 'sigma')).toBe('spacing [σ]');
  expect(withUnit('fraction', '')).toBe('fraction');
  expect(proseText('up to 28 rad/tau, tau_s')).toBe('up to 28 rad/τ, tau_s');
});

test('settings carry the unit of their axis', () => {
  const axes = [{ field: 'drive.sine.frequency', unit: 'cycles/tau', values: [0.5, 2] }];
  expect(settingsText([{ field: 'drive.sine.frequency', value: 0.5 }], axes)).toBe('frequency = 0.5\u00a0cycles/τ');
});

test('consecutive runs are named by the first and the last', () => {
  expect(runsText(['studies/1/runs/26', 'studies/1/runs/25', 'studies/1/runs/27', 'studies/1/runs/30'])).toBe(
    '25 to 27, 30',
  );
});
