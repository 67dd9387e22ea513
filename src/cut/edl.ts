/**
 * Edit decision list after SMPTE ST 258 (layout read through implementations): 76-column events, straight cuts, remarks
 * for names and ASC CDL. Times are non-drop labels at the programme's rate, record from 01:00:00:00.
 */
import type { Cdl } from '../colour/cdl.js';
import { PlatewrightError } from '../core/errors.js';
import { convertFrame, formatRate, ratesEqual, type Rate } from '../core/rational.js';
import { formatTimecode, nominalRate } from '../core/timecode.js';
import type { PlacedItem, Programme } from './programme.js';

const MOST_EVENTS = 999;

/**
 * Eight-character source names, capitals and digits only, one a source: a second that would read the same gets a number
 * at its end.
 */
class Reels {
  private readonly bySource = new Map<string, string>();
  private readonly taken = new Set<string>();

  of(source: string, name: string): string {
    const there = this.bySource.get(source);
    if (there !== undefined) return there;
    const plain =
      name
        .toUpperCase()
        .replace(/[^A-Z0-9]/g, '')
        .slice(0, 8) || 'UNNAMED';
    let reel = plain;
    // BL and AX are reserved for black and for what has no reel.
    for (let n = 2; this.taken.has(reel) || reel === 'BL' || reel === 'AX'; n++)
      reel = `${plain.slice(0, 8 - String(n).length)}${n}`;
    this.taken.add(reel);
    this.bySource.set(source, reel);
    return reel;
  }
}

/**
 * Writes the list. `cdl` by item index adds ASC_SOP and ASC_SAT remarks. Throws `PW-EDL-LONG`
 * beyond the 999 events that the format can number.
 */
export function writeEdl(p: Programme, placed: readonly PlacedItem[], cdl: Readonly<Record<number, Cdl>> = {}): string {
  const hour = nominalRate(p.rate) * 3600;
  const lines = [`TITLE: ${p.title.replace(/[\r\n]+/g, ' ')}`, 'FCM: NON-DROP FRAME', `* RATE: ${formatRate(p.rate)}`];
  const reels = new Reels();
  // Both sides of an event are as long as each other; where rates differ the source side is given in programme frames.
  const here = (frame: number, rate: Rate): number =>
    ratesEqual(rate, p.rate) ? frame : convertFrame(frame, rate, p.rate);
  let n = 0;
  const event = (reel: string, channel: string, source: number, from: number, to: number, name: string): void => {
    n++;
    if (n > MOST_EVENTS)
      throw new PlatewrightError(
        'PW-EDL-LONG',
        `the cut needs more than ${MOST_EVENTS} events, which an edit decision list cannot number; ` +
          'deliver the OpenTimelineIO file instead, or the cut in two parts',
        { kind: 'usage' },
      );
    const tc = (f: number): string => formatTimecode(f, p.rate);
    lines.push(
      `${String(n).padStart(3, '0')}  ${reel.padEnd(8)} ${channel.padEnd(4)}  C        ` +
        `${tc(source)} ${tc(source + to - from)} ${tc(hour + from)} ${tc(hour + to)}`,
      `* FROM CLIP NAME:  ${name.replace(/[\r\n]+/g, ' ')}`,
    );
  };
  placed.forEach((item, i) => {
    const straight =
      item.sound !== null &&
      item.soundLead === 0 &&
      item.soundTail === 0 &&
      item.sound.file === item.file &&
      here(item.sound.in, item.sound.rate) === here(item.in, item.rate);
    event(
      item.kind === 'title' ? 'BL' : reels.of(item.file ?? item.name, item.name),
      straight ? 'B' : 'V',
      item.kind === 'title' ? 0 : here(item.in, item.rate),
      item.recordIn,
      item.recordOut,
      item.name,
    );
    if (item.file !== null)
      lines.push(
        `* SOURCE FILE: ${item.file
          .split(/[\\/]/)
          .pop()!
          .replace(/[\r\n]+/g, ' ')}`,
      );
    const c = cdl[i];
    if (c !== undefined) {
      const t = (v: readonly [number, number, number]): string => `(${v.map((x) => x.toFixed(4)).join(' ')})`;
      lines.push(`*ASC_SOP ${t(c.slope)}${t(c.offset)}${t(c.power)}`, `*ASC_SAT ${c.saturation.toFixed(4)}`);
    }
    if (item.sound !== null && !straight) {
      // A lead longer than the sound that is there, or than the record before it, is cut short: sound stays in step.
      const first = here(item.sound.in, item.sound.rate);
      const lead = Math.min(item.soundLead, first, item.recordIn);
      event(
        reels.of(item.sound.file, item.sound.file === item.file ? item.name : item.sound.file.split(/[\\/]/).pop()!),
        'A',
        first - lead,
        item.recordIn - lead,
        item.recordOut + item.soundTail,
        item.name,
      );
    }
    if (item.under !== undefined) {
      const { sound: film, gainDb } = item.under;
      event(
        reels.of(film.file, film.file.split(/[\\/]/).pop()!),
        'A2',
        here(film.in, film.rate),
        item.recordIn,
        item.recordOut,
        item.name,
      );
      lines.push(`* THE FILM'S SOUND UNDER IT AT ${gainDb.toFixed(1)} DB`);
    }
  });
  return `${lines.join('\n')}\n`;
}
