/** Stages of the schedule behind a plot over time, with the amplitude of the drive below its top edge. */
import { type Plot, type PlotStage } from '../answers.ts';
import { numberText } from '../format/number.ts';
import type { Curve, Panel } from './curves.ts';
import type { Frame } from './marks.ts';
import { sameSettings } from './singles.ts';
import { colourOf } from './palette.ts';
import { path, svg, text, widthOf } from './svg.ts';

const INK = '#5b6670';
/** Heights in pixels of the strip above a panel in which the drive is drawn, and of the names of stages above it. */
const STRIP = 30;
const NAMES = 18;

function stagesOf(plot: Plot, curve: Curve | undefined): PlotStage[] {
  return curve ? (plot.stages ?? []).filter((stage) => sameSettings(curve.settings, stage.at)) : [];
}

/** Where a time lies, within the panel. */
function placeOf(time: number, frame: Frame): number {
  if (frame.x.log && time <= 0) return frame.left;
  return Math.min(Math.max(frame.x.toPixel(time), frame.left), frame.right);
}

function shade(stage: PlotStage, i: number, frame: Frame): SVGElement[] {
  const [left, right] = [placeOf(stage.begin, frame), placeOf(stage.end, frame)];
  const box = {
    x: left,
    y: frame.top - STRIP - NAMES,
    width: right - left,
    height: frame.bottom - frame.top + STRIP + NAMES,
  };
  const fits = widthOf(stage.label, 11) < right - left - 4;
  return [
    ...(i % 2 === 1 ? [svg('rect', { ...box, fill: INK, 'fill-opacity': 0.07 })] : []),
    ...(fits
      ? [
          text(stage.label, (left + right) / 2, frame.top - STRIP - 5, {
            'text-anchor': 'middle',
            'font-size': 11,
            fill: INK,
          }),
        ]
      : []),
  ];
}

/** Positions of the drive of one curve: a step or a ramp for each stage. */
function drivePath(stages: PlotStage[], largest: number, frame: Frame): string {
  const height = (amplitude: number) => frame.top - 5 - (STRIP - 6) * (Math.abs(amplitude) / largest);
  let last = stages[0]!.amplitude;
  return path(
    stages.flatMap((stage) => {
      const from = stage.ramps ? last : stage.amplitude;
      last = stage.amplitude;
      return [
        [placeOf(stage.begin, frame), height(from)] as const,
        [placeOf(stage.end, frame), height(stage.amplitude)] as const,
      ];
    }),
  );
}

/** Shaded stages and the drive of each curve; nothing for a plot without stages or with a single one. */
export function drawStages(plot: Plot, panel: Panel, frame: Frame): SVGElement[] {
  const first = stagesOf(plot, panel.curves[0]);
  if (first.length < 2) return [];
  const drives = panel.curves.map((curve) => ({ curve, stages: stagesOf(plot, curve) }));
  const largest = Math.max(...drives.flatMap(({ stages }) => stages.map((stage) => Math.abs(stage.amplitude))));
  if (!(largest > 0)) return first.flatMap((stage, i) => shade(stage, i, frame));
  const lines = drives
    .filter(({ stages }) => stages.length > 0)
    .map(({ curve, stages }) =>
      svg('path', {
        d: drivePath(stages, largest, frame),
        fill: 'none',
        stroke: panel.curves.length > 1 ? colourOf(curve.style) : INK,
        'stroke-width': 1.2,
        'stroke-dasharray': '5 2',
      }),
    );
  const base = svg('path', { d: `M${frame.left} ${frame.top}H${frame.right}`, stroke: INK, 'stroke-opacity': 0.4 });
  const number = (words: string, y: number) =>
    text(words, frame.left - 8, y, { 'text-anchor': 'end', 'font-size': 11, fill: INK });
  const name = [
    text('drive', 0, frame.top - STRIP / 2 + 4, { 'font-size': 11, fill: INK }),
    number(numberText(largest), frame.top - STRIP + 5),
    number('0', frame.top - 3),
  ];
  return [...first.flatMap((stage, i) => shade(stage, i, frame)), base, ...lines, ...name];
}

/** Height in pixels that stages take above a panel. */
export function stagesRoom(plot: Plot, panel: Panel): number {
  return stagesOf(plot, panel.curves[0]).length < 2 ? 0 : STRIP + NAMES;
}
