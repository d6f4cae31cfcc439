/** Legend of the curves and dashed lines of a panel; part of the figure, so it is saved with it. */
import type { Plot } from '../answers.ts';
import { DASHES, markLabels } from './levels.ts';
import { type Panel } from './curves.ts';
import { colourOf } from './palette.ts';
import { marker, ring } from './marks.ts';
import { svg, text, TEXT_SIZE, widthOf } from './svg.ts';

interface Entry {
  words: string;
  sign: (x: number, y: number) => SVGElement[];
}

const SIGN_WIDTH = 26;
const LINE_HEIGHT = 20;

function curveEntries(panel: Panel): Entry[] {
  if (panel.curves.length < 2) return [];
  const title = panel.legendTitle === '' ? [] : [{ words: `${panel.legendTitle}:`, sign: () => [] }];
  const curves = panel.curves.map((curve) => ({
    words: curve.shortName,
    sign: (x: number, y: number) => [
      ...(panel.joined
        ? [
            svg('path', {
              d: `M${x} ${y}h20`,
              stroke: colourOf(curve.style),
              'stroke-width': 1.5,
              'stroke-opacity': 0.75,
            }),
          ]
        : []),
      marker(curve.style, x + 10, y, 4),
    ],
  }));
  return [...title, ...curves];
}

/** Legend entry of the ring around a point, if any. */
function ringEntries(panel: Panel): Entry[] {
  const curve = panel.curves.find(({ points }) =>
    points.some((point) => Number.isFinite(point.y) && point.movesWithStep),
  );
  if (curve === undefined) return [];
  const { style } = curve;
  return [
    { words: 'moves with the time step', sign: (x, y) => [ring(style, x + 10, y, 4), marker(style, x + 10, y, 4)] },
  ];
}

function levelEntries(plot: Plot): Entry[] {
  return markLabels(plot).map((words, i) => ({
    words,
    sign: (x, y) => [
      svg('path', {
        d: `M${x} ${y}h22`,
        stroke: '#5b6670',
        'stroke-width': 1.4,
        'stroke-dasharray': DASHES[i % DASHES.length]!,
      }),
    ],
  }));
}

/** Lays out entries in lines from the top left corner. @returns the elements and their height. */
function flow(entries: Entry[], left: number, top: number, width: number): { elements: SVGElement[]; height: number } {
  const elements: SVGElement[] = [];
  let x = left;
  let y = top + LINE_HEIGHT / 2;
  for (const { words, sign } of entries) {
    const signs = sign(x, y);
    const room = (signs.length > 0 ? SIGN_WIDTH : 0) + widthOf(words) + 14;
    if (x > left && x + room > left + width) {
      x = left;
      y += LINE_HEIGHT;
    }
    elements.push(...sign(x, y), text(words, x + (signs.length > 0 ? SIGN_WIDTH : 0), y + TEXT_SIZE * 0.35));
    x += room;
  }
  return { elements, height: entries.length > 0 ? y + LINE_HEIGHT / 2 - top : 0 };
}

/** The legend of one panel: its curves, unless the page shows them, and its levels. */
export function drawLegend(
  plot: Plot,
  panel: Panel,
  which: { curves: boolean; levels: boolean },
  left: number,
  top: number,
  width: number,
) {
  const entries = [
    ...(which.curves ? curveEntries(panel) : []),
    ...ringEntries(panel),
    ...(which.levels ? levelEntries(plot) : []),
  ];
  return flow(entries, left, top, width);
}

/** The sign of a curve alone, for a legend in the page. */
export function curveSign(style: number, joined: boolean): SVGElement {
  const line = svg('path', { d: 'M1 7h20', stroke: colourOf(style), 'stroke-width': 1.5, 'stroke-opacity': 0.75 });
  return svg('svg', { width: 22, height: 14, viewBox: '0 0 22 14', 'aria-hidden': 'true' }, [
    ...(joined ? [line] : []),
    marker(style, 11, 7, 4),
  ]);
}
