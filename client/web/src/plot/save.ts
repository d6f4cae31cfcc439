/** Saves a figure as a file of its own. */

/** The figure as the text of an SVG file. */
export function svgFileText(figure: SVGElement): string {
  return `<?xml version="1.0" encoding="UTF-8"?>\n${new XMLSerializer().serializeToString(figure)}\n`;
}

export function saveSvg(figure: SVGElement, name: string): void {
  const address = URL.createObjectURL(new Blob([svgFileText(figure)], { type: 'image/svg+xml' }));
  const link = document.createElement('a');
  link.href = address;
  link.download = `${name}.svg`;
  link.click();
  setTimeout(() => URL.revokeObjectURL(address), 1000);
}
