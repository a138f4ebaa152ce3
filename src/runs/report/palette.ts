/**
 * Colours of the page, by day and by night. The marks are from the set of Okabe and Ito (Color Universal Design, 2008),
 * told apart with every common colour vision; a word stands beside each all the same.
 */
export interface Palette {
  readonly paper: string;
  /** Behind slots and differences. */
  readonly leaf: string;
  readonly ink: string;
  readonly faded: string;
  readonly line: string;
  readonly good: string;
  readonly bad: string;
  readonly open: string;
}

export const DAY: Palette = {
  paper: '#fcfbf8',
  leaf: '#f1eee7',
  ink: '#1d1c1a',
  faded: '#57534c',
  line: '#85806f',
  good: '#009e73',
  bad: '#d55e00',
  open: '#0072b2',
};

export const NIGHT: Palette = {
  paper: '#15181b',
  leaf: '#20252a',
  ink: '#eceae5',
  faded: '#b8b4ab',
  line: '#7d8288',
  good: '#009e73',
  bad: '#d55e00',
  open: '#56b4e9',
};

/** The palette as CSS custom properties. */
export function properties(palette: Palette): string {
  return Object.entries(palette)
    .map(([name, colour]) => `--${name}: ${colour};`)
    .join(' ');
}
