/** `cut`: the ordered joins, film shots and titles. */
import { readFileSync } from 'node:fs';
import { basename } from 'node:path';
import type { Command } from 'commander';
import { cutSchema, type CutDocument } from '../../book/documents.js';
import { PlatewrightError } from '../../core/errors.js';
import { formatTimecode } from '../../core/timecode.js';
import { placeItems, type ProgrammeItem } from '../../cut/programme.js';
import { resolveCut, roughCut } from '../../jobs/resolve-cut.js';
import { firstIssue } from '../../plate/marks/marks.js';
import { action, answer, table } from '../output.js';
import { onProduction, withBook, type ProductionOptions } from '../production.js';

/**
 * Adds `cut`: shows the cut, or replaces it in one edit of the book. Its action throws `PW-CUT-FORM`, and what the
 * stage throws.
 */
export function register(program: Command): void {
  onProduction(
    program
      .command('cut')
      .description('Show the cut; --rough makes it from the picks in story order, --file replaces it by a document.')
      .option('--rough', 'make it anew from the picks')
      .option('--film-under <dB>', "the film's own sound under every take's, at this level; off: no more")
      .option('--file <json>', 'cut document: {"entries":[{"kind":"pick","pick":"…",…}],…}'),
  ).action(
    action(async (o: ProductionOptions & { rough?: boolean; file?: string; filmUnder?: string }) =>
      withBook(o, async (book) => {
        if (o.rough === true)
          book.edit('rough cut from the picks', (e) =>
            e.put('cut', roughCut(e.list('pick'), e.get('production', 'production')!.title)),
          );
        if (o.file !== undefined) {
          let raw: unknown;
          try {
            raw = { ...(JSON.parse(readFileSync(o.file, 'utf8')) as object), id: 'cut' };
          } catch (cause) {
            throw new PlatewrightError(
              'PW-CUT-FORM',
              `${o.file} can't be read as a cut (${(cause as Error).message})`,
              { cause },
            );
          }
          const parsed = cutSchema.safeParse(raw);
          if (!parsed.success) throw new PlatewrightError('PW-CUT-FORM', `${o.file}: ${firstIssue(parsed.error)}`);
          check(parsed.data, (kind, id) => {
            book.need(kind, id);
          });
          book.edit('replace the cut', (e) => e.put('cut', parsed.data));
        }
        if (o.filmUnder !== undefined) {
          const now = filmUnder(resolveCut(book).cut, o.filmUnder);
          book.edit("the film's sound under the takes'", (e) => e.put('cut', now));
        }
        const { programme, cut } = resolveCut(book);
        const placed = placeItems(programme);
        answer(
          o,
          {
            rate: `${programme.rate.num}/${programme.rate.den}`,
            widthPx: programme.widthPx,
            heightPx: programme.heightPx,
            cut,
            placed,
          },
          (d) =>
            table([
              ['from', 'to', 'what', 'sound', 'name'],
              ...d.placed.map((i) => [
                formatTimecode(i.recordIn, programme.rate),
                formatTimecode(i.recordOut, programme.rate),
                i.kind,
                i.sound === null ? '–' : soundWords(i),
                i.name,
              ]),
            ]),
        );
      }),
    ),
  );
}

/** The cut with the film's sound under every take's at a level in dB; `off` takes it out. Throws `PW-CUT-FORM`. */
function filmUnder(cut: CutDocument, level: string): CutDocument {
  const entries = cut.entries.map((entry) => {
    if (entry.kind !== 'pick') return entry;
    const { filmUnderDb: _, ...rest } = entry;
    const takes = entry.soundFrom === 'take' || entry.soundFrom === 'patch';
    return level === 'off' || !takes ? rest : { ...rest, filmUnderDb: level.trim() === '' ? NaN : Number(level) };
  });
  const parsed = cutSchema.safeParse({ ...cut, entries });
  if (!parsed.success)
    throw new PlatewrightError('PW-CUT-FORM', `--film-under ${level}: expected a level from -60 to 6 dB, or "off"`, {
      kind: 'usage',
    });
  return parsed.data;
}

/** Which sound an item has beside its picture, and how its edges lie: that of a take by the take's file. */
function soundWords(i: ProgrammeItem): string {
  const edges = i.soundLead !== 0 || i.soundTail !== 0 ? `J ${i.soundLead} L ${i.soundTail}` : 'straight',
    other = i.borrowed?.otherSound === true ? `${basename(i.sound!.file)} ` : '',
    paced = i.sound?.paced === undefined ? '' : ', along the picture';
  return `${other}${edges}${paced}${i.under === undefined ? '' : `, the film's under it at ${i.under.gainDb} dB`}`;
}

function check(cut: CutDocument, need: (kind: 'pick' | 'film', id: string) => void): void {
  for (const e of cut.entries) if (e.kind !== 'title') need(e.kind, e.kind === 'pick' ? e.pick : e.film);
}
