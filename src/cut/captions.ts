/**
 * Captions as WebVTT (W3C) and as SubRip text. Cues are checked: in order, of positive length, no arrow in the text.
 */
import { PlatewrightError } from '../core/errors.js';
import type { Rate } from '../core/rational.js';

/** A caption; frames of the programme, `out` exclusive. */
export interface Caption {
  readonly in: number;
  readonly out: number;
  readonly text: string;
}

/** Milliseconds of a frame's start, rounded. */
function milliseconds(frame: number, rate: Rate): number {
  return Math.round((frame * rate.den * 1000) / rate.num);
}

function stamp(ms: number, point: '.' | ','): string {
  const two = (n: number): string => String(n).padStart(2, '0');
  return (
    `${two(Math.floor(ms / 3600000))}:${two(Math.floor(ms / 60000) % 60)}:${two(Math.floor(ms / 1000) % 60)}` +
    `${point}${String(ms % 1000).padStart(3, '0')}`
  );
}

function check(captions: readonly Caption[]): void {
  captions.forEach((c, i) => {
    if (!(c.out > c.in))
      throw new PlatewrightError(
        'PW-CAPTION-TIME',
        `caption ${i + 1} ("${c.text.slice(0, 30)}") ends before it begins (${c.in} to ${c.out})`,
        { kind: 'usage' },
      );
    if (i > 0 && c.in < captions[i - 1]!.in)
      throw new PlatewrightError(
        'PW-CAPTION-ORDER',
        `caption ${i + 1} begins before the one ahead of it; sort them by time`,
        { kind: 'usage' },
      );
    if (c.text.includes('-->'))
      throw new PlatewrightError(
        'PW-CAPTION-TEXT',
        `caption ${i + 1} holds "-->", which separates times in a caption file; write it another way`,
        { kind: 'usage' },
      );
  });
}

// A blank line would end the cue, and markup characters would be read as tags.
const lines = (t: string): string =>
  t
    .replace(/\r\n?/g, '\n')
    .replace(/\n(\s*\n)+/g, '\n')
    .trim();
const vttText = (t: string): string => lines(t).replace(/&/g, '&amp;').replace(/</g, '&lt;').replace(/>/g, '&gt;');

/**
 * Captions (frames of `rate`) as a WebVTT file (W3C). Throws `PW-CAPTION-TIME`, `PW-CAPTION-ORDER` and
 * `PW-CAPTION-TEXT`.
 */
export function writeWebVtt(captions: readonly Caption[], rate: Rate): string {
  check(captions);
  return (
    'WEBVTT\n\n' +
    captions
      .map(
        (c, i) =>
          `${i + 1}\n${stamp(milliseconds(c.in, rate), '.')} --> ${stamp(milliseconds(c.out, rate), '.')}\n` +
          `${vttText(c.text)}\n`,
      )
      .join('\n')
  );
}

/**
 * Captions (frames of `rate`) as a SubRip file. Throws `PW-CAPTION-TIME`, `PW-CAPTION-ORDER` and `PW-CAPTION-TEXT`.
 */
export function writeSubRip(captions: readonly Caption[], rate: Rate): string {
  check(captions);
  return captions
    .map(
      (c, i) =>
        `${i + 1}\n${stamp(milliseconds(c.in, rate), ',')} --> ${stamp(milliseconds(c.out, rate), ',')}\n` +
        `${lines(c.text)}\n`,
    )
    .join('\n');
}
