import type { Expression } from '../netfilter/index.ts';

/** Elements without those named for deletion. Keys are compared as written, data is not looked at. */
export function withoutElements(elements: readonly Expression[], gone: readonly Expression[]): Expression[] {
  const keys = new Set(gone.map(keyText));
  return elements.filter((element) => !keys.has(keyText(element)));
}

function keyText(element: Expression): string {
  return JSON.stringify(typeof element !== 'string' && element.kind === 'pair' ? element.key : element);
}
