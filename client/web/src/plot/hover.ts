/** Shows values under the pointer and by keyboard: arrow keys move from point to point. */
import { intervalText, numberText } from '../format/number.ts';
import { fieldText, valueWithUnit } from '../format/words.ts';
import type { Spot } from './marks.ts';
import type { Figure } from './plot.ts';

/** Max distance of the pointer, in pixels. */
const REACH = 40;

/** Lines of the tooltip of a point. */
export function linesOf({ point, curve, panel }: Spot): string[] {
  const { x } = panel;
  const value = intervalText(point.y, point.low, point.high);
  const lines = [
    panel.curves.length > 1 || curve.settings.length > 0 ? curve.name : '',
    Number.isFinite(point.x) ? `${fieldText(x.name)}: ${valueWithUnit(numberText(point.x), x.unit)}` : '',
    `${fieldText(curve.column.name)}: ${Number.isFinite(point.y) ? valueWithUnit(value, curve.column.unit) : 'no value'}`,
    point.spread > 0 ? `standard deviation: ${valueWithUnit(numberText(point.spread, 2), curve.column.unit)}` : '',
    point.label,
    point.mark,
  ];
  return lines.filter((line) => line !== '');
}

function nearest(spots: Spot[], x: number, y: number): number {
  let best = -1;
  let least = REACH ** 2;
  spots.forEach((spot, i) => {
    const distance = (spot.x - x) ** 2 + (spot.y - y) ** 2;
    if (distance < least) [best, least] = [i, distance];
  });
  return best;
}

function element(name: string, className: string): HTMLElement {
  const made = document.createElement(name);
  made.className = className;
  return made;
}

/** The next point for a key; none for other keys. */
function keyTarget(key: string, at: number, count: number): number | undefined {
  if (key === 'ArrowRight' || key === 'ArrowDown') return Math.min(at + 1, count - 1);
  if (key === 'ArrowLeft' || key === 'ArrowUp') return Math.max(at - 1, 0);
  if (key === 'Home') return 0;
  if (key === 'End') return count - 1;
  return undefined;
}

/** A figure that responds to pointer and keyboard; `pick` takes the point that is clicked, or chosen with Enter. */
export function interactive(figure: Figure, title: string, pick?: (spot: Spot) => void): HTMLElement {
  const holder = element('div', 'plot');
  const layer = element('div', 'plot-layer');
  const ring = element('div', 'plot-ring');
  const tip = element('div', 'plot-tip');
  layer.tabIndex = 0;
  layer.setAttribute('role', 'group');
  layer.setAttribute(
    'aria-label',
    `Points of: ${title}. Arrow keys move from point to point${pick ? ', Enter shows its runs' : ''}.`,
  );
  tip.setAttribute('role', 'status');
  ring.hidden = tip.hidden = true;
  let at = -1;

  const show = (i: number) => {
    at = i;
    const spot = figure.spots[i];
    ring.hidden = tip.hidden = spot === undefined;
    if (!spot) return;
    const scale = holder.clientWidth / figure.width;
    ring.style.left = `${spot.x * scale}px`;
    ring.style.top = `${spot.y * scale}px`;
    tip.replaceChildren(
      ...linesOf(spot).map((line) => Object.assign(document.createElement('div'), { textContent: line })),
    );
    tipPosition(tip, spot.x * scale, spot.y * scale, holder.clientWidth);
  };
  layer.addEventListener('pointermove', (event) => {
    const box = layer.getBoundingClientRect();
    const scale = box.width / figure.width;
    show(nearest(figure.spots, (event.clientX - box.left) / scale, (event.clientY - box.top) / scale));
  });
  layer.addEventListener('pointerleave', () => show(-1));
  layer.addEventListener('blur', () => show(-1));
  const choose = () => {
    const spot = figure.spots[at];
    if (spot) pick?.(spot);
  };
  layer.addEventListener('click', choose);
  layer.addEventListener('keydown', (event) => {
    if (event.key === 'Enter') choose();
    const target = event.key === 'Escape' ? -1 : keyTarget(event.key, at, figure.spots.length);
    if (target === undefined) return;
    event.preventDefault();
    show(target);
  });
  holder.append(figure.element, layer, ring, tip);
  return holder;
}

/** Positions the tooltip beside the point, on the side with enough room. */
function tipPosition(tip: HTMLElement, x: number, y: number, width: number): void {
  const room = Math.min(tip.offsetWidth, width);
  const left = x + 14 + room <= width ? x + 14 : Math.max(0, x - 14 - room);
  tip.style.left = `${left}px`;
  tip.style.top = `${Math.max(0, y - tip.offsetHeight - 8)}px`;
}
