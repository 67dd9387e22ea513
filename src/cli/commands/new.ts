/** `new`: start a production. */
import { resolve } from 'node:path';
import type { Command } from 'commander';
import { Book } from '../../book/book.js';
import { newProduction } from '../../book/new-production.js';
import { parseZone } from '../../brief/place-time.js';
import { PlatewrightError } from '../../core/errors.js';
import { formatRate, parseRate } from '../../core/rational.js';
import { action, answer, shellWord } from '../output.js';

interface Options {
  title: string;
  rate: string;
  performer?: string;
  height?: string;
  place?: string;
  zone?: string;
  room?: string;
  json?: boolean;
}

/**
 * Adds `new`: a folder with an empty book, and the studio's lines where given. Its action throws `PW-CLI-FOLDER`,
 * `PW-CLI-NUMBER`, `PW-SUN-PLACE`, and what the stage throws.
 */
export function register(program: Command): void {
  program
    .command('new <folder>')
    .description('Start a production: a folder with its book.')
    .requiredOption('--title <title>', 'title of the short film')
    .option('--rate <rate>', 'frames a second of the finished film', '24/1')
    .option('--performer <name>', 'who is put into the shots')
    .option('--height <m>', "the performer's height in metres")
    .option('--place <lat,lon>', 'where is shot, decimal degrees')
    .option('--zone <zone>', 'time zone there, an IANA name')
    .option('--room <m>', 'longest free line in the room, metres')
    .option('--json', 'one JSON document')
    .action(
      action(async (folder: string, o: Options) => {
        if (folder.trim() === '')
          throw new PlatewrightError(
            'PW-CLI-FOLDER',
            'the folder has no name; write "platewright new FOLDER --title …", or "." for the one you are in',
            { kind: 'usage' },
          );
        const base = newProduction(o.title);
        const number = (text: string | undefined, fallback: number, name: string): number => {
          if (text === undefined) return fallback;
          const v = Number(text);
          if (!Number.isFinite(v) || v <= 0)
            throw new PlatewrightError('PW-CLI-NUMBER', `--${name} takes a positive number, but got "${text}"`, {
              kind: 'usage',
            });
          return v;
        };
        const m =
          o.place === undefined ? null : /^\s*([+-]?\d+(?:\.\d+)?)\s*,\s*([+-]?\d+(?:\.\d+)?)\s*$/.exec(o.place);
        if (o.place !== undefined && m === null)
          throw new PlatewrightError('PW-SUN-PLACE', `"${o.place}" is not a place; write LAT,LON in decimal degrees`, {
            kind: 'usage',
          });
        if (o.zone !== undefined) parseZone(o.zone);
        const document = newProduction(o.title, {
          rate: formatRate(parseRate(o.rate)),
          performer: {
            ...base.performer,
            name: o.performer ?? base.performer.name,
            heightM: number(o.height, base.performer.heightM, 'height'),
          },
          place: {
            ...base.place,
            ...(m == null ? {} : { name: o.place!, latitude: Number(m[1]), longitude: Number(m[2]) }),
            timeZone: o.zone ?? base.place.timeZone,
            roomLengthM: number(o.room, base.place.roomLengthM, 'room'),
          },
        });
        const book = Book.create(folder);
        try {
          book.edit('start the production', (e) => e.put('production', document));
          book.close();
        } catch (error) {
          book.close();
          Book.discard(folder);
          throw error;
        }
        answer(
          o,
          { folder: resolve(folder), production: document },
          (d) => `started "${o.title}" in ${d.folder}; next: platewright film add FILE -p ${shellWord(folder)}`,
        );
      }),
    );
}
