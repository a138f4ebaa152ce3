import type { ConfigObject, ObjectFinding } from '#core/config';
import { type Finding, originText, type Rule } from '#core/traffic';

/** Rules that were not examined and are shown. */
const SHOWN = 5;

/** The rules that prove a finding. */
export function rulesOf(finding: Finding): readonly Rule[] {
  switch (finding.kind) {
    case 'never reached':
    case 'redundant':
      return finding.because;
    case 'widening':
      return finding.of;
    case 'overlap':
      return finding.with;
    default:
      return [];
  }
}

/** What a finding says of its rule; the rules that prove it follow it. */
export function findingSentence(finding: Finding): string {
  switch (finding.kind) {
    case 'matches nothing':
      return 'No packet at all matches it.';
    case 'never reached':
      return 'Every packet it matches is decided before it, by these rules together:';
    case 'redundant':
      return 'Without it every packet would be treated the same, by these rules:';
    case 'widening':
      return `It takes in all that ${finding.count} earlier ${finding.count === 1 ? 'rule matches' : 'rules match'}, with the opposite verdict:`;
    case 'overlap':
      return `It shares packets with ${finding.count} earlier ${finding.count === 1 ? 'rule' : 'rules'} of the opposite verdict, so their order decides:`;
    case 'any to any':
      return 'It lets pass all that no rule with limits takes, from anywhere to anywhere.';
    case 'special source':
      return `From ${finding.interface} it lets in sources that cannot come from there (RFC 6890): ${finding.blocks.map((b) => `${b.text} ${b.name}`).join(', ')}.`;
  }
}

/** Which rules were not examined; nothing where all were. */
export function unexaminedLines(rules: readonly Rule[]): string[] {
  if (rules.length === 0) return [];
  const shown = rules.slice(0, SHOWN).map(({ origin }) => `  ${originText(origin)}`);
  const more = rules.length - shown.length;
  const rest = more === 0 ? [] : [`  and ${more} more (all with --json)`];
  return ['Not examined within the budget:', ...shown, ...rest];
}

const objectText = ({ kind, name, place }: ConfigObject) => `${kind} ${name} (${place.file}:${place.line})`;

/** An object worth a second look, the proof, and what removing it would change; `unread` when statements were not read. */
export function objectFindingText(finding: ObjectFinding, unread: boolean): string {
  const { kind, object } = finding;
  const what = `${kind}: ${objectText(object)}`;
  switch (finding.kind) {
    case 'unused':
      return unread
        ? `${what}\n  Nothing that was read mentions it.`
        : `${what}\n  Nothing mentions it. Removing it changes no traffic.`;
    case 'defined twice':
      return `${what}\n  The same name stands before it:\n    ${objectText(finding.also)}`;
    case 'same content':
      return `${what}\n  It holds the same as another before it, which could stand for it:\n    ${objectText(finding.also)}`;
  }
}
