/**
 * Reads what plate, join and matte tell by themselves, frame after frame: colours, edges and shadow on some, movement
 * on all. It asks for no other reading of the inspection, so that it may run beside the others (picture-lane.ts).
 */
import { CloseReader } from './close-reader.js';
import type { SeenFrame } from './frame.js';
import { MovementReader } from '../movement/movement-reader.js';
import type { RecipeFacts } from './recipe-facts.js';
import { SeeThroughReader } from '../edge/see-through.js';
import { emptySeries, putInto, type Put, type Series } from './series.js';

export interface PicturesOf {
  readonly facts: RecipeFacts;
  /** The plate was mended and its mended frames are not at hand. */
  readonly erased: boolean;
  /** First frame in the plate; frames altogether; of how many one is read closely. */
  readonly first: number;
  readonly total: number;
  readonly every: number;
}

/** Frames, about, on which the plate is looked for through the performer. */
const THROUGH_FRAMES = 24;

/** Takes the frames of one join in order by `add`, then gives the whole series. */
export class PictureReader {
  private readonly series: Series;
  private readonly every: number;
  private readonly through = new SeeThroughReader();
  private readonly close: CloseReader;
  private readonly movement: MovementReader;
  private readonly put: Put;
  private readonly throughEvery: number;

  constructor({ facts, erased, first, total, every }: PicturesOf) {
    this.series = emptySeries(first);
    this.every = every;
    this.put = putInto(this.series);
    this.throughEvery = Math.max(1, Math.floor(total / THROUGH_FRAMES));
    const { put } = this;
    this.close = new CloseReader(facts, erased, this.through, {
      series: this.series,
      put,
      frames: Math.ceil(total / every),
    });
    this.movement = new MovementReader(facts, erased, every, this.series, put);
  }

  /** Frames in their order; the two before are held. */
  add(f: SeenFrame): void {
    const at = f.frame - this.series.first,
      close = at % this.every === 0;
    if (close) this.close.read(f);
    // Its error goes with the places that it sees, and a plate that moves shows others on each frame.
    else if (at % this.throughEvery === 0) this.put('through', f.frame, this.through.add(f));
    this.movement.add(f);
  }

  /** What was read of all frames. */
  result(): Series {
    this.series.through = this.through.result();
    return this.series;
  }
}
