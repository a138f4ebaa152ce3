import { html, type Markup } from './markup.ts';
import type { ConfigurationSection, FileChange } from './run-report.ts';

/** What changed in the configuration, file by file, as unified differences. */
export function changesPart(sections: readonly ConfigurationSection[]): Markup {
  return html`${sections.map(
    ({ title, files }) => html`<h3>${title}</h3>
${files.length === 0 ? html`<p>Not one file differs.</p>` : files.map(fileChange)}
`,
  )}`;
}

function fileChange({ name, change, difference }: FileChange): Markup {
  if (difference === null) return html`<p><strong>${name}</strong>: ${change}; it is no text.</p>\n`;
  return html`<p><strong>${name}</strong>: ${change}</p>
<pre tabindex="0" role="region" aria-label="Difference of ${name}">${difference.trimEnd().split('\n').map(line)}</pre>
`;
}

function line(text: string): Markup {
  const kind = /^(?:---|\+\+\+|@@)/.test(text)
    ? 'place'
    : text.startsWith('+')
      ? 'plus'
      : text.startsWith('-')
        ? 'minus'
        : 'kept';
  return html`<span class="${kind}">${text}</span>`;
}
