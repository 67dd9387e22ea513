/**
 * Edit decision list after SMPTE ST 258 (layout read through implementations): 76-column events, straight cuts, remarks for
 * names and ASC CDL. Times are non-drop labels at the programme's rate, record from 01:00:00:00.
 */
import { formatRate } from '../core/rational.js';
import { formatTimecode, nominalRate } from '../core/timecode.js';
import type { PlacedItem, Programme } from './programme.js';

export interface Cdl {
  readonly slope: readonly [number, number, number];
  readonly offset: readonly [number, number, number];
  readonly power: readonly [number, number, number];
  readonly saturation: number;
}

/** Eight-character source name: capitals and digits only. */
function reel(name: string): string {
  const r = name.toUpperCase().replace(/[^A-Z0-9]/g, '').slice(0, 8);
  return (r === '' ? 'UNNAMED' : r).padEnd(8);
}

/** Writes the list. `cdl` by item index adds ASC_SOP and ASC_SAT remarks. At most 999 events by the format. */
export function writeEdl(p: Programme, placed: readonly PlacedItem[], cdl: Readonly<Record<number, Cdl>> = {}): string {
  const hour = nominalRate(p.rate) * 3600;
  const lines = [`TITLE: ${p.title.replace(/[\r\n]+/g, ' ')}`, 'FCM: NON-DROP FRAME', `* RATE: ${formatRate(p.rate)}`];
  let n = 1;
  placed.forEach((item, i) => {
    const length = item.recordOut - item.recordIn;
    const source = item.kind === 'title' ? 0 : item.in;
    // Both sides of an event are as long as each other; where rates differ the source side is given in programme frames.
    const tc = (f: number): string => formatTimecode(f, p.rate);
    const event = (channel: string): string => `${String(n).padStart(3, '0')}  ${item.kind === 'title' ? 'BL      ' : reel(item.name)} ${channel.padEnd(4)}  C        ${tc(source)} ${tc(source + length)} ${tc(hour + item.recordIn)} ${tc(hour + item.recordOut)}`;
    lines.push(event(item.sound !== null && item.soundLead === 0 && item.soundTail === 0 ? 'B' : 'V'));
    lines.push(`* FROM CLIP NAME:  ${item.name}`);
    if (item.file !== null) lines.push(`* SOURCE FILE: ${item.file.split(/[\\/]/).pop()}`);
    const c = cdl[i];
    if (c !== undefined) {
      const t = (v: readonly [number, number, number]): string => `(${v.map((x) => x.toFixed(4)).join(' ')})`;
      lines.push(`*ASC_SOP ${t(c.slope)}${t(c.offset)}${t(c.power)}`, `*ASC_SAT ${c.saturation.toFixed(4)}`);
    }
    n++;
    if (item.sound !== null && (item.soundLead !== 0 || item.soundTail !== 0)) {
      const from = Math.max(0, item.recordIn - item.soundLead), to = item.recordOut + item.soundTail;
      const s = Math.max(0, item.sound.in - (item.recordIn - from));
      lines.push(`${String(n).padStart(3, '0')}  ${reel(item.name)} A     C        ${tc(s)} ${tc(s + to - from)} ${tc(hour + from)} ${tc(hour + to)}`, `* FROM CLIP NAME:  ${item.name}`);
      n++;
    }
  });
  return `${lines.join('\n')}\n`;
}
