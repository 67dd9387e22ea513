/** Papers and sounds made on demand: floor card, call sheet, sun calendar, turn cue. */
import { mkdtempSync, readFileSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { inStoryOrder } from '../book/story-order.js';
import type { Book } from '../book/book.js';
import { callSheetPdf } from '../brief/call-sheet.js';
import type { DayPlan } from '../brief/day-plan.js';
import { iCalendar } from '../brief/icalendar.js';
import { renderCue } from '../brief/turn-cue.js';
import type { Brief } from '../brief/types.js';
import { PlatewrightError } from '../core/errors.js';
import { framesPerSecond, parseRate } from '../core/rational.js';
import { writeWav } from '../media/sound.js';

export interface MadeFile {
  readonly name: string;
  readonly bytes: Buffer;
}

function briefOf(book: Book, pick: string | undefined): Brief {
  if (pick === undefined)
    throw new PlatewrightError('PW-SERVER-FORM', 'say which pick it is for: ?pick=ID', { kind: 'usage' });
  book.need('pick', pick);
  const found = book.get('brief', pick);
  if (found === null)
    throw new PlatewrightError('PW-BRIEF-NONE', `the pick ${pick} has no brief yet; write it first`, { kind: 'usage' });
  return found.brief as unknown as Brief;
}

/** The sound that paces a turn, as a WAV file of 16 bits. Throws `PW-BRIEF-NO-TURN`. */
export function cueWav(brief: Brief): Buffer {
  if (brief.turn === null)
    throw new PlatewrightError('PW-BRIEF-NO-TURN', `${brief.title} asks for no turn, so there is no cue`, {
      kind: 'usage',
    });
  const folder = mkdtempSync(join(tmpdir(), 'platewright-cue-'));
  try {
    const file = join(folder, 'cue.wav');
    writeWav(
      file,
      renderCue({ yawDeg: brief.turn.yawDeg, framesPerSecond: framesPerSecond(parseRate(brief.turn.rate)) }),
      16,
    );
    return readFileSync(file);
  } finally {
    rmSync(folder, { recursive: true, force: true });
  }
}

/** The sun's windows of a brief as an iCalendar file. */
export function sunCalendar(brief: Brief, place: string): Buffer {
  return Buffer.from(
    iCalendar(
      (brief.light.sun?.windows ?? []).map((w) => ({
        uid: `${brief.pick}-${w.start}@platewright`,
        startMs: Date.parse(w.start),
        endMs: Date.parse(w.end),
        summary: `Sun right for ${brief.title}`,
        location: place,
        description:
          `Sun ${w.elevationDeg[0].toFixed(0)} to ${w.elevationDeg[1].toFixed(0)} degrees high; ` +
          `camera looks to ${w.cameraHeadingDeg[0].toFixed(0)} to ${w.cameraHeadingDeg[1].toFixed(0)} degrees from ` +
          'true north. Never look at the sun through a lens.',
      })),
      0,
    ),
  );
}

/** A file by its name, with what the address asks of it; name and bytes. */
export async function makeFile(book: Book, name: string, query: Readonly<Record<string, string>>): Promise<MadeFile> {
  const production = book.need('production', 'production');
  const paper = query['paper'] === 'letter' ? 'letter' : 'a4';
  switch (name) {
    case 'call-sheet.pdf': {
      const day = (book.list('day')[0]?.plan ?? null) as unknown as DayPlan | null;
      const order =
        day === null ? [] : day.slots.flatMap((s) => (s.kind === 'shoot' && s.pick !== null ? [s.pick] : []));
      const briefs = inStoryOrder(book, book.ids('brief')).map(
        (id) => book.need('brief', id).brief as unknown as Brief,
      );
      briefs.sort((a, b) => (order.indexOf(a.pick) + 1 || 99) - (order.indexOf(b.pick) + 1 || 99));
      return {
        name: 'call-sheet.pdf',
        bytes: await callSheetPdf({ title: production.title, place: production.place.name, day, briefs, paper }),
      };
    }
    case 'cue.wav':
      return { name: `${query['pick'] ?? 'turn'}-cue.wav`, bytes: cueWav(briefOf(book, query['pick'])) };
    case 'sun.ics':
      return {
        name: `${query['pick'] ?? 'sun'}-sun.ics`,
        bytes: sunCalendar(briefOf(book, query['pick']), production.place.name),
      };
    case 'card.pdf': {
      if (query['pick'] !== undefined) book.need('pick', query['pick']);
      const { cardPdf } = await import('../brief/card-print.js');
      return {
        name: 'floor-card.pdf',
        bytes: await cardPdf({ production: production.title, pick: query['pick'] ?? '', paper }),
      };
    }
    default:
      throw new PlatewrightError('PW-SERVER-NO-SUCH', `there is no paper called "${name}"`, { kind: 'usage' });
  }
}
