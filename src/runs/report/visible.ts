/** Control characters, and those that turn the direction of text or hide in it (UAX #9, explicit formatting). */
const HIDDEN = /[\u0000-\u0008\u000b-\u001f\u007f-\u009f\u200b-\u200f\u2028-\u202e\u2060-\u2069\ufeff]/g;
const LONE_SURROGATE = /[\ud800-\udbff](?![\udc00-\udfff])|(?<![\ud800-\udbff])[\udc00-\udfff]/g;

/**
 * Text from a device made safe to show: characters that steer a terminal, turn the reading direction or cannot be seen
 * become `<U+001B>` and the like. Tabs and line ends stay.
 */
export function visible(text: string): string {
  return text.replace(/\r\n/g, '\n').replace(HIDDEN, codePoint).replace(LONE_SURROGATE, codePoint);
}

/** The same, on one line. */
export function visibleLine(text: string): string {
  return visible(text).replace(/[\t\n]+/g, ' ');
}

function codePoint(character: string): string {
  return `<U+${character.charCodeAt(0).toString(16).toUpperCase().padStart(4, '0')}>`;
}
