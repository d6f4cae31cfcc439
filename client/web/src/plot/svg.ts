/** SVG elements. Styles are attributes, not classes, so that a saved figure looks the same elsewhere. */

const NAMESPACE = 'http://www.w3.org/2000/svg';

export type Attributes = Record<string, string | number>;

export function svg(name: string, attributes: Attributes = {}, children: (Node | string)[] = []): SVGElement {
  const element = document.createElementNS(NAMESPACE, name);
  for (const [key, value] of Object.entries(attributes)) {
    element.setAttribute(key, typeof value === 'number' ? String(Math.round(value * 100) / 100) : value);
  }
  element.append(...children);
  return element;
}

export const FONT = 'system-ui, "Segoe UI", "Liberation Sans", "DejaVu Sans", sans-serif';
export const TEXT_SIZE = 13;

export function text(words: string, x: number, y: number, attributes: Attributes = {}): SVGElement {
  return svg('text', { x, y, 'font-size': TEXT_SIZE, fill: '#22282e', ...attributes }, [words]);
}

/** Estimated width of a text in pixels, slightly too large rather than too small. */
export function widthOf(words: string, size = TEXT_SIZE): number {
  return words.length * size * 0.58;
}

/** Wraps words into lines at most `width` pixels wide. */
export function wrap(words: string, width: number, size = TEXT_SIZE): string[] {
  const lines: string[] = [];
  for (const word of words.split(' ')) {
    const last = lines[lines.length - 1];
    if (last !== undefined && widthOf(`${last} ${word}`, size) <= width) lines[lines.length - 1] = `${last} ${word}`;
    else lines.push(word);
  }
  return lines;
}

/** A path through positions; empty if there are none. */
export function path(positions: (readonly [number, number])[]): string {
  return positions.map(([x, y], i) => `${i === 0 ? 'M' : 'L'}${x.toFixed(2)} ${y.toFixed(2)}`).join('');
}
