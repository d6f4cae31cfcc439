/**
 * Converts a figure to a one-page PDF file (ISO 32000-1) with vector lines and text. Supports only the SVG that figures
 * use: groups, rectangles, circles, straight paths, texts, and clip rectangles.
 */
import { RAISE, RAISED_SIZE, runsOf } from './pdf_fonts.ts';

/** A pixel of a figure in points, 1/72 inch. */
const POINTS = 0.75;
/** White margin around the figure, in points. */
const MARGIN = 6;
const FONTS = ['Helvetica', 'Helvetica-Bold', 'Symbol'] as const;

/** Style of shapes; a group passes it on to its children. */
type Look = Record<string, string>;
const LOOKS = [
  'fill',
  'stroke',
  'stroke-width',
  'stroke-dasharray',
  'stroke-linecap',
  'fill-opacity',
  'stroke-opacity',
  'font-size',
  'font-weight',
  'text-anchor',
];

const short = (value: number): string => String(Math.round(value * 1000) / 1000);
const numbers = (...values: number[]): string => values.map(short).join(' ');

/** "0.2 0.4 0.6" from #336699 or rgb(51, 102, 153); none if nothing is painted. */
export function colourText(colour: string | undefined): string | undefined {
  const hex = /^#(..)(..)(..)$/.exec(colour ?? '');
  const parts = hex
    ? hex.slice(1).map((part) => parseInt(part, 16))
    : /^rgb\((.*)\)$/
        .exec(colour ?? '')?.[1]
        ?.split(',')
        .map(Number);
  return parts && numbers(...parts.map((part) => part / 255));
}

/** The content of the page and its resources. */
class Content {
  private readonly lines: string[] = [];
  private readonly opacities: string[] = [];

  constructor(private readonly figure: Element) {}

  text(): string {
    return this.lines.join('\n');
  }

  /** Resource entries for opacities. */
  states(): string {
    return this.opacities.map((opacity, i) => `/G${i} << ${opacity} >>`).join(' ');
  }

  add(...lines: string[]): void {
    this.lines.push(...lines);
  }

  draw(element: Element, inherited: Look): void {
    const look = { ...inherited };
    for (const name of LOOKS) look[name] = element.getAttribute(name) ?? look[name] ?? '';
    const at = (name: string) => Number(element.getAttribute(name) ?? 0);
    switch (element.tagName) {
      case 'svg':
      case 'g':
        return this.group(element, look);
      case 'rect':
        return this.shape(look, `${numbers(at('x'), at('y'), at('width'), at('height'))} re`, true);
      case 'circle':
        return this.shape(look, circle(at('cx'), at('cy'), at('r')), true);
      case 'path':
        return this.path(look, element.getAttribute('d') ?? '');
      case 'text':
        return this.words(element, look, at('x'), at('y'));
    }
  }

