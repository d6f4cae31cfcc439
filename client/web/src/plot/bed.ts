/** Draws a frame of a bed to scale: spinners as dark discs, passive beads as rings. */
import type { Frame } from '../answers.ts';
import { numberText } from '../format/number.ts';
import { figureElement } from './plot.ts';
import { svg, text } from './svg.ts';

const SPINNER = '#0072B2';
const PASSIVE = '#7d8790';
const INK = '#5b6670';
/** Height of the legend and the scale bar under the bed, in pixels. */
const FOOT = 34;

let bedCount = 0;

export interface Bead {
  /** In σ from the lower left corner of the window. */
  x: number;
  y: number;
  spinner: boolean;
}

export function beadsOf(frame: Frame): Bead[] {
  const positions = Uint8Array.from(atob(frame.positions), (character) => character.charCodeAt(0));
  const kinds = atob(frame.kinds);
  const at = (i: number) => (positions[2 * i]! + 256 * positions[2 * i + 1]! + 0.5) / 65536;
  return Array.from(kinds, (kind, i) => ({
    x: at(2 * i) * frame.width,
    y: at(2 * i + 1) * frame.height,
    spinner: kind.charCodeAt(0) === 1,
  }));
}

/** The longest of 1, 2, 5, 10, ... σ that is at most a third of a width. */
export function barLength(width: number): number {
  const power = 10 ** Math.floor(Math.log10(width / 3));
  return power * ([5, 2].find((factor) => factor * power <= width / 3) ?? 1);
}

/** Adds periodic images of beads that cross a side of a whole bed. */
export function withImages(beads: Bead[], frame: Frame): Bead[] {
  const whole = frame.width === frame.side_x && frame.height === frame.side_y;
  const images = (position: number, side: number) => [
    0,
    ...(position < 0.5 ? [side] : position > side - 0.5 ? [-side] : []),
  ];
  if (!whole) return beads;
  return beads.flatMap((bead) =>
    images(bead.x, frame.side_x).flatMap((dx) =>
      images(bead.y, frame.side_y).map((dy) => ({ ...bead, x: bead.x + dx, y: bead.y + dy })),
    ),
  );
}

/** Discs as round caps of zero-length lines in a single path: two commands per disc. */
function discs(positions: (readonly [number, number])[], diameter: number, colour: string): SVGElement {
  const d = positions.map(([x, y]) => `M${x.toFixed(2)} ${y.toFixed(2)}h0`).join('');
  return svg('path', { d, fill: 'none', stroke: colour, 'stroke-width': diameter, 'stroke-linecap': 'round' });
}

/** The beads of one kind; `size` is the bead diameter in pixels. */
function drawBeads(beads: Bead[], spinner: boolean, toPixel: (bead: Bead) => readonly [number, number], size: number) {
  const positions = beads.filter((bead) => bead.spinner === spinner).map(toPixel);
  if (spinner) return [discs(positions, size * 0.96, SPINNER)];
  return [discs(positions, size * 0.96, PASSIVE), discs(positions, size * 0.62, '#ffffff')];
}

function legend(top: number): SVGElement[] {
  const look = { 'font-size': 12, fill: INK };
  const y = top - 4;
  return [
    discs([[6, y]], 11, SPINNER),
    text('spinner', 16, top, look),
    discs([[74, y]], 11, PASSIVE),
    discs([[74, y]], 7, '#ffffff'),
    text('passive bead', 84, top, look),
  ];
}

function bar(sigma: number, pixels: number, right: number, top: number): SVGElement[] {
  const d = `M${right - pixels} ${top - 8}v8M${right - pixels} ${top - 4}h${pixels}M${right} ${top - 8}v8`;
  return [
    svg('path', { d, stroke: '#22282e', 'stroke-width': 1.5, fill: 'none' }),
    text(`${numberText(sigma)} σ`, right - pixels - 6, top, { 'font-size': 12, 'text-anchor': 'end' }),
  ];
}

/** Pixels of a small picture; the page scales it. */
const SMALL = 200;

/** A small picture of a frame without words; what holds it names it. */
export function drawThumbnail(frame: Frame): SVGElement {
  const scale = SMALL / Math.max(frame.width, frame.height);
  const [width, height] = [frame.width * scale, frame.height * scale];
  const drawn = withImages(beadsOf(frame), frame);
  const toPixel = (bead: Bead) => [bead.x * scale, height - bead.y * scale] as const;
  const of = (spinner: boolean) => drawn.filter((bead) => bead.spinner === spinner).map(toPixel);
  return svg('svg', { viewBox: `0 0 ${width.toFixed(1)} ${height.toFixed(1)}`, 'aria-hidden': 'true' }, [
    svg('rect', { width, height, fill: '#ffffff' }),
    discs(of(false), scale * 0.9, '#c3cad0'),
    discs(of(true), scale * 0.96, SPINNER),
  ]);
}

/** Draws a frame at most `most` pixels wide and high. */
export function drawBed(frame: Frame, title: string, most: number): SVGElement {
  const scale = most / Math.max(frame.width, frame.height);
  const width = frame.width * scale;
  const height = frame.height * scale;
  const beads = beadsOf(frame);
  const drawn = withImages(beads, frame);
  const toPixel = (bead: Bead) => [1 + bead.x * scale, 1 + height - bead.y * scale] as const;
  const clip = `bed-${++bedCount}`;
  const box = { x: 1, y: 1, width, height };
  const length = barLength(frame.width);
  const outer = Math.max(width + 2, 250);
  const spinners = beads.filter((bead) => bead.spinner).length;
  const words = `${beads.length} beads in ${numberText(frame.width)} by ${numberText(frame.height)} sigma, ${spinners} of them spinners.`;
  return figureElement(title, words, outer, height + 2 + FOOT, [
    svg('clipPath', { id: clip }, [svg('rect', box)]),
    svg('g', { 'clip-path': `url(#${clip})` }, [
      ...drawBeads(drawn, false, toPixel, scale),
      ...drawBeads(drawn, true, toPixel, scale),
    ]),
    svg('rect', { ...box, fill: 'none', stroke: INK }),
    ...legend(height + 24),
    ...bar(length, length * scale, Math.max(width, outer - 2), height + 24),
  ]);
}
