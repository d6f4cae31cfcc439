/** Switches of a figure: one for each curve, which is its legend too, and one for each axis. */
import type { Plot } from '../answers.ts';
import { panelsOf } from '../plot/curves.ts';
import { curveSign } from '../plot/legend.ts';
import type { View } from '../plot/plot.ts';
import { canBeLog, wantsLog } from '../plot/scale.ts';
import { withUnit } from '../format/words.ts';
import { html } from './html.ts';

/** Whether the legend of a plot is in the page: it has one panel with several curves. */
export function hasSwitches(plot: Plot): boolean {
  const panels = panelsOf(plot);
  return panels.length === 1 && panels[0]!.curves.length > 1;
}

function curveSwitches(plot: Plot, hidden: Set<string>, redraw: () => void): HTMLElement[] {
  if (!hasSwitches(plot)) return [];
  const { curves, joined, legendTitle, x } = panelsOf(plot)[0]!;
  const field = plot.columns.find((column) => column.role === 'ROLE_CURVE' && column.name !== x.name);
  const title = legendTitle === '' || !field ? legendTitle : withUnit(legendTitle, field.unit);
  const buttons = curves.map((curve) => {
    const made = html(
      'button',
      { type: 'button', class: 'curve', 'aria-pressed': 'true', title: 'Show or hide this curve' },
      curveSign(curve.style, joined),
      curve.shortName,
    );
    made.addEventListener('click', () => {
      const off = !hidden.has(curve.name);
      // One curve stays: an empty figure shows nothing.
      if (off && hidden.size === curves.length - 1) return;
      if (off) hidden.add(curve.name);
      else hidden.delete(curve.name);
      made.setAttribute('aria-pressed', String(!off));
      redraw();
    });
    return made;
  });
  const words = title === '' ? [] : [html('span', {}, `${title}:`)];
  return [html('div', { class: 'legend', role: 'group', 'aria-label': `Curves: ${plot.title}` }, ...words, ...buttons)];
}

/** A switch between logarithmic and linear; none if the values do not allow the former. */
function axisSwitch(plot: Plot, view: View, axis: 'x' | 'y', redraw: () => void): HTMLElement[] {
  const panels = panelsOf(plot).map((panel) =>
    panel.curves.flatMap((curve) =>
      curve.points.filter((point) => Number.isFinite(point.y)).map((point) => point[axis]),
    ),
  );
  const zeros = axis === 'x';
  if (!panels.some((values) => canBeLog(values, zeros))) return [];
  const input = html('input', { type: 'checkbox' });
  const key = axis === 'x' ? 'logX' : 'logY';
  input.checked = view[key] ?? panels.some((values) => wantsLog(values, zeros));
  input.addEventListener('change', () => {
    view[key] = input.checked;
    redraw();
  });
  return [html('label', {}, input, `log ${axis}`)];
}

/** The switches of a figure. */
export function controlsOf(plot: Plot, view: View, hidden: Set<string>, redraw: () => void): HTMLElement {
  return html(
    'div',
    { class: 'controls' },
    ...curveSwitches(plot, hidden, redraw),
    html(
      'div',
      { class: 'axes', role: 'group', 'aria-label': `Axes: ${plot.title}` },
      ...axisSwitch(plot, view, 'x', redraw),
      ...axisSwitch(plot, view, 'y', redraw),
    ),
  );
}
