/**
 * The lens that a file itself tells: what phones and cameras write beside the picture.
 *
 * Films: QuickTime's key `com.apple.quicktime.camera.focal_length.35mm_equivalent`, of the movie or of its picture's
 * track (Apple, *AVFoundation*, `quickTimeMetadataKeyCameraFocalLength35mmEquivalent`: UTF-8, “50.00mm”), by whatever
 * container handed it on (Matroska writes it in capitals); XMP's `exif:FocalLengthIn35mmFilm`. Stills: Exif's
 * FocalLengthIn35mmFilm, else FocalLength by the sensor's resolution (CIPA DC-008; tags from memory, held by a test
 * against libvips). What other phones write into MP4 tells make and model, not the lens. The name of a lens tells its
 * true millimetres without the sensor's size, and is not used.
 *
 * An equivalent goes by the diagonal of the frame (36 × 24 mm: 43.27 mm).
 */
import { readBoxMetadata } from './box-metadata.js';
import type { StillTags } from './still-tags.js';

/** A focal length before it is put in pixels. */
export interface LensTold {
  /** In diagonals of the picture. */
  readonly diagonals: number;
  /** How far it may be off, sd of ln. */
  readonly lnSd: number;
  /** What the file says, in words. */
  readonly said: string;
}

/** The key of a film's equivalent focal length. */
const EQUIVALENT_KEY = 'com.apple.quicktime.camera.focal_length.35mm_equivalent';
const FILM_DIAGONAL_MM = Math.hypot(36, 24);
/**
 * How well the lens of a film is told. A phone's equivalent is that of its stills; its films are cut to 16:9 and to
 * what steadying leaves, so that the two ways to read it are 9 % apart (own choice).
 */
const FILM_LN_SD = 0.08;
/** Stills: whole millimetres, and the lens's breathing (own choice). */
const STILL_LN_SD = 0.03;
/** From a fisheye to what no tripod holds, in diagonals: anything else is a slip of the pen. */
const LEAST = 0.1;
const MOST = 50;

/** Is this metadata key one of the equivalent focal length, however it is written? */
function isEquivalentKey(key: string): boolean {
  return /focallength(35mmequivalent|in35mmfilm)$/.test(key.toLowerCase().replace(/[^a-z0-9]/g, ''));
}

/** “26”, “26.00mm”, “26/1”; null for anything else. */
function millimetres(text: string): number | null {
  const m = /^\s*(\d{1,5}(?:\.\d{1,6})?)(?:\/(\d{1,6}))?\s*(?:mm)?[\s\0]*$/i.exec(text);
  return m === null ? null : Number(m[1]) / (m[2] === undefined ? 1 : Number(m[2]));
}

function told(diagonals: number, lnSd: number, said: string): LensTold | null {
  return diagonals >= LEAST && diagonals <= MOST ? { diagonals, lnSd, said } : null;
}

function equivalent(mm: number, lnSd: number): LensTold | null {
  return told(mm / FILM_DIAGONAL_MM, lnSd, `${Number(mm.toFixed(1))} mm, as on 35 mm film`);
}

/** As metadata of a copy of the film. */
export function lensMetadata(lens: LensTold): Record<string, string> {
  return { [EQUIVALENT_KEY]: `${(lens.diagonals * FILM_DIAGONAL_MM).toFixed(2)}mm` };
}

/** A film's lens by its container's metadata. */
export interface FilmMetadata {
  readonly path: string;
  /** Is it a QuickTime or MP4 file? */
  readonly boxed: boolean;
  /** Id of the picture's track in such a file. */
  readonly trackId: number;
  /** What FFmpeg hands on: of the picture's stream, then of the file. */
  readonly given: readonly Readonly<Record<string, string>>[];
}

/** The lens that a film file tells; null where it tells none. Damaged metadata tells none. */
export function lensOfFilm({ path, boxed, trackId, given }: FilmMetadata): LensTold | null {
  const texts: string[] = [];
  if (boxed) {
    const own = boxesOrNone(path, trackId);
    texts.push(...own.values.values());
    for (const xmp of own.xmp) {
      const m = /exif:FocalLengthIn35mmFilm\s*(?:=\s*["']|>)\s*([^"'<]{1,24})/.exec(xmp);
      if (m !== null) texts.push(m[1]!);
    }
  }
  for (const entries of given)
    for (const [key, value] of Object.entries(entries)) if (isEquivalentKey(key)) texts.push(value);
  for (const text of texts) {
    const mm = millimetres(text);
    const lens = mm === null ? null : equivalent(mm, FILM_LN_SD);
    if (lens !== null) return lens;
  }
  return null;
}

function boxesOrNone(path: string, trackId: number): ReturnType<typeof readBoxMetadata> {
  try {
    return readBoxMetadata(path, trackId, isEquivalentKey);
  } catch {
    return { values: new Map(), xmp: [] };
  }
}

/**
 * The lens that a still's Exif part tells; null where it tells none, or where the picture
 * (widthPx × heightPx as stored) has another shape than it was taken in, being cut.
 */
export function lensOfStill({ lens }: StillTags, widthPx: number, heightPx: number): LensTold | null {
  if (lens === null) return null;
  const { takenPx, equivalentMm, focalMm, pixelsPerMm } = lens;
  if (takenPx !== null && Math.abs(Math.log((takenPx[0] * heightPx) / (takenPx[1] * widthPx))) > 0.01) return null;
  // Zero says “unknown” (FocalLengthIn35mmFilm).
  if (equivalentMm !== null && equivalentMm > 0) return equivalent(equivalentMm, STILL_LN_SD);
  if (focalMm === null || pixelsPerMm === null || takenPx === null) return null;
  return told(
    (focalMm * pixelsPerMm) / Math.hypot(takenPx[0], takenPx[1]),
    STILL_LN_SD,
    `${Number(focalMm.toFixed(1))} mm by the sensor's pixels`,
  );
}
