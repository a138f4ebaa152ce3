import type { Judgement } from '#core/reading';
import type { Decision } from '../events.ts';
import { type Content, html, type Markup } from './markup.ts';
import type { StepOutcome } from './run-report.ts';
import { JUDGEMENT_WORD } from './sentences.ts';

export type Tone = 'good' | 'bad' | 'open' | 'plain';

const SHAPE: Readonly<Record<Tone, string>> = { good: '▲', bad: '▼', open: '?', plain: '=' };

export const DECISION_TONE: Readonly<Record<Decision, Tone>> = {
  kept: 'good',
  done: 'good',
  'went back': 'bad',
  stopped: 'open',
  'not done': 'plain',
};

const JUDGEMENT_TONE: Readonly<Record<Judgement, Tone>> = {
  better: 'good',
  worse: 'bad',
  unknown: 'open',
  same: 'plain',
};

const OUTCOME_SHAPE: Readonly<Record<StepOutcome, readonly [Tone, string]>> = {
  done: ['good', '●'],
  'found done': ['good', '○'],
  failed: ['bad', '✕'],
  'left out': ['plain', '–'],
  'not reached': ['plain', '·'],
};

/** A word with its shape before it; the shape is for the eye only. */
function mark(tone: Tone, word: string, shape = SHAPE[tone]): Markup {
  return html`<span class="mark ${tone}"><i aria-hidden="true">${shape}</i>${word}</span>`;
}

export function judgementMark(judgement: Judgement): Markup {
  return mark(JUDGEMENT_TONE[judgement], JUDGEMENT_WORD[judgement]);
}

export function outcomeMark(outcome: StepOutcome): Markup {
  const [tone, shape] = OUTCOME_SHAPE[outcome];
  return mark(tone, outcome, shape);
}

export function section(title: string, content: Content): Markup {
  return html`<section>
<h2>${title}</h2>
${content}
</section>
`;
}

export function bullets(entries: readonly string[]): Markup {
  return html`<ul>
${entries.map((entry) => html`<li>${entry}</li>\n`)}</ul>`;
}