  private group(element: Element, look: Look): void {
    const clip = /^url\(#(.*)\)$/.exec(element.getAttribute('clip-path') ?? '')?.[1];
    const box = clip ? this.figure.querySelector(`[id="${clip}"] rect`) : null;
    if (box) {
      const [x, y, width, height] = ['x', 'y', 'width', 'height'].map((name) => Number(box.getAttribute(name)));
      this.add('q', `${numbers(x!, y!, width!, height!)} re W n`);
    }
    for (const child of element.children) this.draw(child, look);
    if (box) this.add('Q');
  }

  private path(look: Look, d: string): void {
    const { operators, points } = pathOperators(d);
    // A path of two points has no area; some viewers would paint a thin line there.
    if (operators !== '') this.shape(look, operators, points > 2);
  }

  private shape(look: Look, outline: string, hasArea: boolean): void {
    const fill = hasArea ? colourText(look.fill || '#000000') : undefined;
    const stroke = colourText(look.stroke);
    if (!fill && !stroke) return;
    const dashes = (look['stroke-dasharray'] ?? '').split(' ').map(Number).join(' ');
    this.add('q', ...this.opacity(look));
    if (fill) this.add(`${fill} rg`);
    if (stroke) this.add(`${stroke} RG ${short(Number(look['stroke-width'] || 1))} w`);
    if (stroke && look['stroke-linecap'] === 'round') this.add('1 J');
    if (stroke && look['stroke-dasharray']) this.add(`[${dashes}] 0 d`);
    this.add(outline, fill && stroke ? 'B' : fill ? 'f' : 'S', 'Q');
  }

  private opacity(look: Look): string[] {
    const [fill, stroke] = [look['fill-opacity'] || '1', look['stroke-opacity'] || '1'];
    if (fill === '1' && stroke === '1') return [];
    const wanted = `/ca ${fill} /CA ${stroke}`;
    if (!this.opacities.includes(wanted)) this.opacities.push(wanted);
    return [`/G${this.opacities.indexOf(wanted)} gs`];
  }

  private words(element: Element, look: Look, x: number, y: number): void {
    const size = Number(look['font-size'] || 13);
    const runs = runsOf(element.textContent ?? '', Number(look['font-weight'] || 400) >= 600);
    const width = size * runs.reduce((sum, run) => sum + run.width, 0);
    const back = look['text-anchor'] === 'middle' ? width / 2 : look['text-anchor'] === 'end' ? width : 0;
    const turn = /^rotate\((\S+) (\S+) (\S+)\)$/.exec(element.getAttribute('transform') ?? '');
    const angle = (Number(turn?.[1] ?? 0) * Math.PI) / 180;
    const [cos, sin] = [Math.cos(angle), Math.sin(angle)];
    const [centreX, centreY] = turn ? [Number(turn[2]), Number(turn[3])] : [x, y];
    const [dx, dy] = [x - back - centreX, y - centreY];
    const start = [centreX + dx * cos - dy * sin, centreY + dx * sin + dy * cos] as const;
    // The page is flipped to use the coordinates of the figure; letters are flipped back.
    this.add('BT', `${colourText(look.fill) ?? '0 0 0'} rg`, `${numbers(cos, sin, sin, -cos, ...start)} Tm`);
    for (const run of runs) {
      const scale = run.raised ? RAISED_SIZE * size : size;
      const codes = run.codes.map((code) => code.toString(16).padStart(2, '0')).join('');
      this.add(
        `/F${FONTS.indexOf(run.font)} ${short(scale)} Tf ${run.raised ? short(RAISE * size) : 0} Ts <${codes}> Tj`,
      );
    }
    this.add('ET');
  }
}

/** A circle of four Bézier curves. */
function circle(x: number, y: number, r: number): string {
  const k = 0.5522847498 * r; // common practice: 4/3 (√2 - 1)
  return [
    `${numbers(x + r, y)} m`,
    `${numbers(x + r, y + k, x + k, y + r, x, y + r)} c`,
    `${numbers(x - k, y + r, x - r, y + k, x - r, y)} c`,
    `${numbers(x - r, y - k, x - k, y - r, x, y - r)} c`,
    `${numbers(x + k, y - r, x + r, y - k, x + r, y)} c h`,
  ].join(' ');
}

/** A path of straight lines as PDF operators, and its number of points. */
export function pathOperators(d: string): { operators: string; points: number } {
  const operators: string[] = [];
  let [x, y, points] = [0, 0, 0];
  for (const [, command, rest] of d.matchAll(/([MLHVhvZ])([^A-Za-z]*)/g)) {
    const [a = 0, b = 0] = rest!
      .trim()
      .split(/[\s,]+/)
      .map(Number);
    if (command === 'Z') {
      operators.push('h');
      continue;
    }
    if (command === 'M' || command === 'L') [x, y] = [a, b];
    else if (command === 'H') x = a;
    else if (command === 'V') y = a;
    else if (command === 'h') x += a;
    else y += a;
    operators.push(`${numbers(x, y)} ${command === 'M' ? 'm' : 'l'}`);
    ++points;
  }
  return { operators: operators.join(' '), points };
}

/** A text string of the file, as UTF-16. */
function textString(words: string): string {
  const units = Array.from({ length: words.length }, (_, i) => words.charCodeAt(i).toString(16).padStart(4, '0'));
  return `<feff${units.join('')}>`;
}

/** The figure as the text of a PDF file, in which every character is a byte. */
export function pdfFileText(figure: SVGElement): string {
  const [width, height] = ['width', 'height'].map((name) => Math.ceil(Number(figure.getAttribute(name)))) as [
    number,
    number,
  ];
  const content = new Content(figure);
  content.add(`${numbers(POINTS, 0, 0, -POINTS, 0, POINTS * height)} cm`);
  content.draw(figure, {});
  const fonts = FONTS.map((name, i) => {
    const encoding = name === 'Symbol' ? '' : ' /Encoding /WinAnsiEncoding';
    return `/F${i} << /Type /Font /Subtype /Type1 /BaseFont /${name}${encoding} >>`;
  });
  const resources = `<< /Font << ${fonts.join(' ')} >> /ExtGState << ${content.states()} >> >>`;
  const title = figure.querySelector('title')?.textContent ?? '';
  const stream = content.text();
  return fileOf([
    '<< /Type /Catalog /Pages 2 0 R /ViewerPreferences << /DisplayDocTitle true >> >>',
    '<< /Type /Pages /Kids [3 0 R] /Count 1 >>',
    `<< /Type /Page /Parent 2 0 R /MediaBox [${numbers(-MARGIN, -MARGIN, POINTS * width + MARGIN, POINTS * height + MARGIN)}] /Resources ${resources} /Contents 4 0 R >>`,
    `<< /Length ${stream.length} >>\nstream\n${stream}\nendstream`,
    `<< /Title ${textString(title)} /Producer (Gyrebox) >>`,
  ]);
}

/** Objects, numbered from 1, with their offset table. The first is the catalogue, the last the information. */
function fileOf(objects: string[]): string {
  let file = '%PDF-1.4\n';
  const begins = objects.map((object, i) => {
    const begin = file.length;
    file += `${i + 1} 0 obj\n${object}\nendobj\n`;
    return `${String(begin).padStart(10, '0')} 00000 n \n`;
  });
  const size = objects.length + 1;
  const table = `xref\n0 ${size}\n0000000000 65535 f \n${begins.join('')}`;
  return `${file}${table}trailer\n<< /Size ${size} /Root 1 0 R /Info ${objects.length} 0 R >>\nstartxref\n${file.length}\n%%EOF\n`;
}
