import { Encodings, Font, FontNames } from '@pdf-lib/standard-fonts';
import { describe, expect, test } from 'vitest';
import { colourText, pathOperators } from '../src/plot/pdf.ts';
import { type FontName, runsOf } from '../src/plot/pdf_fonts.ts';

const codesOf = (words: string) => runsOf(words, false).map(({ font, codes }) => [font, String.fromCharCode(...codes)]);

describe('texts of a PDF', () => {
  test('are in the one font that has the characters', () => {
    expect(codesOf('drag [ε/τ]')).toEqual([
      ['Helvetica', 'drag ['],
      ['Symbol', 'e'],
      ['Helvetica', '/'],
      ['Symbol', 't'],
      ['Helvetica', ']'],
    ]);
    expect(codesOf('\u22123 ± 1')).toEqual([
      ['Symbol', '-'],
      ['Helvetica', '3 \xb1 1'],
    ]);
    expect(codesOf('Größe ł 界')).toEqual([['Helvetica', 'Gr\xf6?e ? ?']]);
  });
  test('have powers as superscripts', () => {
    const runs = runsOf('10⁻⁷', false);
    expect(runs.map((run) => run.raised)).toEqual([false, true, true]);
    expect(runs[2]!.width).toBeLessThan(runs[0]!.width / 2);
  });
  // Adobe's metrics of the core 14 fonts (AFM files), as shipped with that library.
  test.each<[FontName, FontNames, typeof Encodings.WinAnsi]>([
    ['Helvetica', FontNames.Helvetica, Encodings.WinAnsi],
    ['Helvetica-Bold', FontNames.HelveticaBold, Encodings.WinAnsi],
    ['Symbol', FontNames.Symbol, Encodings.Symbol],
  ])('are as wide as the font %s makes them', (name, published, encoding) => {
    const font = Font.load(published);
    let compared = 0;
    for (let code = 32; code < 0x2266; ++code) {
      const character = String.fromCodePoint(code);
      const [run] = runsOf(character, name === 'Helvetica-Bold');
      if (run!.font !== name || run!.raised || (run!.codes[0] === 63 && character !== '?')) continue;
      if (run!.font !== 'Symbol' && code > 0xff && run!.codes[0]! < 128) continue; // a letter without its accent
      if (!encoding.canEncodeUnicodeCodePoint(code)) continue;
      const glyph = encoding.encodeUnicodeCodePoint(code);
      expect([character, run!.codes[0], Math.round(1000 * run!.width)]).toEqual([
        character,
        glyph.code,
        font.getWidthOfGlyph(glyph.name),
      ]);
      ++compared;
    }
    expect(compared).toBeGreaterThan(name === 'Symbol' ? 25 : 140);
  });
});

describe('shapes of a PDF', () => {
  test('are paths from position to position', () => {
    expect(pathOperators('M1 2H5v3h-4.5V9Z')).toEqual({ operators: '1 2 m 5 2 l 5 5 l 0.5 5 l 0.5 9 l h', points: 5 });
    expect(pathOperators('')).toEqual({ operators: '', points: 0 });
  });
  test('have colours of both spellings', () => {
    expect(colourText('#336699')).toBe('0.2 0.4 0.6');
    expect(colourText('rgb(51, 102, 153)')).toBe('0.2 0.4 0.6');
    expect(colourText('none')).toBeUndefined();
  });
});
