/** Axes of a panel: ticks, numbers, names with units. */
import { numberText } from '../format/number.ts';
import { fieldText, withUnit } from '../format/words.ts';
import type { Panel } from './curves.ts';
import type { Frame } from './marks.ts';
import { svg, text, TEXT_SIZE, widthOf, wrap } from './svg.ts';

const INK = '#5b6670';
const GRID = '#e3e7eb';
const TICK_SIZE = 12;

export function xLabel(panel: Panel): string {
  return withUnit(fieldText(panel.x.name), panel.x.unit);
}

export function yLabel(panel: Panel): string {
  return withUnit(panel.yName, panel.yUnit);
}

/** Width in pixels of the numbers and the name of the y axis. */
export function leftRoom(ticks: number[]): number {
  return Math.max(...ticks.map((tick) => widthOf(numberText(tick, 12), TICK_SIZE)), 14) + 34;
}

/** Whether each tick gets a number; one that would overlap the previous number does not. */
export function labelled(positions: { at: number; words: string }[], gap = 8): boolean[] {
  let end = -Infinity;
  return positions.map(({ at, words }) => {
    const half = widthOf(words, TICK_SIZE) / 2;
    if (at - half < end + gap) return false;
    end = at + half;
    return true;
  });
}

export function drawAxes(panel: Panel, frame: Frame): SVGElement {
  const group = svg('g', { 'shape-rendering': 'auto' });
  for (const tick of frame.y.ticks) {
    const y = frame.y.toPixel(tick);
    group.append(svg('path', { d: `M${frame.left} ${y}H${frame.right}`, stroke: tick === 0 ? '#b9c1c8' : GRID }));
    group.append(
      text(numberText(tick, 12), frame.left - 8, y + 4, { 'text-anchor': 'end', 'font-size': TICK_SIZE, fill: INK }),
    );
  }
  const positions = frame.x.ticks.map((tick) => ({ at: frame.x.toPixel(tick), words: numberText(tick, 12) }));
  const shown = labelled(positions);
  positions.forEach(({ at, words }, i) => {
    group.append(svg('path', { d: `M${at} ${frame.bottom}v5`, stroke: INK }));
    if (shown[i])
      group.append(text(words, at, frame.bottom + 19, { 'text-anchor': 'middle', 'font-size': TICK_SIZE, fill: INK }));
  });
  group.append(
    svg('path', { d: `M${frame.left} ${frame.top}V${frame.bottom}H${frame.right}`, stroke: INK, fill: 'none' }),
  );
  if (frame.x.breakAt !== undefined) group.append(axisBreak(frame.x.breakAt, frame.bottom));
  group.append(...names(panel, frame));
  return group;
}

/** Two strokes where an axis is interrupted. */
function axisBreak(x: number, y: number): SVGElement {
  const d = `M${x - 5} ${y + 5}l4 -10M${x + 1} ${y + 5}l4 -10`;
  return svg('g', {}, [
    svg('path', { d: `M${x - 3} ${y}h6`, stroke: '#ffffff', 'stroke-width': 2 }),
    svg('path', { d, stroke: INK, fill: 'none' }),
  ]);
}

function names(panel: Panel, frame: Frame): SVGElement[] {
  const middleX = (frame.left + frame.right) / 2;
  const middleY = (frame.top + frame.bottom) / 2;
  const x = frame.x.log ? `${xLabel(panel)}, logarithmic` : xLabel(panel);
  const y = frame.y.log ? `${yLabel(panel)}, logarithmic` : yLabel(panel);
  const position = frame.left - leftRoom(frame.y.ticks) + TEXT_SIZE;
  const lines = wrap(x, frame.right - frame.left + 30).map((line, i) =>
    text(line, middleX, frame.bottom + 39 + 16 * i, { 'text-anchor': 'middle' }),
  );
  return [
    ...lines,
    text(y, position, middleY, { 'text-anchor': 'middle', transform: `rotate(-90 ${position} ${middleY})` }),
  ];
}
