/**
 * What the studio has: performer, camera, place. The brief is written for these, so each of them is a line that a
 * person changes.
 */
import { parseZone } from '../brief/place-time.js';
import { PlatewrightError } from '../core/errors.js';
import { formatRate, parseRate } from '../core/rational.js';
import { firstIssue } from '../plate/marks/marks.js';
import type { Book } from './book.js';
import { productionSchema, type ProductionDocument } from './documents.js';
import { newProduction } from './new-production.js';

export interface StudioRow {
  readonly name: string;
  readonly title: string;
  /** As it is written and read back. */
  readonly value: string;
  readonly hint: string;
  /** As every new production has it: what the program took for want of a better one. */
  readonly example: boolean;
  /** A brief sends people somewhere by it: an example would send them to the wrong spot. */
  readonly sends: boolean;
}

const SENDS: readonly string[] = ['height', 'sensor', 'lenses', 'place', 'room'];

/** Loudness that can be asked for: from the gate under which none is measured (ITU-R BS.1770) to full scale. */
export const LOUDNESS_RANGE_LUFS = [-70, 0] as const;

interface Line {
  readonly title: string;
  readonly hint: string;
  read(p: ProductionDocument): string;
  /** The production with this line changed; the schema is asked afterwards. Throws where the text has not the form. */
  write(p: ProductionDocument, text: string): ProductionDocument;
}

function number(text: string): number {
  const v = Number(text.trim().replace(',', '.'));
  if (text.trim() === '' || !Number.isFinite(v))
    throw new PlatewrightError('PW-STUDIO-VALUE', `"${text}" is not a number`, { kind: 'usage' });
  return v;
}

function numbers(text: string, count: number, form: string): number[] {
  const parts = text
    .split(/\s*[x×,;]\s*|\s+to\s+/)
    .map((t) => t.replace('°', '').trim())
    .filter((t) => t !== '');
  if (parts.length !== count)
    throw new PlatewrightError('PW-STUDIO-VALUE', `"${text}" has not the form ${form}`, { kind: 'usage' });
  return parts.map(number);
}

const plain = (
  title: string,
  hint: string,
  read: (p: ProductionDocument) => number,
  write: (p: ProductionDocument, v: number) => ProductionDocument,
): Line => ({ title, hint, read: (p) => String(read(p)), write: (p, text) => write(p, number(text)) });

/** What a new production has. */
const EXAMPLE = newProduction('');

