/** Switches of a figure: one for each curve, which is its legend too, and one for each axis. */
import type { Plot } from '../answers.ts';
import { type Panel, panelsOf } from '../plot/curves.ts';
import { curveSign } from '../plot/legend.ts';
import type { View } from '../plot/plot.ts';
import { canBeLog, wantsLog } from '../plot/scale.ts';
import { fieldText, withUnit } from '../format/words.ts';
import { html } from './html.ts';

interface CurveSwitch {
  words: string;
  style: number;
  joined: boolean;
  /** Names of the curves that it switches: one in each panel. */
  names: string[];
}

/** Switches for the curves of a plot; none with a single curve, or if its panels hold different curves. */
export function switchesOf(plot: Plot): CurveSwitch[] {
  const panels = panelsOf(plot);
  const [first] = panels;
  const words = (panel: Panel) => panel.curves.map((curve) => curve.shortName).join('; ');
  if (!first || first.curves.length < 2) return [];
  if (panels.some((panel) => words(panel) !== words(first) || panel.legendTitle !== first.legendTitle)) return [];
  return first.curves.map((curve, i) => ({
    words: curve.shortName,
    style: curve.style,
    joined: first.joined,
    names: panels.map((panel) => panel.curves[i]!.name),
  }));
}

function legendTitle(plot: Plot): string {
  const { legendTitle: title } = panelsOf(plot)[0]!;
  const column = plot.columns.find((one) => one.role === 'ROLE_CURVE' && fieldText(one.name) === title);
  return column ? withUnit(title, column.unit) : title;
}

function curveSwitches(plot: Plot, hidden: Set<string>, redraw: () => void): HTMLElement[] {
  const switches = switchesOf(plot);
  if (switches.length === 0) return [];
  const buttons = switches.map(({ words, style, joined, names }) => {
    const made = html(
      'button',
      { type: 'button', class: 'curve', 'aria-pressed': 'true', title: 'Show or hide this curve' },
      curveSign(style, joined),
      words,
    );
    made.addEventListener('click', () => {
      const off = !names.some((name) => hidden.has(name));
      // One curve stays: an empty figure shows nothing.
      if (off && hidden.size === names.length * (switches.length - 1)) return;
      for (const name of names) {
        if (off) hidden.add(name);
        else hidden.delete(name);
      }
      made.setAttribute('aria-pressed', String(!off));
      redraw();
    });
    return made;
  });
  const title = legendTitle(plot);
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
