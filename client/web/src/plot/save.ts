/** Saves a figure to a file. */
import { pdfFileText } from './pdf.ts';

/** The figure as the text of an SVG file. */
export function svgFileText(figure: SVGElement): string {
  return `<?xml version="1.0" encoding="UTF-8"?>\n${new XMLSerializer().serializeToString(figure)}\n`;
}

function save(blob: Blob, name: string): void {
  const address = URL.createObjectURL(blob);
  const link = document.createElement('a');
  link.href = address;
  link.download = name;
  link.click();
  setTimeout(() => URL.revokeObjectURL(address), 1000);
}

export function saveSvg(figure: SVGElement, name: string): void {
  save(new Blob([svgFileText(figure)], { type: 'image/svg+xml' }), `${name}.svg`);
}

export function savePdf(figure: SVGElement, name: string): void {
  const bytes = Uint8Array.from(pdfFileText(figure), (character) => character.charCodeAt(0));
  save(new Blob([bytes], { type: 'application/pdf' }), `${name}.pdf`);
}
