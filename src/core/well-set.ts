/**
 * Sentences of the program as a page sets them: a number is not parted from its unit at a line's end, and apostrophes
 * are curved. Common practice of typesetting, no source.
 */
const UNITS =
  '%|°C|K|m|cm|mm|s|ms|min|h|px|Hz|dB|dBTP|LU|LUFS|stops?|frames?|pixels?|heights?|degrees?|shadows?|marks?|matters?';
const BEFORE_UNIT = new RegExp(`(?<=\\d) (?=(?:${UNITS})(?![\\p{L}\\p{N}]))`, 'gu');

/** The text with no-break spaces (U+00A0) between figures and units, and ’ for an apostrophe within a word. */
export function wellSet(text: string): string {
  return text.replace(BEFORE_UNIT, '\u00a0').replace(/(?<=\p{L})'(?=\p{L})/gu, '’');
}
