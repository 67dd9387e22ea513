/**
 * The programme: the cut resolved to files and frames, as the renderer, the mix and the interchange files need it.
 * Frames of an item are frames of its own file; record frames count from the programme's first frame.
 */
import { PlatewrightError } from '../core/errors.js';
import { convertFrame, ratesEqual, type Rate } from '../core/rational.js';

/** Sound of an item, in frames of its own source. */
export interface ItemSound {
  readonly file: string;
  readonly rate: Rate;
  readonly in: number;
  readonly out: number;
  /**
   * Where the picture does not go at the sound's own speed: seconds of the source at each frame of the item. The mix
   * stretches the sound along it; interchange knows only where it begins.
   */
  readonly paced?: readonly number[];
}

/** One item in the order of showing. */
export interface ProgrammeItem {
  readonly kind: 'join' | 'stand-in' | 'film' | 'title';
  /** What a person calls it. */
  readonly name: string;
  /** Picture source; null for titles. */
  readonly file: string | null;
  readonly rate: Rate;
  /** Frames of the source, `in` inclusive, `out` exclusive. */
  readonly in: number;
  readonly out: number;
  readonly lines?: readonly string[];
  /** Sound source with its own frames; null for silence. */
  readonly sound: ItemSound | null;
  /** The film's own sound, which goes on under another's at this level, from cut to cut. */
  readonly under?: { readonly sound: ItemSound; readonly gainDb: number };
  /**
   * J edge: frames that this sound begins before the picture; L edge: frames that it goes on after it. Negative: later,
   * earlier.
   */
  readonly soundLead: number;
  readonly soundTail: number;
  /** Film frames borrowed by this item, in the film's own numbers: for ledger and interchange. */
  readonly borrowed: {
    readonly film: string;
    readonly in: number;
    readonly out: number;
    /** The sound is not the film's. */
    readonly otherSound?: boolean;
  } | null;
}

/** The short as it is shown. */
export interface Programme {
  readonly title: string;
  readonly rate: Rate;
  readonly widthPx: number;
  readonly heightPx: number;
  readonly items: readonly ProgrammeItem[];
  readonly music: { readonly file: string; readonly gainDb: number; readonly fromFrame: number } | null;
}

/** An item with its place in the programme, in the programme's frames. */
export interface PlacedItem extends ProgrammeItem {
  readonly recordIn: number;
  readonly recordOut: number;
}

/**
 * Puts items one after another. Length in programme frames is exact for equal rates, floored otherwise. Throws
 * `PW-CUT-EMPTY`; `PW-CUT-SPAN` where trimming leaves an item no frame.
 */
export function placeItems(p: Programme): PlacedItem[] {
  if (p.items.length === 0)
    throw new PlatewrightError('PW-CUT-EMPTY', 'the cut holds nothing yet; put picks, film shots or titles into it', {
      kind: 'usage',
    });
  let at = 0;
  return p.items.map((item) => {
    const own = item.out - item.in;
    if (own <= 0)
      throw new PlatewrightError('PW-CUT-SPAN', `"${item.name}" has no frame left after trimming; trim it less`, {
        kind: 'usage',
      });
    const length = ratesEqual(item.rate, p.rate) ? own : Math.max(1, convertFrame(own, item.rate, p.rate));
    const placed = { ...item, recordIn: at, recordOut: at + length };
    at += length;
    return placed;
  });
}

/** Source frame shown at a record frame of a placed item. */
export function sourceFrame(item: PlacedItem, recordFrame: number, rate: Rate): number {
  const into = recordFrame - item.recordIn;
  const f = item.in + (ratesEqual(item.rate, rate) ? into : convertFrame(into, rate, item.rate));
  return Math.min(item.out - 1, f);
}
