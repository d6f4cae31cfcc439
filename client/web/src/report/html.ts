/** HTML elements. Text is inserted only as text nodes, never as markup. */

export type Child = Node | string;

export function html<K extends keyof HTMLElementTagNameMap>(
  name: K,
  attributes: Record<string, string> = {},
  ...children: Child[]
): HTMLElementTagNameMap[K] {
  const element = document.createElement(name);
  for (const [key, value] of Object.entries(attributes)) element.setAttribute(key, value);
  element.append(...children);
  return element;
}

/** Event that fills a collapsed element at once: toggle fires too late for printing. */
export const FILL = 'gyrebox-fill';

/** A collapsible element; filled when first opened or on FILL. */
export function unfold(words: string, className: string, fill: () => Child[]): HTMLDetailsElement {
  const details = html('details', { class: className }, html('summary', {}, words));
  let filled = false;
  const fillOnce = () => {
    if (filled) return;
    filled = true;
    details.append(...fill());
  };
  details.addEventListener('toggle', fillOnce);
  details.addEventListener(FILL, fillOnce);
  return details;
}

/** A table with a header cell at the start of each row. Scrolls on its own if it is too wide. */
export function table(caption: string, heads: string[], rows: Child[][], numeric: boolean[] = []): HTMLElement {
  const kind = (i: number): Record<string, string> => (numeric[i] ? { class: 'number' } : {});
  const head = html('tr', {}, ...heads.map((words, i) => html('th', { scope: 'col', ...kind(i) }, words)));
  const body = rows.map((cells) =>
    html(
      'tr',
      {},
      ...cells.map((cell, i) =>
        i === 0
          ? html('th', { scope: 'row', ...kind(i) }, cell)
          : html('td', { ...kind(i), ...(cell === '' ? {} : { 'data-label': heads[i]! }) }, cell),
      ),
    ),
  );
  const made = html('table', {}, html('caption', {}, caption), html('thead', {}, head), html('tbody', {}, ...body));
  return html('div', { class: 'table', tabindex: '0', role: 'region', 'aria-label': caption }, made);
}

/** Names with definition, method and published source. */
export function definitions(
  items: { name: string; definition: string; method: string; reference: string }[],
): HTMLElement {
  const entries = items.flatMap(({ name, definition, method, reference }) => [
    html('dt', {}, name),
    html('dd', {}, ...[definition, method].filter(Boolean).map((words) => html('p', {}, words)), ...source(reference)),
  ]);
  return html('dl', {}, ...entries);
}

function source(reference: string): Child[] {
  return reference === '' ? [] : [html('p', { class: 'source' }, `Source: ${reference}`)];
}
