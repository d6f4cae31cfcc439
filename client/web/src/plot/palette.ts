/**
 * Colours that users with any colour vision can distinguish: M. Okabe and K. Ito, Color Universal Design, 2008. Yellow
 * is omitted because its lines are too faint on white; two others are darkened to a contrast of 3 to 1, which WCAG 2.2
 * requires of graphics (success criterion 1.4.11).
 */
export const COLOURS = ['#0072B2', '#D55E00', '#008662', '#B4578F', '#2E2E2E', '#3A8FC4', '#B87700'];

/** Shapes of points, used in turn; their number is coprime to that of the colours. */
export const SHAPES = ['circle', 'square', 'diamond', 'triangle', 'down', 'plus', 'star', 'hexagon'] as const;
export type Shape = (typeof SHAPES)[number];

export function colourOf(style: number): string {
  return COLOURS[style % COLOURS.length]!;
}

export function shapeOf(style: number): Shape {
  return SHAPES[style % SHAPES.length]!;
}

/** One hue from pale to dark, so that the order also shows in greyscale print. */
const RAMP = [
  [238, 243, 248],
  [176, 205, 228],
  [99, 157, 201],
  [28, 103, 158],
  [8, 52, 92],
] as const;

/** Fill colour of a fraction from 0 to 1, and the colour of text on it. */
export function rampColour(fraction: number): { fill: string; ink: string } {
  const position = Math.min(Math.max(fraction, 0), 1) * (RAMP.length - 1);
  const i = Math.min(Math.floor(position), RAMP.length - 2);
  const part = RAMP[i]!.map((low, c) => Math.round(low + (position - i) * (RAMP[i + 1]![c]! - low)));
  const fill = `rgb(${part.join(', ')})`;
  return { fill, ink: contrast(part, [255, 255, 255]) > contrast(part, [0, 0, 0]) ? '#ffffff' : '#000000' };
}

/** Contrast ratio, WCAG 2.2. */
export function contrast(a: readonly number[], b: readonly number[]): number {
  const [dark, light] = [luminance(a), luminance(b)].sort((x, y) => x - y) as [number, number];
  return (light + 0.05) / (dark + 0.05);
}

/** Relative luminance of an sRGB colour, WCAG 2.2. */
function luminance(colour: readonly number[]): number {
  const [r, g, b] = colour.map((value) => {
    const fraction = value / 255;
    return fraction <= 0.04045 ? fraction / 12.92 : ((fraction + 0.055) / 1.055) ** 2.4;
  }) as [number, number, number];
  return 0.2126 * r + 0.7152 * g + 0.0722 * b;
}
