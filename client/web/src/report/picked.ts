/** From a chosen point to its runs, its bed and its series. */
import { type AxisSetting } from '../answers.ts';
import { linesOf } from '../plot/hover.ts';
import type { Spot } from '../plot/marks.ts';
import { type Context, numberOfRun } from './context.ts';
import { type Child, html } from './html.ts';
import { goToRun, runAnchor } from './runs.ts';

const MOST_RUNS = 24;

/** Settings of the axes at a point of a figure. */
function settingsOf({ point, curve, panel }: Spot, context: Context): AxisSetting[] {
  const fields = new Set(context.axes.map((axis) => axis.field));
  const all = [...curve.settings, { field: panel.x.name, value: point.x }];
  return all.filter((setting) => fields.has(setting.field));
}

function runLink(number: number): HTMLElement {
  const link = html('a', { href: `#${runAnchor(number)}` }, String(number));
  link.addEventListener('click', (event) => {
    event.preventDefault();
    goToRun(number);
  });
  return link;
}

export function showPicked(place: HTMLElement, spot: Spot, context: Context): void {
  const settings = settingsOf(spot, context);
  const own = /\/runs\/\d+$/.test(spot.point.label) ? [numberOfRun(spot.point.label)] : [];
  const numbers = own.length > 0 ? own : context.runsAt(settings).map((run) => run.number);
  const bed = own.length > 0 ? context.bedOfRun(own[0]!) : context.bedAt(settings);
  const parts: Child[] = [`${linesOf(spot).join('; ')}. `];
  if (numbers.length > 0) {
    parts.push(numbers.length === 1 ? 'Run ' : 'Runs ');
    numbers.slice(0, MOST_RUNS).forEach((number, i) => parts.push(i === 0 ? '' : ', ', runLink(number)));
    parts.push(numbers.length > MOST_RUNS ? ', \u2026 ' : ' ');
  }
  if (bed) {
    const button = html('button', { type: 'button' }, 'Bed');
    button.addEventListener('click', () => context.showBed(bed));
    parts.push(button);
  }
  context.choosePoint(settings);
  for (const [id, words] of [
    ['growth', 'size against time'],
    ['structure', 'S(k), g(r), cluster sizes'],
  ] as const) {
    if (document.getElementById(id)) parts.push(' ', html('a', { href: `#${id}` }, words));
  }
  place.replaceChildren(html('p', {}, ...parts));
}