const LINES: Readonly<Record<string, Line>> = {
  performer: {
    title: 'performer',
    hint: 'name',
    read: (p) => p.performer.name,
    write: (p, name) => ({ ...p, performer: { ...p.performer, name: name.trim() } }),
  },
  height: plain(
    'its height',
    'metres, as it stands in the shots',
    (p) => p.performer.heightM,
    (p, heightM) => ({ ...p, performer: { ...p.performer, heightM } }),
  ),
  tries: plain(
    'tries a day',
    'that it gives gladly',
    (p) => p.performer.triesADay,
    (p, triesADay) => ({ ...p, performer: { ...p.performer, triesADay } }),
  ),
  camera: {
    title: 'camera',
    hint: 'name',
    read: (p) => p.camera.name,
    write: (p, name) => ({ ...p, camera: { ...p.camera, name: name.trim() } }),
  },
  sensor: {
    title: 'part of the sensor that the video uses',
    hint: 'width × height, mm (from its data sheet, crop in video taken off)',
    read: (p) => `${p.camera.sensorWidthMm} × ${p.camera.sensorHeightMm}`,
    write: (p, text) => {
      const [w, h] = numbers(text, 2, 'WIDTH × HEIGHT');
      return { ...p, camera: { ...p.camera, sensorWidthMm: w!, sensorHeightMm: h! } };
    },
  },
  lenses: {
    title: 'lenses',
    hint: 'true focal lengths in mm (not “equivalent”), a zoom as 24-70; several with commas',
    read: (p) => p.camera.lensesMm.map(([a, b]) => (a === b ? String(a) : `${a}-${b}`)).join(', '),
    write: (p, text) => {
      const lensesMm = text
        .split(',')
        .map((t) => t.trim())
        .filter((t) => t !== '')
        .map((t): [number, number] => {
          const ends = t.split(/\s*[-–]\s*/).map(number);
          if (ends.length > 2)
            throw new PlatewrightError('PW-STUDIO-VALUE', `"${t}" is no lens: write 35, or 24-70 for a zoom`, {
              kind: 'usage',
            });
          return [Math.min(...ends), Math.max(...ends)];
        });
      return { ...p, camera: { ...p.camera, lensesMm } };
    },
  },
  video: {
    title: 'video',
    hint: 'width × height, px',
    read: (p) => `${p.camera.videoWidthPx} × ${p.camera.videoHeightPx}`,
    write: (p, text) => {
      const [w, h] = numbers(text, 2, 'WIDTH × HEIGHT');
      return { ...p, camera: { ...p.camera, videoWidthPx: w!, videoHeightPx: h! } };
    },
  },
  rates: {
    title: 'frame rates',
    hint: 'frames a second, with commas: 24, 25, 30000/1001',
    read: (p) => p.camera.rates.map((r) => r.replace(/\/1$/, '')).join(', '),
    write: (p, text) => ({
      ...p,
      camera: {
        ...p.camera,
        rates: text
          .split(',')
          .map((t) => t.trim())
          .filter((t) => t !== '')
          .map((t) => formatRate(parseRate(t))),
      },
    }),
  },
  place: {
    title: 'place',
    hint: 'latitude, longitude in decimal degrees; it gives the sun',
    read: (p) => `${p.place.latitude}, ${p.place.longitude}`,
    write: (p, text) => {
      const [latitude, longitude] = numbers(text, 2, 'LATITUDE, LONGITUDE');
      const place = { ...p.place, latitude: latitude!, longitude: longitude! };
      // Papers would go on naming the example's place; one that a person named keeps its name.
      const moved = latitude !== p.place.latitude || longitude !== p.place.longitude;
      return { ...p, place: moved && p.place.name === EXAMPLE.place.name ? { ...place, name: text.trim() } : place };
    },
  },
  where: {
    title: 'name of the place',
    hint: 'stands on the call sheet and in the calendar',
    read: (p) => p.place.name,
    write: (p, name) => ({ ...p, place: { ...p.place, name: name.trim() } }),
  },
  zone: {
    title: 'time zone',
    hint: 'an IANA name, such as Europe/Zurich',
    read: (p) => p.place.timeZone,
    write: (p, text) => {
      parseZone(text.trim());
      return { ...p, place: { ...p.place, timeZone: text.trim() } };
    },
  },
  room: plain(
    'longest free line in the room',
    'metres, wall to wall',
    (p) => p.place.roomLengthM,
    (p, roomLengthM) => ({ ...p, place: { ...p.place, roomLengthM } }),
  ),
  yard: {
    title: 'directions in which the yard can be shot',
    hint: 'compass degrees, clockwise FROM to TO (120 to 260); “all” where it is open',
    read: (p) => (p.place.yard === null ? 'all' : `${p.place.yard.fromDeg} to ${p.place.yard.toDeg}`),
    write: (p, text) => {
      if (/^\s*(all|none|)\s*$/i.test(text)) return { ...p, place: { ...p.place, yard: null } };
      const [fromDeg, toDeg] = numbers(text, 2, 'FROM to TO');
      return { ...p, place: { ...p.place, yard: { fromDeg: fromDeg!, toDeg: toDeg! } } };
    },
  },
  loudness: plain(
    'loudness of the delivery',
    'LUFS',
    (p) => p.delivery.loudnessLufs,
    (p, loudnessLufs) => {
      const [least, most] = LOUDNESS_RANGE_LUFS;
      if (loudnessLufs < least || loudnessLufs > most)
        throw new PlatewrightError(
          'PW-STUDIO-VALUE',
          `the loudness of a delivery lies from −${-least} to ${most} LUFS, but got ${loudnessLufs}; −23 is broadcast's`,
          { kind: 'usage' },
        );
      return { ...p, delivery: { ...p.delivery, loudnessLufs } };
    },
  ),
};

/** The studio's lines as they stand, with what each asks for. */
export function studioOf(book: Book): StudioRow[] {
  const p = book.need('production', 'production');
  return Object.entries(LINES).map(([name, l]) => {
    const value = l.read(p);
    return {
      name,
      title: l.title,
      value,
      hint: l.hint,
      example: value === l.read(EXAMPLE),
      sends: SENDS.includes(name),
    };
  });
}

/**
 * Changes one line, as one edit. Throws `PW-STUDIO-NAME`, `PW-STUDIO-VALUE`, and the errors of rates and time zones.
 */
export function changeStudio(book: Book, name: string, text: string): void {
  const line = Object.hasOwn(LINES, name) ? LINES[name]! : null;
  if (line === null)
    throw new PlatewrightError(
      'PW-STUDIO-NAME',
      `the studio has no line "${name}"; it has ${Object.keys(LINES).join(', ')}`,
      { kind: 'usage' },
    );
  const next = productionSchema.safeParse(line.write(book.need('production', 'production'), text));
  if (!next.success)
    throw new PlatewrightError(
      'PW-STUDIO-VALUE',
      `${line.title} can't be "${text}" (${line.hint}): ${firstIssue(next.error)}`,
      { kind: 'usage' },
    );
  book.edit(`${line.title}: ${line.read(next.data)}`, (e) => {
    e.put('production', line.write(e.get('production', 'production')!, text));
  });
}
