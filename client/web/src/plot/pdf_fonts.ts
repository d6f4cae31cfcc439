/**
 * Three of the standard fonts of every PDF viewer (ISO 32000-1, 9.6.2.2): characters, and widths in thousandths of the
 * font size, from Adobe's font metrics of the core 14 fonts.
 */

export type FontName = 'Helvetica' | 'Helvetica-Bold' | 'Symbol';

/** A stretch of text in one font. */
export interface Run {
  font: FontName;
  codes: number[];
  /** Width in units of the font size. */
  width: number;
  /** Whether it is a superscript. */
  raised: boolean;
}

/** Size of a superscript and its rise above the baseline, in units of the font size. */
export const RAISED_SIZE = 0.68;
export const RAISE = 0.36;

// Widths of characters 32 to 126.
const REGULAR =
  '278 278 355 556 556 889 667 191 333 333 389 584 278 333 278 278 556 556 556 556 556 556 556 556 556 556 278 278 584 ' +
  '584 584 556 1015 667 667 722 722 667 611 778 722 278 500 667 556 833 722 778 667 778 722 667 611 722 667 944 667 667 ' +
  '611 278 278 278 469 556 333 556 556 500 556 556 278 556 556 222 222 500 222 833 556 556 556 556 333 500 278 556 500 ' +
  '722 500 500 500 334 260 334 584';
const BOLD =
  '278 333 474 556 556 889 722 238 333 333 389 584 278 333 278 278 556 556 556 556 556 556 556 556 556 556 333 333 584 ' +
  '584 584 611 975 722 722 722 722 667 611 778 722 278 556 722 611 833 722 778 667 778 722 667 611 722 667 944 667 667 ' +
  '611 333 278 333 584 556 333 556 611 556 611 556 333 611 611 278 278 556 278 889 611 611 611 611 389 556 333 611 556 ' +
  '778 556 556 500 389 280 389 584';
const WIDTHS = { Helvetica: REGULAR.split(' ').map(Number), 'Helvetica-Bold': BOLD.split(' ').map(Number) };

/** Characters of WinAnsiEncoding beyond ASCII that text of figures may contain, with code and width. */
const OTHERS: Record<string, [code: number, width: number]> = {
  '\u00a0': [0xa0, 278],
  '°': [0xb0, 400],
  '±': [0xb1, 584],
  '²': [0xb2, 333],
  '³': [0xb3, 333],
  '·': [0xb7, 278],
  '¹': [0xb9, 333],
  '×': [0xd7, 584],
  '–': [0x96, 556],
  '—': [0x97, 1000],
  '…': [0x85, 1000],
};

/** The font Symbol: lower-case Greek letters in the order of its codes from 97 on, and a few signs. */
const SYMBOLS = new Map<string, [code: number, width: number]>([
  ...pairs(
    'αβχδεφγηιϕκλμνοπθρστυϖωξψζ',
    97,
    '631 549 549 494 439 521 411 603 329 603 549 549 576 521 549 549 521 549 603 439 576 713 686 493 686 494',
  ),
  ['\u2212', [0x2d, 549]],
  ['µ', [0x6d, 576]],
  ['≤', [0xa3, 549]],
  ['≥', [0xb3, 549]],
  ['∞', [0xa5, 713]],
  ['Δ', [0x44, 612]],
]);

function pairs(letters: string, first: number, widths: string): [string, [number, number]][] {
  const all = widths.split(' ').map(Number);
  return [...letters].map((letter, i) => [letter, [first + i, all[i]!]]);
}

const RAISED = '⁰¹²³⁴⁵⁶⁷⁸⁹⁻';

/** Code and width of a character in the font that has it; drops an accent that no font has. */
function glyph(
  character: string,
  text: 'Helvetica' | 'Helvetica-Bold',
): { font: FontName; code: number; width: number } {
  const code = character.codePointAt(0)!;
  if (code >= 32 && code <= 126) return { font: text, code, width: WIDTHS[text][code - 32]! };
  const other = OTHERS[character];
  if (other) return { font: text, code: other[0], width: other[1] };
  const symbol = SYMBOLS.get(character);
  if (symbol) return { font: 'Symbol', code: symbol[0], width: symbol[1] };
  const plain = character.normalize('NFD')[0]!;
  if (plain === character) return glyph('?', text);
  const base = glyph(plain, text);
  // Accented letters of Latin-1 are as wide as the plain letter, except the i.
  return code <= 0xff ? { ...base, code, width: plain === 'i' ? 278 : base.width } : base;
}

/** Splits a text into stretches of one font each. */
export function runsOf(words: string, bold: boolean): Run[] {
  const runs: Run[] = [];
  for (const character of words) {
    const power = RAISED.indexOf(character);
    const plain = power < 0 ? character : '0123456789\u2212'[power]!;
    const { font, code, width } = glyph(plain, bold ? 'Helvetica-Bold' : 'Helvetica');
    const raised = power >= 0;
    const last = runs[runs.length - 1];
    const run = last?.font === font && last.raised === raised ? last : { font, codes: [], width: 0, raised };
    if (run !== last) runs.push(run);
    run.codes.push(code);
    run.width += (width / 1000) * (raised ? RAISED_SIZE : 1);
  }
  return runs;
}
