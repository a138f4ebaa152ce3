/**
 * Control characters, format characters (those that turn the direction of text or hide in it among them), line and
 * paragraph separators, halves of surrogate pairs and code points that are no characters.
 */
const HIDDEN = /[\p{Cc}\p{Cf}\p{Cs}\p{Zl}\p{Zp}\p{Noncharacter_Code_Point}]/gu;

/**
 * Text from a device made safe to show: characters that steer a terminal, turn the reading direction or cannot be seen
 * become `<U+001B>` and the like. Tabs and line ends stay.
 */
export function visible(text: string): string {
  return text.replace(/\r\n/g, '\n').replace(HIDDEN, (c) => (c === '\n' || c === '\t' ? c : codePoint(c)));
}

/** The same, on one line. */
export function visibleLine(text: string): string {
  return visible(text).replace(/[\t\n]+/g, ' ');
}

function codePoint(character: string): string {
  return `<U+${character.codePointAt(0)!.toString(16).toUpperCase().padStart(4, '0')}>`;
}
